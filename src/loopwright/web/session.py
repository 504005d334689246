"""One open job: its text and what was computed from it, everybody's steps back and forward, and the place it is kept in."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from functools import cache

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job import edit as job_edit
from loopwright.job.document import Job
from loopwright.job.edit import AddItem, Edit, InTurn, RemoveField, RemoveItem, RenameItem, SetField
from loopwright.job.merge import Clash, Merged, Side
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.tree import Node
from loopwright.store.file import ChangedOnDisk, JobFile, StoreError
from loopwright.store.own import Stand, Step, stand_of, step_of
from loopwright.store.store import PAGE, Mark, NotThere, Revision
from loopwright.store.stored import StoredJob
from loopwright.store.trail import BACK, MemoryTrail, Trail
from loopwright.values.error import JobError, Problem
from loopwright.web.joining import edit_clashed, joined, others, renaming_of, step_clashed

MOST_REMEMBERED = 64
"""Changes whose marks are kept, so that one sent twice because its answer was lost is made once."""
MOST_TRIES = 5
"""How often a change is made again to what others have written meanwhile."""


class Unsaved(Problem):
    """A change that could be made, but not kept: the file or the store is in the way."""


class Overtaken(Unsaved):
    """A change that was not kept because another program has written what cannot be taken in."""


@dataclass(frozen=True, kw_only=True, slots=True)
class State:
    """The job at one moment: the number of its last revision, text, reading and what finds the appraisal."""

    revision: int
    text: str
    reading: Reading
    found: Callable[[], Appraisal] = field(repr=False)

    @property
    def appraisal(self) -> Appraisal:
        """Return the appraisal; of a job that another program changed, it is worked out when somebody looks."""
        return self.found()

    @property
    def job(self) -> Job:
        """Return the job."""
        return self.reading.job


class Session:
    """An open job. Every change is applied, read, appraised and saved; if any of these fails, all stays as it was.

    Several people work on it, and other programs may write where it is kept. Wherever ``by`` names who does something, left out it is
    whoever sits at the machine.
    """

    def __init__(self, file: JobFile | Trail) -> None:
        """Open the job. Raises StoreError when it cannot be read, JobError when it is not a job."""
        self.file = file
        self._lock = threading.RLock()
        self._trail: Trail = MemoryTrail(file) if isinstance(file, JobFile) else file
        self.copied: Callable[[], str] = str
        """Says how the last copy of the job went, for the foot of every page; whoever makes copies puts it here."""
        self._marks: OrderedDict[str, tuple[Problem, ...]] = OrderedDict()
        text = self._trail.load()
        reading = read(text)
        self._trail.start(text)
        self._state = self._appraised(text, reading)

    @property
    def state(self) -> State:
        """Return the job as it is now."""
        return self._state

    def edit(
        self,
        change: Edit | Callable[[Job], Edit],
        *,
        mark: str = "",
        by: str = "",
        at: int | None = None,
        look: Callable[[Job], None] | None = None,
        summary: str = "",
    ) -> tuple[Problem, ...]:
        """Make a change; return the problems that keep it from being made, none when it was made.

        A change may be a function of the job it is meant for. ``mark`` names one change: the same mark again is the same change.
        ``at`` is the revision it is meant for, left out the present one; where others have changed something else since, both
        hold, and where they have changed the same, nothing is written over. ``look`` looks at the job as it is now, and may raise JobError.
        ``summary`` tells the history what the change does, where the change itself does not say it.
        """
        with self._lock:
            if mark and mark in self._marks:
                return self._marks[mark]
            meant = self._state.revision if at is None else at
            problems = self._attempt(lambda: self._edited(change, by or self._trail.by, meant, look, summary), alone=True)
            if mark:
                self._marks[mark] = problems
                while len(self._marks) > MOST_REMEMBERED:
                    self._marks.popitem(last=False)
            return problems

    def undo(self, *, by: str = "", side: Side | None = None) -> tuple[Problem, ...]:
        """Take back the person's own last step, if there is one. Where others have changed the same, ``side`` says what holds."""
        return self._step(-1, by, side)

    def redo(self, *, by: str = "", side: Side | None = None) -> tuple[Problem, ...]:
        """Do again what the person took back last, if there is something."""
        return self._step(1, by, side)

    def stand(self, *, by: str = "") -> Stand:
        """Return how many steps of their own a person can go back and forward. Raises StoreError."""
        with self._lock:
            return stand_of(self._trail.last_by(by or self._trail.by), self._trail.revision)

    def next_step(self, way: int, *, by: str = "", at: int | None = None) -> Step | None:
        """Return a person's next step back (-1) or forward (1), now or as it was at a revision. Raises StoreError."""
        with self._lock:
            return step_of(self._trail.last_by(by or self._trail.by, up_to=at), way, self._trail.revision)

    def clashes(self, way: int, *, by: str = "") -> tuple[Clash, ...]:
        """Return where the person's next step meets what others have changed since."""
        with self._lock:
            try:
                step = self.next_step(way, by=by)
                return () if step is None else self._stepped(step, None).clashes
            except (JobError, StoreError):
                return ()

    def reload(self, *, by: str = "") -> tuple[Problem, ...]:
        """Take what another program has written; what was here before stays one step back."""
        with self._lock:
            return self._attempt(lambda: self._trail.reload(lambda text: self._take(text, by)))

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep everybody else from changing the job until the block ends, so that it can be looked at first and then changed."""
        with self._lock:
            yield

    def history(self, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return a page of what was done, the latest first; nothing where no history is kept. Raises StoreError."""
        with self._lock:
            return self._trail.history(before=before, most=most)

    def revision(self, number: int) -> Revision:
        """Return a revision. Raises StoreError."""
        with self._lock:
            return self._trail.revision(number)

    def since(self, number: int) -> tuple[Revision, ...]:
        """Return the revisions after a number, the earliest first. Raises StoreError."""
        with self._lock:
            return self._trail.since(number)

    def marks(self) -> tuple[Mark, ...]:
        """Return the names given to revisions, by revision. Raises StoreError."""
        with self._lock:
            return self._trail.marks()

    def text_at(self, number: int) -> str:
        """Return the text of a revision. Raises StoreError."""
        with self._lock:
            return self._trail.text_at(number)

    def name_revision(self, name: str, number: int) -> tuple[Problem, ...]:
        """Give a revision a name."""
        with self._lock:
            return self._attempt(lambda: self._named(name, number))

    def explain(self, why: str, *, by: str = "") -> tuple[Problem, ...]:
        """Say why the present text is as it is."""
        with self._lock:
            return self._attempt(lambda: self._explained(why, by), alone=True)

    def go_back(self, number: int, *, by: str = "") -> tuple[Problem, ...]:
        """Bring the text of a revision back as a whole: a step like any other, which can be taken back."""
        with self._lock:
            return self._attempt(lambda: self._gone_back(number, by or self._trail.by), alone=True)

    def changed_on_disk(self) -> bool:
        """Take in what another program has written; return whether there is something that cannot be taken in."""
        with self._lock:
            try:
                return self._trail.changed_elsewhere() and bool(self.reload())
            except StoreError:
                return True

    def elsewhere(self) -> str:
        """Take in what another program has written; return in words what keeps that from being done, empty when nothing does."""
        with self._lock:
            try:
                if not self._trail.changed_elsewhere() or not self.reload():
                    return ""
            except StoreError as error:
                return f"{error} What is shown is the job as it was last read."
        if isinstance(self._trail, StoredJob):
            return f"{self._trail.name} has been changed by another program into what is no job; what is shown is the job before that."
        return f"The file {self._trail.name} on disk is newer than this sheet: another program has changed it."

    def _named(self, name: str, number: int) -> None:
        self._trail.mark(name, number)

    def _explained(self, why: str, by: str) -> None:
        self.changed_on_disk()
        self._trail.explain(why, by=by)
        self._state = replace(self._state, revision=self._trail.number)

    def _gone_back(self, number: int, by: str) -> None:
        self.changed_on_disk()
        self._adopt(self._trail.text_at(number), summary=f"{BACK}{number}", by=by)

    def _edited(self, change: Edit | Callable[[Job], Edit], by: str, at: int, look: Callable[[Job], None] | None, summary: str) -> None:
        for _ in range(MOST_TRIES):
            self.changed_on_disk()
            if look is not None:
                look(self._state.job)
            base, job = self._meant(at)
            made = change(job) if callable(change) else change
            try:
                return self._put(made, base, at, by, summary or summary_of(made))
            except ChangedOnDisk:
                if self.changed_on_disk():
                    raise
        raise StoreError(f"{self._trail.name} is being written by others all the time; try again.")

    def _meant(self, at: int) -> tuple[str, Job]:
        """Return the text and job a change is meant for; the present ones where that revision is not known any more."""
        if at != self._state.revision:
            try:
                base = self._trail.text_at(at)
                return (base, self._state.job) if base == self._state.text else (base, read(base).job)
            except NotThere:
                pass
        return self._state.text, self._state.job

    def _put(self, made: Edit, base: str, at: int, by: str, summary: str) -> None:
        now = self._state.text
        if base == now or isinstance(made, RenameItem) or (isinstance(made, AddItem) and made.key is not None):
            # An id goes in, or changes, where it is by now: it is told when it is not there, or taken.
            edited = job_edit.apply(now, made)
            return self._adopt(edited.text, tree=edited.tree, summary=summary, by=by)
        since = self._trail.since(at)
        found = joined(base, job_edit.apply(base, made).text, now, since)
        if found.clashes:
            raise edit_clashed(found.clashes, self._state.job, others(since, by))
        self._adopt(found.text, summary=summary, by=by)

    def _step(self, way: int, by: str, side: Side | None) -> tuple[Problem, ...]:
        with self._lock:
            return self._attempt(lambda: self._go(way, by or self._trail.by, side), alone=True)

    def _go(self, way: int, by: str, side: Side | None) -> None:
        for _ in range(MOST_TRIES):
            self.changed_on_disk()
            step = self.next_step(way, by=by)
            if step is None:
                return
            found = self._stepped(step, side)
            if found.clashes and side is None:
                raise step_clashed(found.clashes, step, self._state.job, others(self._trail.since(step.number), by))
            try:
                return self._adopt(found.text, step=step, by=by, summary=self._summary_of(step))
            except ChangedOnDisk:
                if self.changed_on_disk():
                    raise
        raise StoreError(f"{self._trail.name} is being written by others all the time; try again.")

    def _stepped(self, step: Step, side: Side | None) -> Merged:
        """Return what a step back or forward makes of the present text."""
        before, after = self._trail.text_at(step.number - 1), self._trail.text_at(step.number)
        base, ours = (after, before) if step.way < 0 else (before, after)
        if base == self._state.text:
            return Merged(text=ours)
        renaming = renaming_of(self._trail.revision(step.number).summary, backwards=step.way < 0)
        if renaming is not None:
            return Merged(text=job_edit.apply(self._state.text, renaming).text)
        return joined(base, ours, self._state.text, self._trail.since(step.number), side)

    def _summary_of(self, step: Step) -> str:
        """Return the summary of a step back or forward: of a renaming alone, since later steps follow the names."""
        renaming = renaming_of(self._trail.revision(step.number).summary, backwards=step.way < 0)
        return "" if renaming is None else summary_of(renaming)

    def _adopt(self, text: str, *, tree: Node | None = None, summary: str = "", by: str, step: Step | None = None) -> None:
        """Make the text the present one, at the end of the history."""
        if text == self._state.text and step is None:
            return
        state = self._state if text == self._state.text else self._appraised(text, self._read(text, tree))
        self._trail.add(text, summary, by=by, step=step)
        self._state = replace(state, revision=self._trail.number)

    def _take(self, text: str, by: str) -> None:
        """Make the present text one that another program has written."""
        state = self._state if text == self._state.text else self._appraised(text, self._read(text), at_once=False)
        self._trail.taken(text, by=by)
        self._state = replace(state, revision=self._trail.number)

    def _read(self, text: str, tree: Node | None = None) -> Reading:
        """Return what a text says; ``tree`` is the text composed already, left out it grows from that of the present text."""
        return read(text, tree=job_edit.tree_of(text, self._state.text) if tree is None else tree)

    def _appraised(self, text: str, reading: Reading, *, at_once: bool = True) -> State:
        """Return the state of a text. A change made here is appraised before it counts; one made elsewhere counts already."""
        found = cache(lambda: appraise(reading.job))
        if at_once:
            found()
        return State(revision=self._trail.number, text=text, reading=reading, found=found)

    def _attempt(self, act: Callable[[], None], *, alone: bool = False) -> tuple[Problem, ...]:
        try:
            with self._trail.alone() if alone else nullcontext():
                act()
        except JobError as error:
            return error.problems
        except StoreError as error:
            kind = Overtaken if isinstance(error, ChangedOnDisk) else Unsaved
            return (kind(path="", line=0, column=0, message=str(error)),)
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
