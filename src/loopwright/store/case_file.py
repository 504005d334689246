"""The cases of the desk: one file beside each job, one for callers whose premises are not on file, readable by their owner alone.

Every change reads the file again under a lock and writes it whole. Each change has a mark, and a mark counts once: what is sent again
because an answer was lost changes nothing. Undo is about the document and does not reach in here.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from loopwright.desk.case import Case, Closed
from loopwright.store.beside import Beside, path_beside
from loopwright.store.file import StoreError

SUFFIX, TRAIL_SUFFIX = ".cases", ".cases.trail"
NOT_ON_FILE = "not-on-file"
"""The name under which the cases of a folder stand that are about no job in it."""
FORMAT = 1
MOST_BYTES = 20_000_000
MOST_CASES, MOST_MARKS, MOST_SAID = 5000, 400, 500
OURS_ALONE = 0o600


class NoCase(StoreError):
    """There is no case of that name."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Kept:
    format: int
    cases: tuple[Case, ...] = ()
    marks: tuple[str, ...] = ()


def cases_path(job: Path) -> Path:
    """Return where the cases of a job file are kept."""
    return path_beside(job, SUFFIX)


def trail_of(cases: Path) -> Path:
    """Return where it is noted who identified which caller, and how."""
    return cases.with_name(cases.name.removesuffix(SUFFIX) + TRAIL_SUFFIX)


def not_on_file(folder: Path) -> Path:
    """Return where a folder's cases about premises that are not on file are kept."""
    return Path(os.path.realpath(folder)) / f"{NOT_ON_FILE}{SUFFIX}"


class CaseFile:
    """The cases in one file, which comes into being with the first of them."""

    def __init__(self, path: Path) -> None:
        """Take the file; nothing is read yet."""
        self.path = path
        self._file = Beside(path, _Kept(format=FORMAT), most_bytes=MOST_BYTES, mode=OURS_ALONE)

    def load(self) -> tuple[Case, ...]:
        """Return the cases, the oldest first. Raises StoreError."""
        return self._file.load().cases

    def find(self, name: str) -> Case | None:
        """Return a case, None when there is none of that name. Raises StoreError."""
        return next((case for case in self.load() if case.id == name), None)

    def begin(self, case: Case, *, mark: str) -> Case:
        """Put in a new case and return it; the one that stands where the mark counted already. Raises StoreError.

        Calls that are over and in which nothing was said are put away with it.
        """

        def changed(kept: _Kept) -> _Kept:
            if mark in kept.marks:
                return kept
            others = tuple(each for each in kept.cases if not (each.silent and each.over(case.at)))
            if len(others) >= MOST_CASES:
                raise StoreError(f"{self.path.name} holds {MOST_CASES} cases, and no more go in. Moved away, a new file begins.")
            return _Kept(format=FORMAT, cases=(*others, case), marks=(*kept.marks, mark)[-MOST_MARKS:])

        return self._find(self._file.change(changed), case.id)

    def change(self, name: str, act: Callable[[Case], Case], *, mark: str) -> Case:
        """Change a case and return it; ``mark`` names the change, made once. Raises NoCase, StoreError, and what ``act`` raises."""

        def changed(kept: _Kept) -> _Kept:
            case = self._find(kept, name)
            if mark in kept.marks:
                return kept
            made = act(case)
            if len(made.said) > MOST_SAID:
                raise StoreError(f"A case holds at most {MOST_SAID} answers. Close this one, and begin another.")
            cases = tuple(made if each is case else each for each in kept.cases)
            return _Kept(format=FORMAT, cases=cases, marks=(*kept.marks, mark)[-MOST_MARKS:])

        return self._find(self._file.change(changed), name)

    def _find(self, kept: _Kept, name: str) -> Case:
        found = next((case for case in kept.cases if case.id == name), None)
        if found is None:
            raise NoCase("There is no such case here; it may be one of other premises.")
        return found


class Closings:
    """How cases ended, over every file of cases in a folder. A file is read again when it has changed."""

    def __init__(self, folder: Path) -> None:
        """Take the folder; nothing is read yet."""
        self.folder = folder
        self._known: dict[Path, tuple[tuple[int, int, int], tuple[Closed, ...]]] = {}

    def all(self) -> tuple[Closed, ...]:
        """Return how every closed case ended; a file that cannot be read adds nothing."""
        found: dict[Path, tuple[tuple[int, int, int], tuple[Closed, ...]]] = {}
        for path in self._files():
            with contextlib.suppress(OSError, StoreError):
                now = path.stat()
                stamp = (now.st_ino, now.st_mtime_ns, now.st_size)
                known = self._known.get(path)
                found[path] = known if known is not None and known[0] == stamp else (stamp, _closed(CaseFile(path).load()))
        self._known = found
        return tuple(each for _, closed in found.values() for each in closed)

    def _files(self) -> list[Path]:
        try:
            return sorted(path for path in self.folder.iterdir() if path.name.endswith(SUFFIX) and path.is_file())
        except OSError:
            return []


def _closed(cases: Iterable[Case]) -> tuple[Closed, ...]:
    return tuple(case.closed for case in cases if case.closed is not None)
