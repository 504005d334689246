"""What a trail of revisions in a store does, whether or not there is a file beside it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from datetime import datetime

from loopwright.store.file import StoreError
from loopwright.store.own import Step
from loopwright.store.store import PAGE, Change, Head, Mark, Revision, Store
from loopwright.store.trail import reason, why_of


class InStore(ABC):
    """The revisions of one job in a store, from the one this program stands at."""

    def __init__(self, store: Store, job: str, *, by: str, clock: Callable[[], datetime]) -> None:
        """Take a store that can be written and the job's name in it; ``by`` is who works on the job, ``clock`` says when."""
        self._store = store
        self._job = job
        self.by = by
        self._clock = clock
        self._at: Head | None = None

    @property
    @abstractmethod
    def name(self) -> str:
        """Return what the job is called in messages."""

    @property
    def number(self) -> int:
        """Return the number of the last revision that is known here."""
        return self._head.number

    def add(self, text: str, summary: str = "", *, by: str = "", step: Step | None = None) -> None:
        """Make a text the next revision. Raises ChangedOnDisk or StoreError; all is then as it was."""
        back_to = None if step is None else step.to
        self._append(text, Change(by=by or self.by, at=self._clock(), why=why_of(step), summary=summary, back_to=back_to))

    def explain(self, why: str, *, by: str = "") -> None:
        """Say why the present text is as it is, as a revision of its own. Raises ChangedOnDisk or StoreError."""
        who = by or self.by
        self._append(self._head.text, reason(why, self.last_by(who), by=who, at=self._clock()))

    def text_at(self, number: int) -> str:
        """Return the text of a revision. Raises StoreError."""
        return self._head.text if number == self._head.number else self._store.text_at(self._job, number)

    def revision(self, number: int) -> Revision:
        """Return a revision. Raises StoreError."""
        return self._store.revision(self._job, number)

    def last_by(self, by: str, *, up_to: int | None = None) -> Revision | None:
        """Return the last revision a person made. Raises StoreError."""
        return self._store.last_by(self._job, by, up_to=up_to)

    def since(self, number: int) -> tuple[Revision, ...]:
        """Return the revisions after a number, the earliest first. Raises StoreError."""
        # Up to what is known here: what others have appended meanwhile is not what the page shows.
        after = max(self._head.number - number, 0)
        return tuple(reversed(self._store.revisions(self._job, before=self._head.number + 1, most=after))) if after else ()

    def history(self, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return a page of revisions, the latest first, below the number ``before`` where one is given. Raises StoreError."""
        return self._store.revisions(self._job, before=before, most=most)

    def mark(self, name: str, number: int) -> Mark:
        """Give a revision a name. Raises StoreError, also when the name stands on another."""
        return self._store.mark(self._job, name, number)

    def marks(self) -> tuple[Mark, ...]:
        """Return the names given to revisions, by revision. Raises StoreError."""
        return self._store.marks(self._job)

    def close(self) -> None:
        """Let go of the store."""
        self._store.close()

    @property
    def _head(self) -> Head:
        if self._at is None:
            raise StoreError(f"{self.name} has not been loaded.")
        return self._at

    @abstractmethod
    def _append(self, text: str, change: Change) -> None:
        """Append a text to what is known here. Raises ChangedOnDisk or StoreError."""
