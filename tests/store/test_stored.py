"""A job that lives in a database alone: several sessions on it see each other, join what they did, and lose nothing."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopwright.desk.case import Case
from loopwright.job.edit import AddItem, InTurn, RemoveItem, RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.store.case_file import cases_path
from loopwright.store.file import StoreError
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, NotThere
from loopwright.store.stored import StoredJob
from loopwright.web.desking import Desk
from loopwright.web.session import Session, Unsaved
from often import often

TEXT = (Path(__file__).resolve().parent.parent / "job" / "sample.yaml").read_text(encoding="utf-8")
START = datetime(2026, 3, 2, 8, tzinfo=UTC)
_moments = count()
Opened = Callable[..., Session]


def tick() -> datetime:
    return START.replace(second=next(_moments) % 60)


@pytest.fixture
def office(where: str, tmp_path: Path) -> Any:
    """Return a function that opens the job as one more server would, with a connection of its own."""
    stores: list[SqlStore] = [open_store(where)]
    stores[0].create("shop", TEXT, Change(by="Ada", at=START, why="put in"))

    def opened(by: str = "Ada") -> Session:
        stores.append(open_store(where))
        return Session(StoredJob(stores[-1], "shop", by=by, clock=tick, beside=tmp_path / "shop.yaml"))

    opened.store = stores[0]  # type: ignore[attr-defined]
    yield opened
    for store in stores:
        store.close()


def test_what_one_server_is_told_the_other_knows(office: Any) -> None:
    one, other = office("Ada"), office("Ben")
    assert one.edit(SetField("cables/W01/length_m", "60")) == ()
    assert other.state.job.cables["W01"].length_m == 18
    assert not other.changed_on_disk(), "taken in without being asked"
    assert other.state.job.cables["W01"].length_m == 60
    assert other.state.revision == one.state.revision == 2
    assert [each.by for each in other.history()] == ["Ada", "Ada"]


def test_edits_at_two_servers_are_joined_path_by_path(office: Any) -> None:
    one, other = office("Ada"), office("Ben")
    assert one.edit(SetField("cables/W01/length_m", "60")) == ()
    assert other.edit(SetField("cables/W02/length_m", "9"), at=1) == ()
    assert other.edit(RenameItem("cables/W03", "W33"), at=1) == ()
    (problem,) = other.edit(SetField("cables/W01/length_m", "7"), at=1)
    assert "Ada" in problem.message and not isinstance(problem, Unsaved)
    assert not one.changed_on_disk()
    cables = one.state.job.cables
    assert (cables["W01"].length_m, cables["W02"].length_m, "W33" in cables) == (60, 9, True)
    assert office.store.verify() == []


def test_each_takes_back_their_own_step_whichever_server_they_are_at(office: Any) -> None:
    one, other = office("Ada"), office("Ben")
    one.edit(SetField("cables/W01/length_m", "60"))
    other.edit(SetField("cables/W02/length_m", "9"))
    assert other.undo(by="Ada") == ()
    assert one.stand(by="Ada").forward == 0, "not heard of yet"
    assert not one.changed_on_disk()
    assert (one.stand(by="Ada"), one.stand(by="Ben")) == ((0, 1), (1, 0))
    cables = one.state.job.cables
    assert (cables["W01"].length_m, cables["W02"].length_m) == (18, 9)
    assert one.redo(by="Ada") == ()
    assert one.state.job.cables["W01"].length_m == 60


def test_all_that_was_acknowledged_is_there_whoever_wrote_at_once(office: Any) -> None:
    sessions = [office(f"person {number}") for number in range(4)]
    refused: list[Any] = []

    def work(number: int, session: Session) -> None:
        for turn in range(5):
            refused.extend(session.edit(AddItem("joints", f"j{number}-{turn}", {"room": "hall"})))

    threads = [threading.Thread(target=work, args=each) for each in enumerate(sessions)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert all(isinstance(each, Unsaved) and "try again" in each.message for each in refused)
    head = office.store.head("shop")
    there = set(read(head.text).job.joints) - set(read(TEXT).job.joints)
    assert len(there) == 20 - len(refused) and head.number == 1 + len(there)
    assert office.store.verify() == []


EDITS = st.one_of(
    st.builds(SetField, st.sampled_from(["cables/W01/length_m", "cables/W02/length_m", "title"]), st.sampled_from(["7", "8", "9"])),
    st.builds(AddItem, st.just("joints"), st.sampled_from(["a", "b"]), st.just({"room": "hall"})),
    st.builds(RemoveItem, st.sampled_from(["joints/a", "joints/b"])),
    st.builds(
        lambda one, two: InTurn((one, two)), st.builds(SetField, st.just("title"), st.just("T")), st.builds(RemoveItem, st.just("joints/a"))
    ),
)


@given(st.lists(st.tuples(st.booleans(), EDITS), max_size=8))
@settings(max_examples=often(3), suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_two_servers_in_turn_come_to_the_text_one_would(office: Any, acts: list[tuple[bool, Any]]) -> None:
    one, other = office("Ada"), office("Ben")
    one.changed_on_disk()
    expected = one.state.text
    for first, edit in acts:
        session = one if first else other
        session.changed_on_disk()
        problems = session.edit(edit)
        try:
            wanted = apply(expected, edit).text
            read(wanted)
        except Exception:  # noqa: BLE001 - whatever keeps the edit from being made to the text keeps it from being made
            assert problems
            continue
        assert problems == ()
        expected = wanted
    for session in (one, other):
        assert not session.changed_on_disk() and session.state.text == expected


@pytest.mark.parametrize("where", ["postgresql"], indirect=True)
def test_one_server_waits_for_the_other(office: Any) -> None:
    one, other = office("Ada"), office("Ben")
    began, ended = threading.Event(), threading.Event()
    order: list[str] = []

    def slow(job: Any) -> Any:
        began.set()
        order.append("one begins")
        ended.wait(120)
        order.append("one ends")
        return SetField("cables/W01/length_m", "60")

    thread = threading.Thread(target=lambda: one.edit(slow))
    thread.start()
    assert began.wait(120)
    waiting = threading.Thread(target=lambda: (other.edit(SetField("cables/W02/length_m", "9")), order.append("other ends")))
    waiting.start()
    waiting.join(1)
    assert waiting.is_alive() and order == ["one begins"]
    ended.set()
    thread.join()
    waiting.join()
    assert order == ["one begins", "one ends", "other ends"]
    cables = other.state.job.cables
    assert (cables["W01"].length_m, cables["W02"].length_m, other.state.revision) == (60, 9, 3)


def test_a_text_that_is_no_job_is_told_and_not_taken(office: Any, change: Any) -> None:
    one = office()
    office.store.append("shop", "no job", change(5), expected=1)
    assert one.changed_on_disk() and one.state.text == TEXT
    (problem,) = one.edit(SetField("cables/W01/length_m", "60"))
    assert isinstance(problem, Unsaved) and "somebody else" in problem.message
    assert office.store.head("shop").text == "no job"


def test_a_job_that_is_not_there(office: Any, tmp_path: Path) -> None:
    with pytest.raises(NotThere, match="keeps no job called other"):
        Session(StoredJob(office.store, "other", by="Ada", clock=tick, beside=tmp_path / "other.yaml"))


def test_nothing_is_acknowledged_that_the_database_has_not(office: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    one = office()
    real = SqlStore.append

    def full(self: SqlStore, *args: Any, **more: Any) -> Any:
        def fail() -> None:
            raise StoreError("the disk is full.")

        return real(self, *args, **more, alongside=fail)

    monkeypatch.setattr(SqlStore, "append", full)
    (problem,) = one.edit(SetField("cables/W01/length_m", "60"))
    assert isinstance(problem, Unsaved) and one.state.text == TEXT and one.state.revision == 1
    monkeypatch.undo()
    assert office.store.head("shop").number == 1
    assert one.edit(SetField("cables/W01/length_m", "60")) == ()


def test_the_desk_of_a_job_on_a_server_keeps_its_cases_where_it_is_served(office: Any) -> None:
    """No file of the job stands there, and a call is a case beside where it would stand."""
    session = office("Ada")
    desk = Desk(session.file.path.parent, session, lambda: datetime(2026, 3, 2, 12, 0, tzinfo=UTC))
    case = Case(id="one", at="2026-03-02T12:00:00+00:00", by="Ada", danger="none")
    assert desk.own is not None and not session.file.path.exists()
    desk.own.begin(case, mark="mark-one")
    assert desk.cases() == (case,) and cases_path(session.file.path).is_file()
    assert desk.course(case).step == "caller"
