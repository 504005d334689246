"""An open job with its history: undo outlasts the program, and what is refused leaves no trace."""

from __future__ import annotations

from pathlib import Path

import pytest

import loopwright.demo
from loopwright.job.edit import AddItem, RemoveItem, RenameItem, SetField
from loopwright.store.kept import KeptJob, history_path
from loopwright.store.sql import open_store
from loopwright.store.user import who
from loopwright.values.error import JobError
from loopwright.web.serve import opened
from loopwright.web.session import Session, summary_of

LENGTH = "cables/W22/length_m"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "job.yaml"
    made.write_text(loopwright.demo.text("business"), encoding="utf-8")
    return made


def closed(session: Session) -> None:
    """End the session as the end of the program does."""
    assert isinstance(session.file, KeptJob)
    session.file.close()


def test_undo_goes_on_after_a_restart(path: Path) -> None:
    first = opened(path, history=True)
    texts = [first.state.text]
    for number in range(3):
        assert first.edit(SetField(LENGTH, str(50 + number))) == ()
        texts.append(first.state.text)
    first.undo()
    closed(first)
    again = opened(path, history=True)
    assert (*again.stand(), again.state.text) == (2, 1, texts[2])
    assert again.redo() == () and again.state.text == texts[3]
    for text in reversed(texts[:-1]):
        assert again.undo() == ()
        assert again.state.text == text == path.read_text(encoding="utf-8")
    assert again.stand() == (0, 3) and again.undo() == ()
    again.edit(SetField(LENGTH, "99"))
    assert again.stand() == (1, 0)
    found = again.history()
    assert [each.number for each in found] == list(range(10, 0, -1))
    assert found[0].summary == f"{LENGTH}: 99" and found[0].by == who()
    assert [each.number for each in again.history(before=3, most=5)] == [2, 1]
    closed(again)


def test_a_revision_names_who_made_it(path: Path) -> None:
    session = opened(path, history=True)
    session.edit(SetField(LENGTH, "50"), by="Ana")
    session.undo(by="Ana")
    session.redo(by="Ana")
    path.write_text(session.state.text.replace("title: Fennimarch Bindery", "title: Theirs"), encoding="utf-8")
    assert session.reload(by="Bo") == ()
    session.edit(SetField(LENGTH, "51"))
    assert [each.by for each in session.history()] == [who(), "Bo", "Ana", "Ana", "Ana", who()]
    closed(session)


def test_what_is_refused_is_no_revision(path: Path) -> None:
    session = opened(path, history=True)
    assert session.edit(SetField(LENGTH, "4,2"))
    path.write_text("title: [", encoding="utf-8")
    assert session.reload() and session.edit(SetField(LENGTH, "50"))
    assert len(session.history()) == 1
    closed(session)
    with pytest.raises(JobError):
        opened(path, history=True)
    store = open_store(history_path(path), read_only=True)
    assert store.head("job.yaml").text == loopwright.demo.text("business") and store.verify() == []
    store.close()


def test_what_another_program_wrote_becomes_a_step(path: Path) -> None:
    session = opened(path, history=True)
    theirs = session.state.text.replace("title: Fennimarch Bindery", "title: Theirs")
    path.write_text(theirs, encoding="utf-8")
    assert not session.changed_on_disk() and session.state.job.title == "Theirs" and session.stand() == (1, 0)
    assert session.history()[0].why == "changed outside the workbench"
    assert session.undo() == () and session.state.job.title == "Fennimarch Bindery"
    closed(session)


def test_without_a_history_nothing_is_left_beside(path: Path) -> None:
    session = opened(path, history=False)
    session.edit(SetField(LENGTH, "50"))
    assert session.history() == () and [each.name for each in path.parent.iterdir()] == ["job.yaml"]


def test_a_history_that_cannot_be_kept_is_said_and_the_job_opens(path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    history_path(path).write_bytes(b"nonsense" * 1000)
    session = opened(path, history=True)
    assert "No history is kept now" in capsys.readouterr().err
    assert session.edit(SetField(LENGTH, "50")) == () and "50" in path.read_text(encoding="utf-8")
    assert history_path(path).read_bytes() == b"nonsense" * 1000


def test_an_edit_is_told_in_a_line() -> None:
    assert summary_of(AddItem("cables", "W99", {"length_m": "1"})) == "cables/W99 added"
    assert summary_of(AddItem("notes", None, "x")) == "notes: one more"
    assert summary_of(RemoveItem("cables/W22")) == "cables/W22 taken out"
    assert summary_of(RenameItem("cables/W22", "W23")) == "cables/W22 is now W23"
