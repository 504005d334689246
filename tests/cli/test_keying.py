"""``loopwright keying``: exit status, the way back, the walk, and bad input in one message that repeats nothing read at the unit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo

Run = Callable[..., Any]


@pytest.fixture
def house(tmp_path: Path) -> Path:
    path = tmp_path / "house.yaml"
    path.write_text(demo.text("dwelling"), encoding="utf-8")
    return path


def test_a_plan_in_words_and_for_another_program(run: Run, house: Path) -> None:
    done = run("keying", str(house))
    assert done.status == 0 and "page Doors, line Coming home: 030" in done.out and "no order takes fewer" in done.out
    plan = run("keying", str(house), "--json").data()["plans"][0]
    assert plan["unit"] == "panel" and len(plan["entries"]) == 28 and plan["proved"] is True


def test_another_program_is_told_of_no_presses_at_a_unit_without_keys(run: Run, tmp_path: Path) -> None:
    bindery = tmp_path / "bindery.yaml"
    bindery.write_text(demo.text("business"), encoding="utf-8")
    plans = {plan["unit"]: plan for plan in run("keying", str(bindery), "--json").data()["plans"]}
    wheel, control = plans["keypad-press"], plans["control"]
    assert wheel["how"] == "set by hand" and [wheel["presses"], *(each["presses"] for each in wheel["entries"])] == [None, None]
    assert control["how"] == "keyed" and sum(each["presses"] for each in control["entries"]) <= control["presses"]


def test_what_the_unit_cannot_hold_is_told_and_is_the_exit_status(run: Run, house: Path) -> None:
    house.write_text(demo.text("dwelling").replace("entry_s: 30", "entry_s: 33"), encoding="utf-8")
    done = run("keying", str(house))
    assert (
        done.status == 1
        and "Cannot be entered: entry time of House. 33 s cannot be keyed." in done.out
        and "Nearest: 30 s or 35 s" in done.out
    )


def test_what_was_found_is_told_as_a_programme(run: Run, house: Path, tmp_path: Path) -> None:
    found = tmp_path / "found.txt"
    found.write_text("page Doors, line Coming home = 045\npage Words, line 1 = 471199\n", encoding="utf-8")
    told = run("keying", str(house), "--found", str(found), "--no-restore", "--json")
    data = told.data()
    assert data["found"]["programme"] == {"areas/house/entry_s": "45 s"} and not data["plans"][0]["restore"]
    assert [each["path"] for each in data["found"]["differences"]] == ["areas/house/entry_s"] and "471199" not in told.out


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (b"", "nothing was read in it"),
        (b"page Doors 471199\n", "line 1: An address and what it shows are needed"),
        (b"\xff\xfe\x00", "is not written in UTF-8"),
        (b"page Doors, line Coming home = 471199\n", "line 1: page Doors, line Coming home: "),
    ],
)
def test_a_file_of_findings_that_cannot_be_taken(run: Run, house: Path, tmp_path: Path, found: bytes, words: str) -> None:
    file = tmp_path / "found.txt"
    file.write_bytes(found)
    done = run("keying", str(house), "--found", str(file))
    assert done.status == 2 and words in done.err and "471199" not in done.err


def test_a_walk_a_unit_and_a_job_that_are_not_there(run: Run, house: Path, tmp_path: Path) -> None:
    done = run("keying", str(house), "--walk", "house=33")
    assert done.status == 0 and "Enter 45 s, and shorten the abort window to 15 s." in done.out
    assert "write an area and the seconds, such as house=25" in run("keying", str(house), "--walk", "shed=3").err
    assert "no unit of that name is keyed here; panel" in run("keying", str(house), "--unit", "shed").err
    new = tmp_path / "new.yaml"
    assert run("new", str(new)).status == 0
    done = run("keying", str(new))
    assert done.status == 2 and "No unit's data sheet ties a setting to the programme yet" in done.err
