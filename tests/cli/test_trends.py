"""``loopwright trends``: words, JSON, and what cannot stand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from loopwright import demo

Run = Callable[..., Any]
YEARS = "".join(
    f"  - {{at: 20{year} 10:10, by: J. Pell, where: c08, state: at rest, reading: {ohm}}}\n"
    for year, ohm in (("23-03-14", "2.72 kΩ"), ("24-03-12", "2.83 kΩ"), ("26-03-10", "3.04 kΩ"))
)


def test_what_creeps_comes_first_with_where_to_look(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "job.yaml"
    file.write_text(demo.text("business") + YEARS, encoding="utf-8")
    done = run("trends", str(file), "--trips-a-year", "2")
    assert done.status == 0
    assert done.out.index("c08, at rest: 44% of the way") < done.out.index("c11")
    assert "320 Ω more since 2023-03-14" in done.out and "loopwright locate FILE c08" in done.out and "sees it with 15%" in done.out
    first = run("trends", str(file), "--json").data()["trends"][0]
    assert first["circuit"] == "c08" and first["edge_ohm"] == 3450 and len(first["readings"]) == 3


def test_nothing_on_record_and_a_number_that_cannot_stand(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "job.yaml"
    file.write_text(demo.text("dwelling").partition("\nobservations:")[0] + "\n", encoding="utf-8")
    assert "on record yet" in run("trends", str(file)).out
    done = run("trends", str(file), "--trips-a-year", "0")
    assert done.status == 2 and "for example 2" in done.err
