"""A job file with its history: both or neither, across restarts, with other programs about."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from loopwright.store.file import ChangedOnDisk, JobFile, StoreError
from loopwright.store.kept import KeptJob, history_path, keep
from loopwright.store.own import Stand, stand_of, step_of
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, Revision
from loopwright.store.trail import FOUND, OUTSIDE

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "shop.yaml"
    made.write_text("first", encoding="utf-8")
    return made


@pytest.fixture
def opened(path: Path) -> Iterator[Callable[..., KeptJob]]:
    made: list[KeptJob] = []

    def start(by: str = "Ada", at: datetime = START) -> KeptJob:
        job, trouble = keep(path, by=by, clock=lambda: at)
        assert isinstance(job, KeptJob) and trouble == ""
        job.start(job.load())
        made.append(job)
        return job

    yield start
    for job in made:
        job.close()


def words(job: KeptJob) -> list[tuple[int, str, str, str]]:
    """Return number, person, reason and change of every revision, the first first."""
    return [(each.number, each.by, each.why, each.summary) for each in reversed(job.history())]


def stand(job: KeptJob) -> Stand:
    """Return how many steps back and forward there are for whoever sits at the machine."""
    return stand_of(job.last_by(job.by), job.revision)


def stepped(job: KeptJob, way: int) -> None:
    """Go a step of one's own back or forward, where nobody else has changed anything since."""
    step = step_of(job.last_by(job.by), way, job.revision)
    assert step is not None
    job.add(job.text_at(step.number - 1 if way < 0 else step.number), step=step)


def test_who_when_what_and_why(opened: Callable[..., KeptJob], path: Path) -> None:
    job = opened()
    job.add("second", "title: second")
    stepped(job, -1)
    job.close()
    again = opened(at=START + timedelta(days=1))
    stepped(again, 1)
    assert words(again) == [
        (1, "Ada", "the history begins", ""),
        (2, "Ada", "", "title: second"),
        (3, "Ada", "undo", ""),
        (4, "Ada", "redo", ""),
    ]
    assert again.history()[0].at == START + timedelta(days=1)
    assert path.read_text(encoding="utf-8") == "second" and stand(again) == (1, 0)


def test_what_was_changed_while_nobody_looked_is_a_revision(opened: Callable[..., KeptJob], path: Path) -> None:
    opened().close()
    path.write_text("by hand", encoding="utf-8")
    job = opened()
    assert words(job)[-1] == (2, "Ada", OUTSIDE, "")
    assert stand(job) == (1, 0) and job.text_at(1) == "first"


def test_a_refused_save_leaves_no_revision(opened: Callable[..., KeptJob], path: Path) -> None:
    job = opened()
    path.write_text("by hand", encoding="utf-8")
    with pytest.raises(ChangedOnDisk):
        job.add("ours")
    path.write_text("first", encoding="utf-8")
    path.chmod(0o444)
    with pytest.raises(StoreError, match="read-only"):
        job.add("ours")
    path.chmod(0o644)
    assert len(job.history()) == 1 and path.read_text(encoding="utf-8") == "first"
    job.add("ours")
    assert len(job.history()) == 2


def test_a_history_that_cannot_be_written_gives_the_file_its_old_text(
    opened: Callable[..., KeptJob], path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = opened()

    def fails(self: SqlStore, *call: Any, alongside: Callable[[], None], **named: Any) -> Revision:
        alongside()
        assert path.read_text(encoding="utf-8") == "second"
        raise StoreError("shop.yaml.history.db was not written: the disk is full.")

    with monkeypatch.context() as broken:
        broken.setattr(SqlStore, "append", fails)
        with pytest.raises(StoreError, match="the disk is full.$"):
            job.add("second")
        assert path.read_text(encoding="utf-8") == "first" and not job.changed_elsewhere()
        # The same where a disk knows no second names.
        broken.setattr(os, "link", lambda *names: (_ for _ in ()).throw(PermissionError()))
        with pytest.raises(StoreError, match="the disk is full.$"):
            job.add("second")
        assert path.read_text(encoding="utf-8") == "first" and not job.changed_elsewhere()
    job.add("second")
    assert (path.read_text(encoding="utf-8"), stand(job)) == ("second", (1, 0))
    assert sorted(each.name for each in path.parent.iterdir() if each.name.startswith(".")) == []


def test_a_history_that_went_on_alone_is_brought_to_what_the_file_says(opened: Callable[..., KeptJob], path: Path) -> None:
    job = opened()
    other = open_store(history_path(path))
    other.append("shop.yaml", "never in the file", Change(by="Bo", at=START), expected=1)
    job.add("second")
    assert words(job)[1:] == [(2, "Bo", "", ""), (3, "Ada", FOUND, ""), (4, "Ada", "", "")]
    assert other.head("shop.yaml").text == "second" and other.verify() == []
    other.close()


def test_two_workbenches_on_one_file(opened: Callable[..., KeptJob], path: Path) -> None:
    ada, bo = opened("Ada"), opened("Bo")
    ada.add("Ada's")
    with pytest.raises(ChangedOnDisk):
        bo.add("Bo's")
    bo.reload(lambda text: bo.taken(text))
    assert (bo.number, len(bo.history())) == (2, 2), "Ada's revision is taken as it is, not once more"
    bo.add("Bo's")
    assert [(each.by, each.number) for each in bo.history()] == [("Bo", 3), ("Ada", 2), ("Ada", 1)]
    # Undo on both sides: the file is the same again, the history has gone on.
    stepped(bo, -1)
    ada.add("Ada's again")
    assert path.read_text(encoding="utf-8") == "Ada's again" and len(ada.history()) == 5


def test_both_may_get_another_name(opened: Callable[..., KeptJob], path: Path) -> None:
    job = opened()
    job.add("second")
    job.close()
    moved = path.rename(path.with_name("corner shop.yaml"))
    history_path(path).rename(history_path(moved))
    file, _ = keep(moved, by="Ada", clock=lambda: START)
    assert isinstance(file, KeptJob)
    file.start(file.load())
    assert stand(file) == (1, 0) and len(file.history()) == 2
    file.close()


def test_the_history_may_be_read_by_whom_the_file_may_be_read_by(opened: Callable[..., KeptJob], path: Path) -> None:
    path.chmod(0o600)
    opened().add("second")
    for each in path.parent.glob("*.history.db*"):
        assert stat.S_IMODE(each.stat().st_mode) == 0o600, each.name


def test_a_link_leads_to_the_file_and_its_history(path: Path, tmp_path: Path) -> None:
    link = tmp_path / "elsewhere" / "link.yaml"
    link.parent.mkdir()
    link.symlink_to(path)
    assert history_path(link) == history_path(path)


def test_nothing_is_done_before_it_was_started(path: Path) -> None:
    file, _ = keep(path, by="Ada", clock=lambda: START)
    assert isinstance(file, KeptJob)
    with pytest.raises(StoreError, match="has not been loaded"):
        file.add("x")
    assert path.read_text(encoding="utf-8") == "first"
    file.close()


def test_a_history_of_a_later_program_is_left_alone(path: Path) -> None:
    import sqlite3

    open_store(history_path(path)).close()
    with sqlite3.connect(history_path(path)) as later:
        later.execute("UPDATE alembic_version SET version_num = '0999'")
    later.close()
    file, said = keep(path, by="Ada", clock=lambda: START)
    assert isinstance(file, JobFile)
    assert "made by a later Loopwright" in said and said.endswith("No history is kept now; the job file is saved as ever.")
