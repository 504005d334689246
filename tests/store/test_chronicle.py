"""Revisions in words, and folded into bursts of work; reasons and names put on them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import loopwright.demo
from loopwright.job.edit import AddItem, RemoveItem, RenameItem, SetField
from loopwright.job.read import read
from loopwright.store.chronicle import BURST, bursts, change_words, entries_of
from loopwright.store.file import JobFile, StoreError
from loopwright.store.kept import KeptJob
from loopwright.store.sql import open_store
from loopwright.store.store import Mark, Place, Revision
from loopwright.web.session import Session

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
JOB = read(loopwright.demo.text("business")).job


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    """Return the clock of the history."""
    return Clock()


@pytest.fixture
def session(tmp_path: Path, clock: Clock) -> Iterator[Session]:
    """Return the bindery, open with a history."""
    path = tmp_path / "shop.yaml"
    path.write_text(loopwright.demo.text("business"), encoding="utf-8")
    kept = KeptJob(JobFile(path), open_store(tmp_path / "shop.db"), by="Ana", clock=clock)
    yield Session(kept)
    kept.close()


def words(session: Session) -> list[str]:
    """Return the history in words, the latest first."""
    return [entry.words for entry in entries_of(session.history(), session.marks(), session.state.job)]


def test_every_kind_of_revision_is_told(session: Session) -> None:
    session.edit(SetField("cables/W12/length_m", "60"))
    session.undo()
    session.redo()
    session.edit(AddItem("users", "ana", {"role": "staff"}))
    session.edit(RemoveItem("users/ana"))
    session.edit(RenameItem("cables/W12", "W99"))
    session.explain("the\nway round the  machine")
    session.go_back(1)
    assert words(session) == [
        "went back to revision 1",
        "why: the way round the machine",
        "W12 renamed W99",
        "user ana taken out",
        "user ana added",
        "did again: length of W12: 60",
        "took back length of W12: 60",
        "length of W12: 60",
        "the history begins",
    ]


def test_going_back_brings_the_whole_text_and_is_undone_like_any_step(session: Session) -> None:
    first = session.state.text
    session.edit(SetField("cables/W12/length_m", "60"))
    session.edit(SetField("title", "Another"), by="Bo")
    before = session.state.text
    assert session.go_back(1, by="Bo") == ()
    assert session.state.text == first == Path(session.file.path).read_text(encoding="utf-8")
    assert session.undo(by="Bo") == ()
    assert session.state.text == before


def test_a_reason_changes_no_text_and_no_steps(session: Session) -> None:
    session.edit(SetField("cables/W12/length_m", "60"))
    session.edit(SetField("cables/W12/length_m", "61"))
    session.undo()
    text, stand = session.state.text, session.stand()
    assert session.explain("asked for by the insurer") == ()
    assert session.explain("seen on site", by="Bo") == ()
    assert (session.state.text, session.stand(), session.stand(by="Bo")) == (text, stand, (0, 0))
    assert session.state.revision == session.history()[0].number == 6
    session.redo()
    assert "length_m: 61" in session.state.text


def test_a_reason_of_no_words_is_refused(session: Session) -> None:
    for why in ("", "  \n", "undo"):
        (problem,) = session.explain(why)
        assert "few words" in problem.message
    assert session.state.revision == 1


def test_a_name_is_shown_on_its_revision_and_stays_there(session: Session) -> None:
    session.edit(SetField("cables/W12/length_m", "60"))
    assert session.name_revision("as designed", 1) == ()
    assert "already stands on revision 1" in session.name_revision("as designed", 2)[0].message
    assert "no revision 77" in session.name_revision("as fitted", 77)[0].message
    entries = entries_of(session.history(), session.marks(), session.state.job)
    assert [entry.marks for entry in entries] == [(), ("as designed",)]


def test_without_a_history_nothing_can_be_noted(tmp_path: Path) -> None:
    path = tmp_path / "shop.yaml"
    path.write_text(loopwright.demo.text("business"), encoding="utf-8")
    session = Session(JobFile(path))
    assert "No history" in session.explain("so it is")[0].message
    assert "No history" in session.name_revision("as fitted", 1)[0].message
    assert session.marks() == () and session.history() == ()


def test_a_revision_that_is_not_there_is_not_gone_back_to(session: Session) -> None:
    assert session.go_back(12)[0].message
    with pytest.raises(StoreError):
        session.text_at(12)


def test_a_burst_folds_by_person_and_quiet(session: Session, clock: Clock) -> None:
    for minutes, by in ((0, "Ana"), (5, "Ana"), (14, "Ana"), (15, "Bo"), (40, "Bo"), (41, "Bo")):
        clock.now = NOON + timedelta(minutes=minutes)
        session.edit(SetField("cables/W12/length_m", str(50 + minutes)), by=by)
    folded = bursts(entries_of(session.history(), (), session.state.job))
    assert [(burst.by, [entry.number for entry in burst.entries]) for burst in folded] == [
        ("Bo", [7, 6]),
        ("Bo", [5]),
        ("Ana", [4, 3, 2]),
        ("Ana", [1]),
    ]
    assert folded[2].words == "3 changes: length of W12: 50, length of W12: 55 and length of W12: 64"


def made(number: int, minutes: int, by: str) -> Revision:
    """Return a revision as the store would give it."""
    return Revision(
        number=number, at=NOON + timedelta(minutes=minutes), by=by, why="", summary="title: x", note="", text_sha256="", previous_sha256="",
        sha256="", place=Place(step=number, before=number - 1, depth=number, tip=number),
    )  # fmt: skip


@given(st.lists(st.tuples(st.integers(0, 30), st.sampled_from(("Ana", "Bo"))), max_size=40))
def test_folding_loses_nothing_and_keeps_the_order(steps: list[tuple[int, str]]) -> None:
    revisions, minutes = [], 0
    for number, (later, by) in enumerate(steps, 1):
        minutes += later
        revisions.append(made(number, minutes, by))
    folded = bursts(entries_of(revisions[::-1], [Mark("as fitted", 1)], JOB))
    assert [entry.number for burst in folded for entry in burst.entries] == [each.number for each in revisions[::-1]]
    assert all(len({entry.revision.by for entry in burst.entries}) == 1 for burst in folded)
    assert all(late.revision.at - early.revision.at <= BURST for burst in folded for late, early in pairwise(burst.entries))
    assert [burst.marks for burst in folded if burst.first.number == 1] == ([("as fitted",)] if steps else [])


@pytest.mark.parametrize(
    ("summary", "said"),
    [
        ("", "a change"),
        ("cables/W31/length_m: 60", "length of W31: 60"),
        ("zones/z04/text: a: b", "text shown of zone 4: a: b"),
        ("equipment/control/battery/parallel: 2 and 3 more", "how many in parallel of Control unit: 2 and 3 more"),
        ("circuits/c12/path: one more", "step of c12: one more"),
        ("runs.csv taken in", "runs.csv taken in"),
    ],
)
def test_a_summary_is_said(summary: str, said: str) -> None:
    assert change_words(summary, JOB) == said
