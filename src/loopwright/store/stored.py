"""A job that is kept in a database alone, for an office: several servers may work on it at once, and each sees what the others did.

Nothing is acknowledged before the database has it, and nothing is appended to a revision that is not the last: what somebody else has
appended first is taken in, and the change made to that.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from loopwright.store.address import shown_address
from loopwright.store.file import ChangedOnDisk, StoreError
from loopwright.store.in_store import InStore
from loopwright.store.store import Change, Conflict, Head, Revision, Store

MOST_KEPT = 500
"""Revisions kept at hand; none ever changes."""
PUT_IN = "put in from a file"


class StoredJob(InStore):
    """A trail in a store that has no file beside it."""

    def __init__(self, store: Store, job: str, *, by: str, clock: Callable[[], datetime], beside: Path) -> None:
        """Take the store and the name of the job in it; ``beside`` is where on this machine a file of it would be."""
        super().__init__(store, job, by=by, clock=clock)
        self.path = beside
        self._coming: Head | None = None
        self._kept: OrderedDict[int, Revision] = OrderedDict()
        self._last: dict[tuple[str, int | None], Revision | None] = {}

    @property
    def name(self) -> str:
        """Return the job's name in the store."""
        return self._job

    def load(self) -> str:
        """Return the text of the last revision. Raises StoreError."""
        self._stand_at(self._store.head(self.name))
        return self._head.text

    def start(self, text: str) -> None:
        """Begin with the text that was loaded: it is the last revision already."""

    def changed_elsewhere(self) -> bool:
        """Return whether another program has appended a revision. Raises StoreError."""
        return self._store.number(self.name) != self._head.number

    def reload(self, take: Callable[[str], None]) -> None:
        """Hand over the text of the last revision. When it is not taken, the job still counts as changed. Raises StoreError."""
        self._coming = self._store.head(self.name)
        try:
            take(self._coming.text)
        finally:
            self._coming = None

    def taken(self, text: str, *, by: str = "") -> None:
        """Go on from the revision whose text was handed over."""
        if self._coming is None or self._coming.text != text:
            raise StoreError(f"{self.name}: no such text was handed over.")
        self._stand_at(self._coming)

    def revision(self, number: int) -> Revision:
        """Return a revision. Raises StoreError."""
        if number not in self._kept:
            self._keep(super().revision(number))
        return self._kept[number]

    def last_by(self, by: str, *, up_to: int | None = None) -> Revision | None:
        """Return the last revision a person made. Raises StoreError."""
        if (by, up_to) not in self._last:
            known = self._head.number if up_to is None else up_to
            self._last[by, up_to] = super().last_by(by, up_to=known)
        return self._last[by, up_to]

    def alone(self) -> AbstractContextManager[None]:
        """Have other servers of the job wait. Raises StoreError when another one does not let go."""
        return self._store.alone(self.name)

    def _append(self, text: str, change: Change) -> None:
        done = self._store.append(self.name, text, change, expected=self._head.number)
        if isinstance(done, Conflict):
            raise ChangedOnDisk(
                f"{self.name} was not saved: somebody else has changed it since it was read here, and that change stays. "
                "Read it again to work on from it."
            )
        self._stand_at(Head(revision=done, text=text))

    def _stand_at(self, head: Head) -> None:
        self._at = head
        self._last = {}
        self._keep(head.revision)

    def _keep(self, revision: Revision) -> None:
        self._kept[revision.number] = revision
        while len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)


class ServerJob(NamedTuple):
    """Where a job is on a server: the server's address, the job's name there, and where on this machine a file of it would be."""

    address: str
    job: str
    beside: Path

    def __str__(self) -> str:
        """Return the place as it may be shown."""
        return f"{self.job} on {shown_address(self.address)}"


def open_stored(place: ServerJob, *, by: str, clock: Callable[[], datetime]) -> StoredJob:
    """Return a job that is on a server. Raises StoreError."""
    # Only here: the database's library is 0.2 s of start-up.
    from loopwright.store.sql import open_store

    try:
        place.beside.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise StoreError(f"{place.beside.parent} cannot be made: {(error.strerror or type(error).__name__).lower()}.") from error
    return StoredJob(open_store(place.address), place.job, by=by, clock=clock, beside=place.beside)
