"""Copies of a job with all that goes with it: whole, in turn, put back, and made by themselves whatever the clock says."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import subprocess
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from loopwright.signalling.frame import framed
from loopwright.signalling.received import Arrival, Way
from loopwright.signalling.verdict import Desk, judge
from loopwright.store.aes import ChainedAes
from loopwright.store.case_file import not_on_file
from loopwright.store.copies import SUMS, check_copy, copied, copies, restored_copy
from loopwright.store.file import JobFile, StoreError
from loopwright.store.kept import KeptJob, history_path
from loopwright.store.received import ReceivedFile, ReceivedReader, received_path
from loopwright.store.schedule import Copies, Schedule, first_wait_s
from loopwright.store.sql import open_store
from loopwright.store.vault import trail_path, vault_path

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "jobs" / "shop.yaml"
    path.parent.mkdir()
    path.write_text("first", encoding="utf-8")
    kept = opened(path)
    kept.add("second", "title: second", by="Ada")
    kept.close()
    vault_path(path).write_bytes(b"sealed")
    vault_path(path).chmod(0o600)
    trail_path(path).write_bytes(b"{}\n")
    return path


def opened(path: Path) -> KeptJob:
    kept = KeptJob(JobFile(path), open_store(history_path(path)), by="Ada", clock=lambda: NOON)
    kept.start(kept.load())
    return kept


def test_a_copy_holds_everything_while_it_is_in_use_and_is_put_back(job: Path, tmp_path: Path) -> None:
    kept = opened(job)
    made = copied(job, tmp_path / "copies", at=NOON)
    assert made is not None and made.path.name == "shop.yaml.000001.20260302T120000Z"
    kept.add("third")
    with pytest.raises(StoreError, match="another program has it open"):
        restored_copy(made.path, job, over=True)
    assert job.read_text(encoding="utf-8") == "third" and vault_path(job).exists()
    kept.close()
    with pytest.raises(StoreError, match="shop.yaml is there already"):
        restored_copy(made.path, job)
    aside = restored_copy(made.path, job, over=True)
    assert {path.name for path in aside} == {f"shop.yaml{end}.replaced" for end in ("", ".history.db", ".vault", ".vault.trail")}
    again = opened(job)
    assert (job.read_text(encoding="utf-8"), again.number, vault_path(job).read_bytes()) == ("second", 2, b"sealed")
    assert vault_path(job).stat().st_mode & 0o777 == 0o600
    again.close()
    other = tmp_path / "elsewhere.yaml"
    assert restored_copy(made.path, other) == [] and open_store(history_path(other)).head("shop.yaml").text == "second"


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="oracle missing: sha256sum")
def test_another_program_can_look_through_a_copy(job: Path, tmp_path: Path) -> None:
    made = copied(job, tmp_path / "copies", at=NOON)
    assert made is not None
    look = ["sha256sum", "--check", "--strict", SUMS]
    assert subprocess.run(look, cwd=made.path, capture_output=True, check=False).returncode == 0
    (made.path / "shop.yaml.vault").write_bytes(b"other")
    assert subprocess.run(look, cwd=made.path, capture_output=True, check=False).returncode == 1
    with pytest.raises(StoreError, match=r"shop.yaml.vault is not what was put there"):
        check_copy(made.path)
    with pytest.raises(StoreError, match=r"shop.yaml.vault is not what was put there"):
        restored_copy(made.path, tmp_path / "new.yaml")
    assert not (tmp_path / "new.yaml").exists()


def test_copies_take_turns_by_number_whatever_the_clock_says(job: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copies"
    (folder / "shop.yaml.keep-me").mkdir(parents=True)
    (folder / "shop.yaml.000009.20260302T120000Z").write_text("no folder", encoding="utf-8")
    for number, at in enumerate([NOON, NOON - timedelta(days=400), NOON + timedelta(days=1), NOON - timedelta(days=1)]):
        job.write_text(f"text {number}", encoding="utf-8")
        assert copied(job, folder, at=at, keep=2) is not None
        assert copied(job, folder, at=at + timedelta(hours=1), keep=2) is None, "nothing has changed since"
    there = copies(job, folder)
    assert [each.number for each in there] == [3, 4]
    assert [(each.path / "shop.yaml").read_text(encoding="utf-8") for each in there] == ["text 2", "text 3"]
    assert sorted(path.name for path in folder.iterdir())[-1] == "shop.yaml.keep-me" and len(list(folder.iterdir())) == 4


def test_a_history_that_is_not_sound_is_not_copied_and_no_copy_goes(job: Path, tmp_path: Path) -> None:
    import sqlite3

    folder = tmp_path / "copies"
    good = copied(job, folder, at=NOON, keep=1)
    with sqlite3.connect(history_path(job)) as tampered:
        tampered.execute("UPDATE revisions SET by = 'Bo' WHERE number = 2")
    tampered.close()
    with pytest.raises(StoreError, match="revision 2"):
        copied(job, folder, at=NOON, keep=1)
    assert good is not None and [each.path for each in copies(job, folder)] == [good.path]
    assert [path for path in folder.iterdir() if path.name.startswith(".")] == []


def test_when_the_first_is_due() -> None:
    assert first_wait_s(NOON, NOON + timedelta(hours=1), 3 * 3600) == 2 * 3600
    assert first_wait_s(NOON, NOON + timedelta(days=1), 3600) == 0
    assert first_wait_s(NOON, NOON - timedelta(days=300), 3600) == 0, "a clock that went back must not put it off for a year"


def test_a_schedule_goes_on_after_trouble_and_over_a_clock_that_goes_back(job: Path, tmp_path: Path) -> None:
    told: list[str] = []
    times = iter([NOON - timedelta(days=number) for number in range(10_000)])
    blocked = tmp_path / "copies"
    blocked.write_text("in the way", encoding="utf-8")
    schedule = Schedule(job, Copies(blocked, 0.05, 3), clock=lambda: next(times), tell=told.append)
    schedule.start()
    try:
        until(lambda: schedule.failed)
        assert "no copy at" in schedule.words and len(told) == 1 and "It is tried again." in told[0]
        blocked.unlink()
        until(lambda: not schedule.failed and len(copies(job, blocked)) == 1)
        for number in range(4):
            draft = tmp_path / "draft"
            draft.write_text(f"text {number}", encoding="utf-8")
            draft.replace(job)
            until(lambda number=number: (copies(job, blocked)[-1].path / "shop.yaml").read_text(encoding="utf-8") == f"text {number}")
        until(lambda: [each.number for each in copies(job, blocked)] == [3, 4, 5])
        assert len(told) == 1
    finally:
        schedule.stop()


def until(truth: Callable[[], bool]) -> None:
    for _ in range(1000):
        if truth():
            return
        time.sleep(0.03)
    raise AssertionError("never came true")


def test_cases_of_nobody_on_file_come_along_and_are_put_back_only_where_there_are_none(job: Path, tmp_path: Path) -> None:
    cases = not_on_file(job.parent)
    cases.write_bytes(b"then")
    made = copied(job, tmp_path / "copies", at=NOON)
    assert made is not None and (made.path / cases.name).read_bytes() == b"then"
    cases.write_bytes(b"of other jobs too")
    restored_copy(made.path, job, over=True)
    assert cases.read_bytes() == b"of other jobs too"
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    restored_copy(made.path, elsewhere / "shop.yaml")
    assert not_on_file(elsewhere).read_bytes() == b"then" and (elsewhere / "shop.yaml").is_file()


def arrivals(*numbers: int) -> list[Arrival]:
    desk = Desk(accounts={}, cipher=ChainedAes(), draw=bytes)
    bodies = [b'"SIA-DCS"%04dL0#1234[#1234|Nri1/BA%03d]' % (number, number) for number in numbers]
    return [Arrival(judge(framed(body), NOON, desk), NOON, Way.TCP, "192.0.2.7") for body in bodies]


def numbers_in(path: Path) -> list[tuple[int, str]]:
    reader = ReceivedReader(path)
    try:
        return [(each.number, each.zone) for each in reader.since(0)]
    finally:
        reader.close()


def test_what_was_received_comes_along_while_it_is_received_and_is_put_back(job: Path, tmp_path: Path) -> None:
    file = ReceivedFile(received_path(job))
    file.keep(arrivals(1, 2))
    made = copied(job, tmp_path / "copies", at=NOON)
    assert made is not None and copied(job, tmp_path / "copies", at=NOON) is None
    held = made.path / "shop.yaml.received.db"
    assert numbers_in(held) == [(1, "001"), (2, "002")] and held.stat().st_mode & 0o777 == 0o600
    file.keep(arrivals(3))
    with pytest.raises(StoreError, match=r"received.db was left as it is: another program has it open"):
        restored_copy(made.path, job, over=True)
    assert numbers_in(received_path(job))[-1] == (3, "003") and history_path(job).exists()
    file.close()
    assert received_path(job).with_name("shop.yaml.received.db.replaced") in restored_copy(made.path, job, over=True)
    again = ReceivedFile(received_path(job))
    # A repeat is known again out of the copy, what is new is counted on, and who reads is not kept waiting by who writes.
    assert [(each.number, each.repeat) for each in again.keep(arrivals(2, 4))] == [(2, True), (3, False)]
    assert again._database.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    again.close()


def test_what_a_killed_receiver_left_is_in_the_copy(job: Path, tmp_path: Path) -> None:
    file = ReceivedFile(tmp_path / "alive.db")
    file.keep(arrivals(*range(1, 40)))
    # What a process that is killed leaves: the file, and beside it the log that holds what was acknowledged.
    for ending in ("", "-wal"):
        shutil.copyfile(f"{file.path}{ending}", f"{received_path(job)}{ending}")
    file.close()
    made = copied(job, tmp_path / "copies", at=NOON)
    assert made is not None
    assert [number for number, _ in numbers_in(made.path / "shop.yaml.received.db")] == list(range(1, 40))


@pytest.mark.parametrize("torn", ["a page", "the end", "a message"])
def test_torn_received_events_are_not_copied_over_a_good_copy(job: Path, tmp_path: Path, torn: str) -> None:
    file = ReceivedFile(received_path(job))
    file.keep(arrivals(*range(1, 400)))
    file.close()
    made = copied(job, tmp_path / "copies", at=NOON)
    assert made is not None
    whole = received_path(job).read_bytes()
    if torn == "a message":
        with contextlib.closing(sqlite3.connect(received_path(job), isolation_level=None)) as database:
            database.execute("DELETE FROM message WHERE number = 7")
    else:
        received_path(job).write_bytes(whole[:8192] + bytes(4096) + whole[12288:] if torn == "a page" else whole[:-5000])
    with pytest.raises(StoreError, match=r"received\.db"):
        copied(job, tmp_path / "copies", at=NOON, keep=1)
    assert [each.path for each in copies(job, tmp_path / "copies")] == [made.path]
    restored_copy(made.path, job, over=True)
    assert received_path(job).read_bytes() == (made.path / "shop.yaml.received.db").read_bytes()
    assert len(numbers_in(received_path(job))) == 399
