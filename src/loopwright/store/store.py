"""What a store keeps of a job, and what it must be able to do: every revision in a chain, marks on them, and the files that go with them.

A revision's own hash covers everything recorded of it, the hash of its text, and the hash of the revision before. So none can be
changed, taken out or moved without the chain telling where.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import NamedTuple, Protocol

from loopwright.store.file import StoreError

NOTHING_BEFORE = "0" * 64
"""What the first revision carries as the hash of the revision before."""
LONGEST_WORDS = 1000
PAGE = 100


class Damaged(StoreError):
    """What is kept is not what was put there; the message says what is wrong with it."""


class Unfit(StoreError):
    """The database cannot be used by this program as it is."""


class TooNew(Unfit):
    """The database was made by a later version of this program."""


class NotThere(StoreError):
    """The store has no such job, revision, mark or file."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where a revision stands among the steps of the person who made it.

    Undo and redo are revisions too, so that nothing is ever taken out; ``step`` is then the person's last step that stands (0: none).
    ``before`` is the one that stands after a further undo (0: none), ``depth`` how many can be undone, ``tip`` the last that can be redone.
    """

    step: int
    before: int
    depth: int
    tip: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Revision:
    """One revision: when, by whom, why, what was changed, and its links of the chain. ``note`` is the store's own remark."""

    number: int
    at: datetime
    by: str
    why: str
    summary: str
    note: str
    text_sha256: str
    previous_sha256: str
    sha256: str
    place: Place


@dataclass(frozen=True, kw_only=True, slots=True)
class Head:
    """The last revision of a job, with its text."""

    revision: Revision
    text: str

    @property
    def number(self) -> int:
        """Return the revision's number."""
        return self.revision.number


@dataclass(frozen=True, kw_only=True, slots=True)
class Conflict:
    """A text that was not appended, because somebody else had appended another one first: both stand here."""

    ours: str
    theirs: Head


class Mark(NamedTuple):
    """A name given to a revision: as installed, as handed over."""

    name: str
    revision: int


class Trouble(NamedTuple):
    """Something that is not as it was put there; ``revision`` is None where it is the job or the database as a whole."""

    job: str
    revision: int | None
    sentence: str

    def __str__(self) -> str:
        """Return the sentence with its place in front."""
        where = "".join((self.job and f"{self.job}: ", "" if self.revision is None else f"revision {self.revision}: "))
        return f"{where}{self.sentence}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Change:
    """Who changes a job and why. ``back_to`` is the person's last step that stands then, for undo and redo (0: none)."""

    by: str
    at: datetime
    why: str = ""
    summary: str = ""
    back_to: int | None = None


class Store(Protocol):
    """What every store can do. Everything raises StoreError with a plain sentence when it cannot; what was acknowledged stays."""

    @property
    def read_only(self) -> bool:
        """Return whether nothing can be put into it."""

    def jobs(self) -> tuple[str, ...]:
        """Return the names of the jobs, in order."""

    def create(self, job: str, text: str, change: Change) -> Revision:
        """Begin a job with its first text."""

    def head(self, job: str) -> Head:
        """Return the last revision and its text."""

    def number(self, job: str) -> int:
        """Return the number of the last revision; nothing else is read, so that it may be asked for often."""

    def alone(self, job: str) -> AbstractContextManager[None]:
        """Have whoever else asks for the same wait until the block ends: what takes long is then not done in vain.

        Nothing rests on it; ``append`` finds out by itself who came first.
        """

    def append(
        self, job: str, text: str, change: Change, *, expected: int, alongside: Callable[[], None] | None = None
    ) -> Revision | Conflict:
        """Append a text to revision ``expected``; when that is no longer the last, nothing is appended.

        ``alongside`` is done before the revision counts; when it raises, nothing is appended.
        """

    def revisions(self, job: str, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return a page of revisions, the latest first, ``before`` a number where one is given."""

    def revision(self, job: str, number: int) -> Revision:
        """Return one revision."""

    def last_by(self, job: str, by: str, *, up_to: int | None = None) -> Revision | None:
        """Return the last revision a person made, up to a number where one is given; None when there is none."""

    def text_at(self, job: str, number: int) -> str:
        """Return the text of a revision."""

    def mark(self, job: str, name: str, number: int) -> Mark:
        """Give a revision a name; a name stays with the revision it was given to."""

    def marks(self, job: str) -> tuple[Mark, ...]:
        """Return the marks of a job, by revision."""

    def put_file(self, content: bytes) -> str:
        """Keep a file and return its SHA-256, by which it is found again."""

    def get_file(self, sha256: str) -> bytes:
        """Return a kept file."""

    def verify(self, job: str | None = None) -> list[Trouble]:
        """Return everything in one job, or in all and their files, that is not as it was put there."""

    def close(self) -> None:
        """Let go of the database."""


def sha256_of(content: bytes) -> str:
    """Return the SHA-256 in hexadecimal, as sha256sum prints it."""
    return hashlib.sha256(content).hexdigest()


def link(revision: Revision, job: str) -> str:
    """Return the hash a revision must carry: of the job's name and everything recorded, in the order of the record."""
    row = {each.name: getattr(revision, each.name) for each in fields(Revision) if each.name not in ("sha256", "place")}
    place = revision.place
    row |= {"job": job, "at": stamp(revision.at), "place": [place.step, place.before, place.depth, place.tip]}
    return sha256_of(json.dumps(row, ensure_ascii=True, sort_keys=True, separators=(",", ":")).encode("ascii"))


def stamp(at: datetime) -> str:
    """Return a moment in one form only, in UTC with microseconds.

    >>> stamp(datetime(2026, 3, 1, 12, tzinfo=UTC))
    '2026-03-01T12:00:00.000000+00:00'
    """
    return at.astimezone(UTC).isoformat(timespec="microseconds")


def plain_words(words: str) -> str:
    r"""Return words as both databases can keep them: no half characters, no zero byte, no more than a thousand.

    >>> plain_words("a\0b\ud800")
    'a\ufffdb?'
    """
    return words.encode("utf-8", "replace").decode("utf-8").replace("\0", "\ufffd")[:LONGEST_WORDS]


def next_place(number: int, own: Revision | None, back_to: int | None, back: Revision | None) -> Place:
    """Return the place of a revision whose maker's last one is ``own``; ``back`` is the revision ``back_to``, for undo and redo."""
    if back_to is None:
        if own is None:
            return Place(step=number, before=0, depth=0 if number == 1 else 1, tip=number)
        return Place(step=number, before=own.place.step, depth=own.place.depth + 1, tip=number)
    tip = 0 if own is None else own.place.tip
    if back is None:
        return Place(step=0, before=0, depth=0, tip=tip)
    return Place(step=back.place.step, before=back.place.before, depth=back.place.depth, tip=tip)


def next_revision(
    job: str, text_sha256: str, change: Change, *, last: Revision | None, own: Revision | None = None, back: Revision | None = None
) -> Revision:
    """Return the revision that follows ``last``; ``own`` is the last one of the same person, ``back`` the one ``change`` goes back to.

    Its time is never before that of ``last``, whatever the clock says.
    """
    at, note = change.at.astimezone(UTC), ""
    if last is not None and at < last.at:
        note = f"The clock said {stamp(at)}, before the revision this one follows; it carries the time of that one."
        at = last.at
    number = 1 if last is None else last.number + 1
    made = Revision(
        number=number,
        at=at,
        by=plain_words(change.by),
        why=plain_words(change.why),
        summary=plain_words(change.summary),
        note=note,
        text_sha256=text_sha256,
        previous_sha256=NOTHING_BEFORE if last is None else last.sha256,
        sha256="",
        place=next_place(number, own, change.back_to, back),
    )
    return sealed(made, job)


def sealed(revision: Revision, job: str) -> Revision:
    """Return the revision with its hash."""
    values = {each.name: getattr(revision, each.name) for each in fields(Revision)}
    return Revision(**values | {"sha256": link(revision, job)})
