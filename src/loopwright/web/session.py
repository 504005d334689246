"""One open job: its text and what was computed from it, every step back and forward, and the place it is kept in."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job import edit as job_edit
from loopwright.job.document import Job
from loopwright.job.edit import AddItem, Edit, InTurn, RemoveField, RemoveItem, RenameItem, SetField
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.tree import Node
from loopwright.store.file import JobFile, StoreError
from loopwright.store.kept import KeptJob
from loopwright.store.store import PAGE, Revision
from loopwright.store.trail import MemoryTrail, Trail
from loopwright.values.error import JobError, Problem

MOST_REMEMBERED = 64
"""Changes whose marks are kept, so that one sent twice because its answer was lost is made once."""


class Unsaved(Problem):
    """A change that could be made, but not kept: the file or the store is in the way."""


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

    def __init__(self, file: JobFile | KeptJob) -> None:
        """Open the file. Raises StoreError when it cannot be read, JobError when it is not a job."""
        self.file = file
        self._lock = threading.RLock()
        self._trail: Trail = file if isinstance(file, KeptJob) else MemoryTrail(file)
        self._revision = 1
        self._marks: OrderedDict[str, tuple[Problem, ...]] = OrderedDict()
        text = file.load()
        reading = read(text)
        self._trail.start(text)
        self._state = self._appraised(text, reading, self._trail.back, self._trail.forward)

    @property
    def state(self) -> State:
        """Return the job as it is now."""
        return self._state

    def edit(self, change: Edit | Callable[[Job], Edit], *, mark: str = "", by: str = "") -> tuple[Problem, ...]:
        """Make a change; return the problems that keep it from being made, none when it was made.

        A change may be a function of the job it is made to. ``mark`` names one change: the same mark again is the same change.
        ``by`` is who makes it; left out, it is whoever the trail takes for the one at the machine.
        """
        with self._lock:
            if mark and mark in self._marks:
                return self._marks[mark]
            problems = self._attempt(lambda: self._edited(change, by))
            if mark:
                self._marks[mark] = problems
                while len(self._marks) > MOST_REMEMBERED:
                    self._marks.popitem(last=False)
            return problems

    def undo(self, *, by: str = "") -> tuple[Problem, ...]:
        """Go one step back, if there is one."""
        return self._step(-1, by)

    def redo(self, *, by: str = "") -> tuple[Problem, ...]:
        """Go one step forward again, if there is one."""
        return self._step(1, by)

    def reload(self, *, by: str = "") -> tuple[Problem, ...]:
        """Take what is on disk now; what was here before stays one step back."""
        with self._lock:
            return self._attempt(lambda: self.file.reload(lambda text: self._adopt(text, save=False, by=by)))

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep everybody else from changing the job until the block ends, so that it can be looked at first and then changed."""
        with self._lock:
            yield

    def history(self, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return a page of what was done, the latest first; nothing where no history is kept. Raises StoreError."""
        with self._lock:
            return self._trail.history(before=before, most=most)

    def changed_on_disk(self) -> bool:
        """Return whether another program has changed the file since it was read or saved here."""
        with self._lock:
            try:
                return self.file.changed_on_disk()
            except StoreError:
                return True

    def _edited(self, change: Edit | Callable[[Job], Edit], by: str) -> None:
        made = change(self._state.job) if callable(change) else change
        edited = job_edit.apply(self._state.text, made)
        self._adopt(edited.text, save=True, tree=edited.tree, summary=summary_of(made), by=by)

    def _adopt(self, text: str, *, save: bool, tree: Node | None = None, summary: str = "", by: str) -> None:
        """Make the text the present one, at the end of the history."""
        if text == self._state.text:
            return
        state = self._computed(text, self._trail.back + 1, 0, tree)
        self._trail.add(text, summary, save=save, by=by)
        self._state = replace(state, back=self._trail.back, forward=self._trail.forward)

    def _step(self, way: int, by: str) -> tuple[Problem, ...]:
        with self._lock:
            if self._trail.back if way < 0 else self._trail.forward:
                return self._attempt(lambda: self._move(way, by))
            return ()

    def _move(self, way: int, by: str) -> None:
        state = self._computed(self._trail.text(way), self._trail.back + way, self._trail.forward - way)
        self._trail.move(way, by=by)
        self._state = replace(state, back=self._trail.back, forward=self._trail.forward)

    def _computed(self, text: str, back: int, forward: int, tree: Node | None = None) -> State:
        return self._appraised(text, read(text, tree=tree), back, forward)

    def _appraised(self, text: str, reading: Reading, back: int, forward: int) -> State:
        found = appraise(reading.job)
        self._revision += 1
        return State(revision=self._revision, text=text, reading=reading, appraisal=found, back=back, forward=forward)

    def _attempt(self, act: Callable[[], None]) -> tuple[Problem, ...]:
        try:
            act()
        except JobError as error:
            return error.problems
        except StoreError as error:
            return (Unsaved(path="", line=0, column=0, message=str(error)),)
        return ()


def summary_of(edit: Edit) -> str:
    """Return what an edit changes, for the history.

    >>> summary_of(SetField("cables/W22/length_m", "60 m"))
    'cables/W22/length_m: 60 m'
    """
    match edit:
        case SetField(path, text):
            return f"{path}: {text}"
        case AddItem(path, key, _):
            return f"{path}/{key} added" if key is not None else f"{path}: one more"
        case RemoveField(path) | RemoveItem(path):
            return f"{path} taken out"
        case RenameItem(path, new_id):
            return f"{path} is now {new_id}"
        case InTurn(edits):
            more = f" and {len(edits) - 1} more" if len(edits) > 1 else ""
            return f"{summary_of(edits[0])}{more}" if edits else ""
        case _:
            return ""
