"""The files of cases: each change once, damage told, two at once, and in the copies of a job."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

import loopwright.demo
from loopwright.desk.case import Caller, Case, Closed, Said
from loopwright.store.case_file import CaseFile, Closings, NoCase, cases_path, not_on_file, trail_of
from loopwright.store.copies import copied, restored_copy
from loopwright.store.file import StoreError

CASE = Case(
    id="one", at="2026-03-02T08:00:00+00:00", by="Dora", caller=Caller(name="Ann", premises="Lane 4", call_back="01632 960 011"),
    said=(Said(key="opening:trouble", at="2026-03-02T08:01:00+00:00", by="Dora", question="Which?", answer="battery"),),
)  # fmt: skip


def test_what_is_put_in_comes_out_and_nobody_else_may_read_it(tmp_path: Path) -> None:
    file = CaseFile(cases_path(tmp_path / "shop.yaml"))
    assert file.load() == () and not file.path.exists()
    file.begin(CASE, mark="m1")
    file.change("one", lambda case: replace(case, closed=Closed(at="x", by="Dora", cause="P11", fixed_by="battery")), mark="m2")
    (found,) = CaseFile(file.path).load()
    assert found.said == CASE.said and found.closed is not None and found.closed.cause == "P11"
    assert file.path.stat().st_mode & 0o777 == 0o600
    assert trail_of(file.path).name == "shop.yaml.cases.trail"


def test_a_mark_counts_once_and_a_case_that_is_not_there_is_told(tmp_path: Path) -> None:
    file = CaseFile(tmp_path / "a.cases")
    file.begin(CASE, mark="m1")
    file.begin(CASE, mark="m1")
    for _ in range(3):
        file.change("one", lambda case: case.with_said(replace(CASE.said[0], key=f"check:{len(case.said)}")), mark="m2")
    assert len(file.load()) == 1 and len(file.load()[0].said) == 2
    with pytest.raises(NoCase):
        file.change("two", lambda case: case, mark="m3")


def test_a_call_in_which_nothing_was_said_is_put_away_once_it_is_over(tmp_path: Path) -> None:
    file = CaseFile(tmp_path / "a.cases")
    for name, at in (("abandoned", "2026-03-02T08:00:00+00:00"), ("on the line", "2026-03-02T11:30:00+00:00")):
        file.begin(Case(id=name, at=at, by="Dora"), mark=name)
    file.begin(CASE, mark="told")
    file.begin(Case(id="new", at="2026-03-02T12:00:00+00:00", by="Dora"), mark="new")
    assert [case.id for case in file.load()] == ["on the line", "one", "new"]


def test_two_desks_at_once_both_hold(tmp_path: Path) -> None:
    path = tmp_path / "a.cases"
    CaseFile(path).begin(CASE, mark="m0")

    def work(name: str) -> None:
        for number in range(12):
            said = replace(CASE.said[0], key=f"check:{name}{number}")
            CaseFile(path).change("one", lambda case, said=said: case.with_said(said), mark=f"{name}{number}")  # type: ignore[misc]

    threads = [threading.Thread(target=work, args=(name,)) for name in "ab"]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(CaseFile(path).load()[0].said) == 25


@pytest.mark.parametrize("raw", [b"", b"{", b'{"format": 2, "cases": []}', b"\xff\xfe", b'{"format": 1, "cases": [{"id": 4}]}'])
def test_a_damaged_file_is_told_and_left_as_it_is(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "a.cases"
    path.write_bytes(raw)
    with pytest.raises(StoreError, match="damaged"):
        CaseFile(path).load()
    with pytest.raises(StoreError):
        CaseFile(path).begin(CASE, mark="m1")
    assert path.read_bytes() == raw
    assert Closings(tmp_path).all() == ()


def test_closed_cases_are_counted_over_the_folder_and_read_again_when_they_change(tmp_path: Path) -> None:
    closings = Closings(tmp_path)
    assert closings.all() == ()
    for number, path in enumerate((cases_path(tmp_path / "shop.yaml"), not_on_file(tmp_path))):
        CaseFile(path).begin(CASE, mark="m0")
        assert len(closings.all()) == number
        CaseFile(path).change("one", lambda case: replace(case, closed=Closed(at="", by="", cause="P08")), mark="m1")
        assert [each.cause for each in closings.all()] == ["P08"] * (number + 1)


def test_cases_go_with_the_copies_of_a_job(tmp_path: Path) -> None:
    job = tmp_path / "shop.yaml"
    job.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    CaseFile(cases_path(job)).begin(CASE, mark="m1")
    trail_of(cases_path(job)).write_text("a line\n", encoding="utf-8")
    copy = copied(job, tmp_path / "copies", at=datetime(2026, 3, 2, tzinfo=UTC))
    assert copy is not None
    restored_copy(copy.path, tmp_path / "back.yaml")
    assert CaseFile(cases_path(tmp_path / "back.yaml")).load() == (CASE,)
    assert trail_of(cases_path(tmp_path / "back.yaml")).read_text(encoding="utf-8") == "a line\n"
