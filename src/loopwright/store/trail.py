"""The revisions of a job that is being worked on: where the next one goes, and where those before are found."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from loopwright.store.file import JobFile, StoreError
from loopwright.store.own import Step
from loopwright.store.store import PAGE, Change, Mark, NotThere, Revision, next_revision, plain_words

BEGINS, OUTSIDE, FOUND = "the history begins", "changed outside the workbench", "the file as it was found"
UNDO, REDO = "undo", "redo"
BACK, REASON = "back to revision ", "a reason given"
"""Summaries: of a revision that brings an old text back as a whole, and of one that only says why the text is as it is."""
NOT_KEPT = "No history of this job is kept, so nothing can be noted in it."
NO_CLOCK = datetime(1970, 1, 1, tzinfo=UTC)


def why_of(step: Step | None) -> str:
    """Return the reason a revision carries; none for a plain edit."""
    return "" if step is None else UNDO if step.way < 0 else REDO


def reason(why: str, own: Revision | None, *, by: str, at: datetime) -> Change:
    """Return the change that only says why; ``own`` is the person's last revision, whose place stays. Raises StoreError."""
    words = " ".join(plain_words(why).split())
    if not words or words in (UNDO, REDO, OUTSIDE, FOUND, BEGINS):
        raise StoreError("A reason takes a few words.")
    return Change(by=by, at=at, why=words, summary=REASON, back_to=0 if own is None else own.place.step)


class Trail(Protocol):
    """The place a session keeps its job in. Everything raises StoreError with a plain sentence when it cannot; all is then as it was.

    Other programs and other people may change the job there at any time: ``changed_elsewhere`` says so, ``reload`` takes it in, and
    until then ``add`` raises ChangedOnDisk and adds nothing.
    """

    @property
    def name(self) -> str:
        """Return what the job is called in messages."""

    @property
    def path(self) -> Path:
        """Return where the job's file is; what goes with it, as the vault, is found beside it."""

    @property
    def by(self) -> str:
        """Return who is meant where nobody is named: whoever sits at the machine."""

    @property
    def number(self) -> int:
        """Return the number of the last revision that is known here."""

    def load(self) -> str:
        """Return the text as it is now."""

    def start(self, text: str) -> None:
        """Begin with the text that was loaded and is a job."""

    def changed_elsewhere(self) -> bool:
        """Return whether the job is no longer what was last read or written here. This is asked often, and must be cheap."""

    def reload(self, take: Callable[[str], None]) -> None:
        """Hand over the text as it is now. ``take`` calls ``taken``; when it raises, the job still counts as changed."""

    def taken(self, text: str, *, by: str = "") -> None:
        """Count a text that was handed over as the last revision, one of its own where it is none yet."""

    def add(self, text: str, summary: str = "", *, by: str = "", step: Step | None = None) -> None:
        """Make a text the next revision. Raises ChangedOnDisk. ``step`` is the one it takes back or does again."""

    def text_at(self, number: int) -> str:
        """Return the text of a revision. Raises NotThere."""

    def revision(self, number: int) -> Revision:
        """Return a revision. Raises NotThere."""

    def last_by(self, by: str, *, up_to: int | None = None) -> Revision | None:
        """Return the last revision a person made, up to a number where one is given; None when there is none."""

    def since(self, number: int) -> tuple[Revision, ...]:
        """Return the revisions after a number, the earliest first."""

    def history(self, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return a page of what was done, the latest first, below ``before``; nothing where nothing is kept."""

    def alone(self) -> AbstractContextManager[None]:
        """Have other servers of the job wait until the block ends, where there are any; they may still have to, and find it changed."""

    def explain(self, why: str, *, by: str = "") -> None:
        """Say why the present text is as it is, as a revision of its own: what is recorded of one cannot be changed."""

    def mark(self, name: str, number: int) -> Mark:
        """Give a revision a name; a name stays with the revision it was given to."""

    def marks(self) -> tuple[Mark, ...]:
        """Return the names given to revisions, by revision."""

    def close(self) -> None:
        """Let go of what is open."""


class MemoryTrail:
    """A job file whose revisions last as long as the program runs."""

    def __init__(self, file: JobFile, *, by: str = "") -> None:
        """Take the file the job is saved in, and who sits at the machine."""
        self.file = file
        self.by = by
        self._revisions: list[Revision] = []
        self._texts: list[str] = []

    @property
    def name(self) -> str:
        """Return the file's own name."""
        return self.file.name

    @property
    def path(self) -> Path:
        """Return where the file is."""
        return self.file.path

    @property
    def number(self) -> int:
        """Return the number of the last revision."""
        return len(self._revisions)

    def load(self) -> str:
        """Return the text in the file. Raises StoreError."""
        return self.file.load()

    def start(self, text: str) -> None:
        """Begin with the text that was loaded."""
        self._revisions, self._texts = [], []
        self._append(text, Change(by=self.by, at=NO_CLOCK, why=BEGINS))

    def changed_elsewhere(self) -> bool:
        """Return whether another program has changed the file. Raises StoreError."""
        return self.file.changed_on_disk()

    def reload(self, take: Callable[[str], None]) -> None:
        """Hand over the text that is in the file now. Raises StoreError."""
        self.file.reload(take)

    def taken(self, text: str, *, by: str = "") -> None:
        """Count what was read from the file as the next revision."""
        if text != self._texts[-1]:
            self._append(text, Change(by=by or self.by, at=NO_CLOCK, why=OUTSIDE))

    def add(self, text: str, summary: str = "", *, by: str = "", step: Step | None = None) -> None:
        """Save a text and make it the next revision. Raises ChangedOnDisk or StoreError."""
        self.file.save(text)
        back_to = None if step is None else step.to
        self._append(text, Change(by=by or self.by, at=NO_CLOCK, why=why_of(step), summary=summary, back_to=back_to))

    def text_at(self, number: int) -> str:
        """Return the text of a revision. Raises NotThere."""
        self.revision(number)
        return self._texts[number - 1]

    def revision(self, number: int) -> Revision:
        """Return a revision. Raises NotThere."""
        if not 1 <= number <= len(self._revisions):
            raise NotThere(f"{self.name} has no revision {number}.")
        return self._revisions[number - 1]

    def last_by(self, by: str, *, up_to: int | None = None) -> Revision | None:
        """Return the last revision a person made."""
        found = self._revisions if up_to is None else self._revisions[: max(up_to, 0)]
        return next((each for each in reversed(found) if each.by == plain_words(by)), None)

    def since(self, number: int) -> tuple[Revision, ...]:
        """Return the revisions after a number, the earliest first."""
        return tuple(self._revisions[max(number, 0) :])

    def history(self, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return nothing: what is gone when the program stops is no history."""
        return ()

    def alone(self) -> AbstractContextManager[None]:
        """Do nothing: there is no other server."""
        return nullcontext()

    def explain(self, why: str, *, by: str = "") -> None:
        """Refuse: it would be gone when the program stops."""
        raise StoreError(NOT_KEPT)

    def mark(self, name: str, number: int) -> Mark:
        """Refuse: it would be gone when the program stops."""
        raise StoreError(NOT_KEPT)

    def marks(self) -> tuple[Mark, ...]:
        """Return nothing."""
        return ()

    def close(self) -> None:
        """Do nothing: nothing is open."""

    def _append(self, text: str, change: Change) -> None:
        last = self._revisions[-1] if self._revisions else None
        back = self.revision(change.back_to) if change.back_to else None
        self._revisions.append(next_revision(self.name, "", change, last=last, own=self.last_by(change.by), back=back))
        self._texts.append(text)
