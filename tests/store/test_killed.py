"""A program that is killed while it writes: everything it had acknowledged is there, and nothing else is broken.

``make deep`` kills 200 times, ``bench/store.py`` as often as ``LOOPWRIGHT_KILLS`` says.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from collections.abc import Callable
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path

import pytest

from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob, history_path
from loopwright.store.sql import open_store
from loopwright.store.store import Change, Conflict
from often import DEEP

KILLS = int(os.environ.get("LOOPWRIGHT_KILLS", "200" if DEEP else "24"))
START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
FILLER = "".join(f"W{number}: {number * 7919 % 1000}\n" for number in range(400))
WELL_INTO = 5
"""By so many acknowledged revisions there is something to lose."""
FORK = multiprocessing.get_context("fork")


def text_of(number: int) -> str:
    """Return the text of a revision: the number, and a change somewhere in a long text."""
    at = number * 37 % len(FILLER)
    return f"{number}\n{FILLER[:at]}{number}{FILLER[at:]}"


def appends(path: Path, acknowledged: Connection) -> None:
    """Append until killed, sending the number of each revision after it was acknowledged."""
    store = open_store(path)
    if not store.jobs():
        store.create("shop", text_of(1), Change(by="Ada", at=START))
        acknowledged.send(1)
    number = store.head("shop").number
    while True:
        done = store.append("shop", text_of(number + 1), Change(by="Ada", at=START), expected=number)
        assert not isinstance(done, Conflict)
        number = done.number
        acknowledged.send(number)


def edits(path: Path, acknowledged: Connection) -> None:
    """Edit a job file with its history until killed, sending the number in each text after it was acknowledged."""
    job = KeptJob(JobFile(path), open_store(history_path(path)), by="Ada", clock=lambda: START)
    text = job.load()
    job.start(text)
    number = int(text.split("\n", 1)[0])
    while True:
        number += 1
        job.add(text_of(number))
        acknowledged.send(number)


def killed(work: Callable[[Path, Connection], None], path: Path, after_s: float, *, under_way: bool) -> int:
    """Start the work in a process of its own, kill it, and return what was acknowledged last, 0 when nothing was.

    ``under_way`` counts the time from an acknowledgement well into the work, so that a machine with much else to do gets there too.
    """
    ours, theirs = FORK.Pipe(duplex=False)
    child = FORK.Process(target=work, args=(path, theirs), daemon=True)
    child.start()
    theirs.close()
    last = 0
    while under_way and last <= WELL_INTO:
        assert ours.poll(60)
        last = ours.recv()
    time.sleep(after_s)
    assert child.pid is not None
    os.kill(child.pid, signal.SIGKILL)
    child.join()
    assert child.exitcode == -signal.SIGKILL
    try:
        while True:
            last = ours.recv()
    except EOFError:
        ours.close()
        return last


@pytest.mark.parametrize("again", [False, True], ids=["a new database", "the same database"])
def test_the_last_acknowledged_revision_is_there(tmp_path: Path, again: bool) -> None:
    moments = random.Random(7)
    got_far = 0
    for run in range(KILLS // 3):
        path = tmp_path / ("jobs.db" if again else f"jobs{run}.db")
        last = killed(appends, path, moments.uniform(0, 0.25), under_way=run % 2 == 1)
        store = open_store(path)
        assert store.verify() == []
        if last:
            head = store.head("shop")
            assert head.number in (last, last + 1), "an append may count without having been acknowledged, but only the one under way"
            assert store.text_at("shop", last) == text_of(last) and head.text == text_of(head.number)
            got_far = max(got_far, last)
        store.close()
    assert got_far > WELL_INTO, "killed before there was anything to lose"


def test_job_file_and_history_agree_after_the_next_start(tmp_path: Path) -> None:
    moments = random.Random(8)
    path = tmp_path / "shop.yaml"
    path.write_text(text_of(1), encoding="utf-8")
    got_far = 1
    for run in range(KILLS - 2 * (KILLS // 3)):
        last = killed(edits, path, moments.uniform(0.02, 0.25), under_way=run % 2 == 1) or got_far
        text = path.read_text(encoding="utf-8")
        number = int(text.split("\n", 1)[0])
        assert text == text_of(number), "the file holds a whole text"
        assert number in (last, last + 1)
        got_far = number
        job = KeptJob(JobFile(path), open_store(history_path(path)), by="Ada", clock=lambda: START)
        job.start(job.load())
        assert job.history(most=1)[0].number >= last
        job.close()
        store = open_store(history_path(path), read_only=True)
        assert store.verify() == [] and store.head("shop.yaml").text == text
        every = {store.text_at("shop.yaml", each.number) for each in store.revisions("shop.yaml", most=3)}
        assert text_of(last) in every
        store.close()
    assert got_far > WELL_INTO
