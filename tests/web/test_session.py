"""One open job: edits that are refused leave no trace, every step can be gone back and forward, and the file follows."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

import loopwright.demo
from loopwright.job.edit import RemoveItem, SetField
from loopwright.store.file import JobFile, StoreError
from loopwright.values.error import JobError
from loopwright.web.session import Session

LENGTH = "cables/W22/length_m"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "job.yaml"
    made.write_text(loopwright.demo.text("business"), encoding="utf-8")
    return made


@pytest.fixture
def session(path: Path) -> Session:
    return Session(JobFile(path))


def metres(session: Session) -> float:
    return session.state.job.cables["W22"].length_m


def test_an_edit_is_read_appraised_and_saved(session: Session, path: Path) -> None:
    before = session.state
    assert session.edit(SetField(LENGTH, "60")) == ()
    assert metres(session) == 60
    assert session.state.revision > before.revision
    assert session.state.appraisal.job is session.state.job
    assert path.read_text(encoding="utf-8") == session.state.text


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (SetField(LENGTH, "4,2"), "decimal comma"),
        (SetField(LENGTH, "9999"), "out of bounds"),
        (SetField("cables/W22/sheet", "nothing"), "nothing"),
        (RemoveItem("cables/W22"), "W22"),
        (RemoveItem("cables/none"), "nothing here to take out"),
    ],
)
def test_a_refused_edit_leaves_everything_as_it_was(session: Session, path: Path, edit: SetField | RemoveItem, words: str) -> None:
    before, text = session.state, path.read_text(encoding="utf-8")
    problems = session.edit(edit)
    assert problems and words in " ".join(str(problem) for problem in problems)
    assert session.state is before
    assert path.read_text(encoding="utf-8") == text


def test_every_step_can_be_gone_back_and_forward(session: Session, path: Path) -> None:
    texts = [session.state.text]
    for number in range(5):
        session.edit(SetField(LENGTH, str(50 + number)))
        texts.append(session.state.text)
    for text in reversed(texts[:-1]):
        assert session.undo() == ()
        assert session.state.text == text == path.read_text(encoding="utf-8")
    assert session.stand() == (0, 5)
    assert session.undo() == () and session.state.text == texts[0]
    for text in texts[1:]:
        session.redo()
        assert session.state.text == text
    assert session.stand() == (5, 0)


def test_an_edit_after_undo_cuts_off_what_was_ahead(session: Session) -> None:
    session.edit(SetField(LENGTH, "50"))
    session.undo()
    session.edit(SetField(LENGTH, "51"))
    assert session.stand() == (1, 0) and metres(session) == 51
    session.undo()
    assert metres(session) == 41


def test_the_same_change_sent_twice_is_made_once(session: Session) -> None:
    session.edit(SetField(LENGTH, "50"), mark="one")
    session.undo()
    session.edit(SetField(LENGTH, "50"), mark="one")
    assert metres(session) == 41


def test_an_edit_that_changes_nothing_is_no_step(session: Session) -> None:
    session.edit(SetField(LENGTH, "50"))
    before = session.state
    session.edit(SetField(LENGTH, "50"))
    assert session.state is before


def test_a_disk_that_refuses_keeps_the_old_state(session: Session, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = session.state
    path.chmod(0o444)
    problems = session.edit(SetField(LENGTH, "50"))
    assert [problem.message for problem in problems] == ["job.yaml was not saved: the file is read-only."]
    assert session.state is before
    path.chmod(0o644)
    assert session.edit(SetField(LENGTH, "50")) == ()


def test_what_another_program_wrote_is_joined(session: Session, path: Path) -> None:
    theirs = session.state.text.replace("title: Fennimarch Bindery", "title: Theirs")
    path.write_text(theirs, encoding="utf-8")
    assert session.edit(SetField(LENGTH, "50")) == ()
    assert session.state.job.title == "Theirs" and metres(session) == 50 and not session.changed_on_disk()
    assert path.read_text(encoding="utf-8") == session.state.text
    session.undo()
    assert session.state.text == theirs
    session.undo()
    assert session.state.job.title == "Fennimarch Bindery" and metres(session) == 41


def test_what_another_program_wrote_in_the_same_place_is_not_written_over(session: Session, path: Path) -> None:
    theirs = session.state.text.replace("title: Fennimarch Bindery", "title: Theirs")
    path.write_text(theirs, encoding="utf-8")
    (problem,) = session.edit(SetField("title", "Ours"))
    assert problem.path == "title" and "‘Theirs’" in problem.message and "‘Ours’" in problem.message
    assert path.read_text(encoding="utf-8") == theirs == session.state.text
    assert session.edit(SetField("title", "Ours")) == () and session.state.job.title == "Ours"


def test_a_broken_text_on_disk_is_neither_taken_nor_written_over(session: Session, path: Path) -> None:
    before = session.state
    path.write_text("title: [", encoding="utf-8")
    assert session.reload()
    assert session.state is before
    assert "another program has changed the file" in session.edit(SetField(LENGTH, "50"))[0].message
    assert path.read_text(encoding="utf-8") == "title: ["


def test_what_cannot_be_opened_is_said_when_it_is_opened(tmp_path: Path) -> None:
    (tmp_path / "bad.yaml").write_text("format: 1\n", encoding="utf-8")
    with pytest.raises(JobError, match="title"):
        Session(JobFile(tmp_path / "bad.yaml"))
    with pytest.raises(StoreError, match="there is no such file"):
        Session(JobFile(tmp_path / "none.yaml"))


def test_edits_from_many_threads_all_arrive(session: Session) -> None:
    runs = [f"cables/W{number}/length_m" for number in (10, 11, 12, 13, 14, 15)]
    threads = [threading.Thread(target=session.edit, args=(SetField(path, "33"),)) for path in runs]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {session.state.job.cables[path.split("/")[1]].length_m for path in runs} == {33.0}
    assert session.stand() == (6, 0)
