"""``loopwright desk``: the open cases and their next question, and nothing of who called for other programs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from loopwright.desk.case import NOT_IDENTIFIED, RIGHT, Caller, Case, Closed, Said
from loopwright.store.case_file import CaseFile, cases_path

Run = Callable[..., Any]
CASE = Case(
    id="one", at="2026-03-02T08:00:00+00:00", by="Dora", danger="none", complaint="keypad",
    caller=Caller(name="Delia", premises="House", call_back="01632 960 014", verified=RIGHT),
    said=(
        Said(key="opening:keypad", at="", by="Dora", question="Which?", answer="pad-foyer"),
        Said(key="opening:keypad-when", at="", by="Dora", question="When?", answer="always", where="pad-foyer", shows="yes"),
        Said(
            key="opening:keypad-since", at="", by="Dora", question="Since when?", answer="first",
            where="system", told="before", told_answer="never yet",
        ),
    ),
)  # fmt: skip


def job_in(folder: Path) -> str:
    path = folder / "house.yaml"
    path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    return str(path)


@pytest.fixture(autouse=True)
def now(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock says that the call goes on."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(datetime.fromisoformat(CASE.at).timestamp()) + 600))


def test_whoever_rings_again_after_an_hour_is_identified_anew(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = job_in(tmp_path)
    CaseFile(cases_path(Path(file))).begin(CASE, mark="m1")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(datetime.fromisoformat(CASE.at).timestamp()) + 3700))
    (row,) = run("desk", file, "--json").data()["open"]
    assert row["next"] == "Identify the caller." and not row["identified"] and not row["causes"]
    told = run("desk", file).out
    assert "Delia, not identified yet" in told and "[B06]" not in told


def test_open_cases_are_printed_with_what_is_asked_next(run: Run, tmp_path: Path) -> None:
    file = job_in(tmp_path)
    assert "0 open cases" in run("desk", file).out
    cases = CaseFile(cases_path(Path(file)))
    cases.begin(CASE, mark="m1")
    cases.begin(replace(CASE, id="two", caller=replace(CASE.caller, verified=NOT_IDENTIFIED), said=()), mark="m2")
    cases.begin(Case(id="abandoned", at=CASE.at, by="Dora"), mark="m4")
    cases.begin(replace(CASE, id="three", closed=Closed(at="", by="", cause="B06")), mark="m3")
    found = run("desk", file)
    assert found.status == 0 and "2 open cases" in found.out and "1 closed case in this folder" in found.out
    assert "Next: While it fails, is anything on it lit?" in found.out and "[B06]" in found.out
    rows = run("desk", file, "--json").data()["open"]
    assert [row["case"] for row in rows] == ["one", "two"] and [row["identified"] for row in rows] == [True, False]
    assert rows[0]["causes"] and rows[1]["causes"] == []
    assert "Delia" not in str(rows) and "01632" not in str(rows)


def test_a_damaged_file_of_cases_is_one_plain_line(run: Run, tmp_path: Path) -> None:
    file = job_in(tmp_path)
    cases_path(Path(file)).write_bytes(b"{")
    found = run("desk", file)
    assert found.status == 2 and "damaged" in found.err and "Traceback" not in found.err
    assert run("desk", "-").status == 2
