"""``loopwright take-over``: a table of readings understood, the plans told, and a job that starts from them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo
from loopwright.explain.old.pair import PairState
from loopwright.explain.old.table import read_table
from loopwright.job.read import read

Run = Callable[..., Any]
TABLE = (
    "pair,rest,operated,lid open,fault,shorted\nP1,2.21 kΩ,OL,OL,,9.4 Ω\nHall,2710 Ω,9.52 kΩ,OL,,8 Ω\nP4,,3 kΩ,,,\nP6,55 kΩ,300 Ω,OL,,\n"
)


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str, Path]:
    (tmp_path / "business.yaml").write_text(demo.text("business"), encoding="utf-8")
    (tmp_path / "pairs.csv").write_text(TABLE, encoding="utf-8")
    return str(tmp_path / "pairs.csv"), str(tmp_path / "business.yaml"), tmp_path / "new.yaml"


def test_pairs_are_grouped_and_a_job_starts_from_them(run: Run, files: tuple[str, str, Path]) -> None:
    table, job, new = files
    told = run("take-over", table, job, "--begin", str(new))
    assert "P1: single, end 2200 Ω" in told.out and "P6: no wiring explains" in told.out and "P4: read the pair at rest first" in told.err
    begun = read(new.read_text(encoding="utf-8")).job
    assert [zone.text for zone in begun.zones.values()] == ["P1", "Hall"]
    assert begun.circuits["old-p1"].resistors.end_ohm == 2200 and begun.circuits["old-p1"].input == "control.1"
    assert begun.cables["old-p1-run"].length_m == pytest.approx(9.4 / 2 / 0.092, abs=1)
    assert "default" in begun.sheets.cables["old-cable"].provenance and "P6" in begun.premises.notes
    assert run("check", str(new)).status in (0, 1)
    assert run("take-over", table, job, "--begin", str(new)).status == 2
    data = run("take-over", table, job, "--unit", "expander", "--json").data()
    assert data["unexplained"] == ["P6"] and data["plans"][0]["swaps"] == 0
    assert run("take-over", table, job, "--unit", "keypad-lobby").status == 2


def test_tables_as_people_write_them() -> None:
    yaml = "pairs:\n  - {pair: P1, rest: 2k2, operated: OL}\n  - {name: P2, at rest: 1 V}\n"
    pairs, problems = read_table(yaml)
    assert [pair.ohm for pair in pairs] == [{PairState.REST: 2200.0, PairState.ACTIVE: float("inf")}]
    assert "Row 2: ‘1 V’ is no reading of ohms" in problems[0]
    assert [pair.name for pair in read_table("\ufeffname\tidle\nA\t2.2 kΩ\nA\t3 kΩ\n")[0]] == ["A"]
    for text, told in (
        ("", "no row"),
        ("pair;rust\nA;2 kΩ\n", "‘rust’ is no column"),
        ("pair;rest\n;2 kΩ\n", "has no name"),
        ("pair;rest\nA;2\n", "has no unit"),
    ):
        assert told in read_table(text)[1][0]
