"""What was said while a job was proved, and what was found the times before: one file beside the job, which is no part of the design.

Every change reads the file again under a lock and writes it whole, so that two telephones' changes both stand. Each has a mark that counts
once: what is sent again because an answer was lost changes nothing.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from loopwright.prove.record import Record, size_of
from loopwright.store.beside import Beside
from loopwright.store.file import StoreError

SUFFIX = ".proved"
FORMAT = 1
MOST_BYTES = 8_000_000
MOST_SAID, MOST_MARKS, MOST_BEFORE = 8000, 4000, 12


@dataclass(frozen=True, kw_only=True, slots=True)
class Kept:
    """The proving of now, and those before it, the latest first: their readings are the baseline."""

    format: int
    record: Record
    before: tuple[Record, ...] = ()

    @property
    def last(self) -> Record | None:
        """Return the proving before this one."""
        return self.before[0] if self.before else None


class OtherProving(StoreError):
    """What was sent belongs to a proving that is over."""


def proof_path(job: Path) -> Path:
    """Return where the provings of a job file are kept.

    >>> proof_path(Path("/jobs/shop.yaml")).name
    'shop.yaml.proved'
    """
    real = Path(os.path.realpath(job))
    return real.with_name(real.name + SUFFIX)


class ProofFile:
    """The provings of one job. It comes into being with the first thing that is said."""

    def __init__(self, path: Path) -> None:
        """Take the file; nothing is read yet."""
        self.path = path
        self._file = Beside(path, Kept(format=FORMAT, record=Record()), most_bytes=MOST_BYTES)

    def load(self) -> Kept:
        """Return what is kept now; an empty record where nothing was said. Raises StoreError."""
        return self._file.load()

    def state(self) -> str:
        """Return what tells one state of the file from another, without reading it."""
        try:
            found = self.path.stat()
        except OSError:
            return ""
        return f"{found.st_mtime_ns:x}.{found.st_size:x}.{found.st_ino:x}"

    def change(self, act: Callable[[Record], Record], *, mark: str, of: str, by: str, at: str) -> Record:
        """Change the proving ``of`` that name and return it; ``mark`` names the change, which is made once.

        ``of`` may be empty for a page that was drawn before it began. Raises OtherProving where that one is over, StoreError, and
        whatever ``act`` raises; all is then as it was.
        """

        def changed(kept: Kept) -> Kept:
            if any(mark in each.marks for each in (kept.record, *kept.before)):
                return kept
            if of and of != kept.record.id:
                raise OtherProving("This belongs to a proving that is over, and was not added to the one of now.")
            begun = kept.record if kept.record.id else replace(kept.record, id=secrets.token_urlsafe(9), begun_at=at, by=by)
            made = act(begun)
            if size_of(made) > MOST_SAID:
                raise StoreError(f"A proving holds at most {MOST_SAID} things said; begin a new one.")
            return replace(kept, record=replace(made, marks=(*made.marks, mark)[-MOST_MARKS:]))

        return self._file.change(changed).record

    def begin_anew(self, *, mark: str, of: str, after: int) -> None:
        """Begin a new proving, of what is received after a number; the one of now is kept before it. Raises StoreError."""

        def changed(kept: Kept) -> Kept:
            if mark in kept.record.marks or not kept.record.id:
                return kept
            if of != kept.record.id:
                raise OtherProving("Another proving was begun meanwhile.")
            return Kept(format=FORMAT, record=Record(marks=(mark,), after=after), before=(kept.record, *kept.before)[:MOST_BEFORE])

        self._file.change(changed)
