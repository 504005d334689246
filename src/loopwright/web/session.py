"""One open job: its text and what was computed from it, every step back and forward, and the file it is kept in."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job import edit as job_edit
from loopwright.job.document import Job
from loopwright.job.edit import Edit
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.tree import Node
from loopwright.store.file import JobFile, StoreError
from loopwright.values.error import JobError, Problem

MOST_REMEMBERED = 64
"""Changes whose marks are kept, so that one sent twice because its answer was lost is made once."""


@dataclass(frozen=True, kw_only=True, slots=True)
class State:
    """The job at one moment: text, reading, appraisal, and how far back and forward the history goes."""

    revision: int
    text: str
    reading: Reading
    appraisal: Appraisal
    back: int
    forward: int

    @property
    def job(self) -> Job:
        """Return the job."""
        return self.reading.job


class Session:
    """An open job. Every change is applied, read, appraised and saved; if any of these fails, all stays as it was."""

    def __init__(self, file: JobFile) -> None:
        """Open the file. Raises StoreError when it cannot be read, JobError when it is not a job."""
        self.file = file
        self._lock = threading.RLock()
        self._texts = [file.load()]
        self._at = 0
        self._revision = 1
        self._marks: OrderedDict[str, tuple[Problem, ...]] = OrderedDict()
        self._state = self._computed(self._texts[0], 0, 1)

    @property
    def state(self) -> State:
        """Return the job as it is now."""
        return self._state

    def edit(self, change: Edit | Callable[[Job], Edit], *, mark: str = "") -> tuple[Problem, ...]:
        """Make a change; return the problems that keep it from being made, none when it was made.

        A change may be a function of the job it is made to. ``mark`` names one change: the same mark again is the same change.
        """
        with self._lock:
            if mark and mark in self._marks:
                return self._marks[mark]
            problems = self._attempt(lambda: self._edited(change))
            if mark:
                self._marks[mark] = problems
                while len(self._marks) > MOST_REMEMBERED:
                    self._marks.popitem(last=False)
            return problems

    def undo(self) -> tuple[Problem, ...]:
        """Go one step back, if there is one."""
        return self._step(-1)

    def redo(self) -> tuple[Problem, ...]:
        """Go one step forward again, if there is one."""
        return self._step(1)

    def reload(self) -> tuple[Problem, ...]:
        """Take what is on disk now; what was here before stays one step back."""
        with self._lock:
            return self._attempt(lambda: self.file.reload(lambda text: self._adopt(text, save=False)))

    def changed_on_disk(self) -> bool:
        """Return whether another program has changed the file since it was read or saved here."""
        with self._lock:
            try:
                return self.file.changed_on_disk()
            except StoreError:
                return True

    def _edited(self, change: Edit | Callable[[Job], Edit]) -> None:
        made = change(self._state.job) if callable(change) else change
        edited = job_edit.apply(self._state.text, made)
        self._adopt(edited.text, save=True, tree=edited.tree)

    def _adopt(self, text: str, *, save: bool, tree: Node | None = None) -> None:
        """Make the text the present one, at the end of the history."""
        if text == self._state.text:
            return
        state = self._computed(text, self._at + 1, self._at + 2, tree)
        if save:
            self.file.save(text)
        del self._texts[self._at + 1 :]
        self._texts.append(text)
        self._at += 1
        self._state = state

    def _step(self, way: int) -> tuple[Problem, ...]:
        with self._lock:
            if 0 <= self._at + way < len(self._texts):
                return self._attempt(lambda: self._move(self._at + way))
            return ()

    def _move(self, to: int) -> None:
        text = self._texts[to]
        state = self._computed(text, to, len(self._texts))
        self.file.save(text)
        self._at = to
        self._state = state

    def _computed(self, text: str, at: int, steps: int, tree: Node | None = None) -> State:
        reading = read(text, tree=tree)
        found = appraise(reading.job)
        self._revision += 1
        return State(revision=self._revision, text=text, reading=reading, appraisal=found, back=at, forward=steps - at - 1)

    def _attempt(self, act: Callable[[], None]) -> tuple[Problem, ...]:
        try:
            act()
        except JobError as error:
            return error.problems
        except StoreError as error:
            return (Problem(path="", line=0, column=0, message=str(error)),)
        return ()
