"""Copies of a job made by themselves while the workbench runs: when the next is due, and what is said of the last.

The waits are measured by a clock that only goes forward. What the wall clock says decides only whether one is due at the start.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import NamedTuple

from loopwright.store.copies import copied, copies
from loopwright.store.file import StoreError

LONGEST_RETRY_S = 600.0


def first_wait_s(last: datetime | None, now: datetime, every_s: float) -> float:
    """Return how long [s] the first copy may wait: none is there yet, or the last is that old. A last one in the future says nothing.

    >>> first_wait_s(None, datetime(2026, 3, 2), 3600)
    0.0
    """
    if last is None or last > now:
        return 0.0
    return max((last + timedelta(seconds=every_s) - now).total_seconds(), 0.0)


class Copies(NamedTuple):
    """Where copies are made, how often, and how many stay."""

    folder: Path
    every_s: float
    keep: int


class Schedule:
    """Makes copies of a job in the background. What goes wrong is told, and tried again; the work goes on."""

    def __init__(self, job: Path, copies: Copies, *, clock: Callable[[], datetime], tell: Callable[[str], None]) -> None:
        """Take the job, where its copies go, what says the time, and who is told of trouble."""
        self._job = job
        self._folder, self._every_s, self._keep = copies
        self._clock, self._tell = clock, tell
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="copies", daemon=True)
        self.words = ""
        """What is said of the last copy on the page; empty before there is one."""
        self.failed = False

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; a copy under way is finished first, for a while."""
        self._stop.set()
        if self._thread.ident is not None:
            self._thread.join(10)

    def make(self) -> None:
        """Make a copy now, unless nothing has changed, and note how that went."""
        now = self._clock()
        try:
            made = copied(self._job, self._folder, at=now, keep=self._keep)
        except (StoreError, OSError) as error:
            self._fails(f"no copy at {now:%Y-%m-%d %H:%M}: {error}")
            return
        self.failed = False
        self.words = f"copied {now:%Y-%m-%d %H:%M}" if made is not None else f"unchanged since the last copy, {now:%Y-%m-%d %H:%M}"

    def _fails(self, words: str) -> None:
        if not self.failed or words.partition(": ")[2] != self.words.partition(": ")[2]:
            self._tell(f"Backup: {words} It is tried again.")
        self.failed, self.words = True, words

    def _run(self) -> None:
        if self._stop.wait(self._first_wait_s()):
            return
        while True:
            self.make()
            if self._stop.wait(min(self._every_s, LONGEST_RETRY_S) if self.failed else self._every_s):
                return

    def _first_wait_s(self) -> float:
        try:
            there = copies(self._job, self._folder)
        except StoreError:
            return 0.0
        return first_wait_s(there[-1].at if there else None, self._clock(), self._every_s)
