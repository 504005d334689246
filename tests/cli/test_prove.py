"""``loopwright prove``: a site sent over a wire to a receiver, three mistakes on purpose, told on the command line; its papers and page."""

from __future__ import annotations

import runpy
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from tests.prove.sent import BEGIN, fob, told, walked

import loopwright.demo
from loopwright.prove.record import Record

Run = Callable[..., Any]
ROOT = Path(__file__).parents[2]
DEVICES = ("door-front", "door-roller", "door-yard", "dual-packing", "dual-lobby", "dual-stairs")


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job whose site was walked: the unit's reports sent over TCP to a receiver, what was said kept beside the job."""
    job = tmp_path_factory.mktemp("site") / "shop.yaml"
    late = BEGIN + timedelta(minutes=30)
    centre = told("signal:z01:alarm", "yes", late, time="09:04:10", operator="Nils")
    walked(job, DEVICES, Record(centre=(centre,), radio=(fob(late, "00A4F19", "Odile Fennimarch", checked_in="09:20"),)))
    return job


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> datetime:
    """Have the command believe that it is an hour after the walk began."""
    moment: datetime = BEGIN + timedelta(hours=1)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(moment.timestamp())))
    return moment


def test_three_mistakes_are_named_of_what_came_over_the_wire(run: Run, site: Path, later: datetime) -> None:
    done = run("prove", str(site))
    assert done.status == 0
    for words in (
        "Zones 8 and 11 are exchanged: the Roller door reports as 11; the Yard door reports as 8.",
        "You walked across the Packing detector; zone 12 reported a tamper; the design says an alarm.",
        "You opened the lid of the Lobby detector; nothing reported; the design says a tamper of zone 2.",
        "Alarm resistor missing across contact",
        "Tamper left unwired or linked out",
        "no certificate is issued",
        "00A4F19 Odile Fennimarch",
    ):
        assert words in done.out, words


def test_the_two_columns_stand_beside_each_other(run: Run, site: Path, later: datetime) -> None:
    lines = [line.split() for line in run("prove", str(site), "--signals").out.splitlines()]
    street = next(line for line in lines if line[:4] == ["zone", "1,", "Street", "door:"])
    assert street[-2:] == ["09:04:10", "Nils"] and "09:00:03" in street
    stairs = next(line for line in lines if line[:4] == ["zone", "3,", "Stair", "foot:"])
    assert stairs[-1] == "open", "what arrived here alone is not proved there"


def test_the_same_as_data_and_as_papers(run: Run, site: Path, later: datetime, tmp_path: Path) -> None:
    data = run("prove", str(site), "--json").data()
    assert {each["about"] for each in data["called_out"] if not each["settled"]} >= {"zones exchanged", "wrong kind", "nothing arrived"}
    row = next(each for each in data["signals"] if each["key"] == "signal:z01:alarm")
    assert row["at_centre"] == "09:04:10" and row["at_laptop"].startswith("2026-03-05T09:00:03")
    done = run("prove", str(site), "--out", str(tmp_path / "papers"))
    assert sorted(path.name for path in (tmp_path / "papers").iterdir()) == ["event-table.csv", "event-table.pdf", "proving-record.pdf"]
    assert done.status == 0 and (tmp_path / "papers" / "proving-record.pdf").read_bytes().startswith(b"%PDF")


def test_a_job_nobody_has_begun_to_prove_and_standard_input(run: Run, tmp_path: Path) -> None:
    job = tmp_path / "house.yaml"
    job.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    done = run("prove", str(job))
    assert done.status == 0 and "0 of " in done.out and list(tmp_path.iterdir()) == [job], "looking leaves nothing behind"
    assert run("prove", "-", stdin=b"").status == 2
    (tmp_path / "house.yaml.proved").write_text("{", encoding="utf-8")
    refused = run("prove", str(job))
    assert refused.status == 2 and "is damaged" in refused.err


def test_every_command_of_the_page_says_what_stands_there() -> None:
    tool = runpy.run_path(str(ROOT / "tools" / "write-prove-page"))
    page = (ROOT / "docs" / "prove.md").read_text(encoding="utf-8")
    assert page.count("$ loopwright prove shop.yaml") == 3
    assert tool["filled"](page) == page
