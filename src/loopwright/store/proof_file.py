"""What was said while a job was proved, and what was found the times before: one file beside the job, which is no part of the design.

Every change reads the file again under a lock and writes it whole, so that two telephones' changes both stand. Each has a mark that counts
once: what is sent again because an answer was lost changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from loopwright.prove.record import Record, size_of
from loopwright.store.beside import Beside, path_beside
from loopwright.store.file import StoreError
from loopwright.store.said import Over, said

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

    @property
    def photos(self) -> frozenset[str]:
        """Return the digests of the photographs that stand, in this proving and those before it."""
        return frozenset(digest for record in (self.record, *self.before) for digest in record.photos.values())


def proof_path(job: Path) -> Path:
    """Return where the provings of a job file are kept."""
    return path_beside(job, SUFFIX)


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

        ``of`` may be empty for a page that was drawn before it began. Raises Over where that one is over, StoreError, and
        whatever ``act`` raises; all is then as it was.
        """

        def bounded(begun: Record) -> Record:
            made = act(begun)
            if size_of(made) > MOST_SAID:
                raise StoreError(f"A proving holds at most {MOST_SAID} things said; begin a new one.")
            return made

        def changed(kept: Kept) -> Kept:
            if any(mark in each.marks for each in (kept.record, *kept.before)):
                return kept
            made = said(kept.record, bounded, mark=mark, of=of, by=by, at=at, words="proving", most_marks=MOST_MARKS)
            return replace(kept, record=made)

        return self._file.change(changed).record

    def begin_anew(self, *, mark: str, of: str, after: int) -> None:
        """Begin a new proving, of what is received after a number; the one of now is kept before it. Raises StoreError."""

        def changed(kept: Kept) -> Kept:
            if mark in kept.record.marks or not kept.record.id:
                return kept
            if of != kept.record.id:
                raise Over("Another proving was begun meanwhile.")
            return Kept(format=FORMAT, record=Record(marks=(mark,), after=after), before=(kept.record, *kept.before)[:MOST_BEFORE])

        self._file.change(changed)
