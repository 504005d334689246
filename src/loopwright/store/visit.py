"""What a visit has seen so far: steps done, troubles shown, readings. One file beside the job, which is no part of the design.

Every change reads the file again under a lock and writes it whole, so two telephones' changes both stand. Each change has a mark, and a
mark counts once: what is sent again because an answer was lost changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from loopwright.store.beside import Beside, path_beside
from loopwright.store.file import StoreError
from loopwright.store.said import Over, said

SUFFIX = ".visit"
FORMAT = 1
MOST_BYTES = 2_000_000
MOST_ENTRIES, MOST_MARKS = 1000, 400


@dataclass(frozen=True, kw_only=True, slots=True)
class Entry:
    """One thing read, shown or answered, in the words of an observation file.

    ``words`` names a look or a question. ``out``: it was taken out again.
    """

    id: str
    at: str
    by: str
    where: str
    place: str = ""
    state: str = ""
    reading: str = ""
    shows: str = ""
    look: str = ""
    told: str = ""
    answer: str = ""
    words: str = ""
    out: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Said:
    """What was said of a step: done or not, at a place, or everywhere where ``place`` is empty."""

    step: str
    place: str
    done: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class Charged:
    """The state of charge [1] of a battery, and when it was said."""

    supply: str
    charge: float
    at: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Past:
    """A finding before power that somebody signed past: of which check, why, who and when."""

    key: str
    reason: str
    by: str
    at: str


@dataclass(frozen=True, kw_only=True, slots=True)
class OldRow:
    """An old pair of an unknown system, and what was read of it, as it was written; empty where it was not read."""

    name: str
    rest: str = ""
    operated: str = ""
    lid: str = ""
    fault: str = ""
    shorted: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class KeyedSaid:
    """An entry of the keying plan that was ticked off or read back, with what was to be keyed; of a code neither is ever kept.

    ``wrong`` says that it reads otherwise; ``read`` is what it reads, where that means something at the unit.
    """

    unit: str
    address: str
    keys: str
    by: str
    at: str
    done: bool = False
    read: str = ""
    wrong: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class FoundSaid:
    """What a unit was found to hold at an address, before anything was entered."""

    unit: str
    address: str
    shown: str


@dataclass(frozen=True, kw_only=True, slots=True)
class RunRead:
    """What was read of a run whose cores touch or are broken, as it was written; empty where it was not read."""

    run: str
    at: str
    by: str
    near: str = ""
    far: str = ""
    spare: str = ""
    spare_m: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class MeterSaid:
    """The meter in use, as its paper says; empty fields are those of a usual one."""

    name: str = ""
    accuracy_pct: float | None = None
    digits: float | None = None
    counts: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class Visit:
    """A visit. Moments are written as ISO 8601 has them. ``asked`` are the entries the last explanation was asked with."""

    id: str = ""
    begun_at: str = ""
    by: str = ""
    said: tuple[Said, ...] = ()
    mains_at: str = ""
    charge: tuple[Charged, ...] = ()
    looked: bool = False
    shown: tuple[tuple[str, str], ...] = ()
    entries: tuple[Entry, ...] = ()
    asked: tuple[str, ...] | None = None
    meter: MeterSaid = MeterSaid()
    past: tuple[Past, ...] = ()
    old: tuple[OldRow, ...] = ()
    runs: tuple[RunRead, ...] = ()
    keyed: tuple[KeyedSaid, ...] = ()
    found: tuple[FoundSaid, ...] = ()
    marks: tuple[str, ...] = ()

    @property
    def standing(self) -> tuple[Entry, ...]:
        """Return the entries that were not taken out."""
        return tuple(each for each in self.entries if not each.out)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Kept:
    format: int
    visit: Visit
    before: Visit | None = None


def visit_path(job: Path) -> Path:
    """Return where the visit of a job file is kept."""
    return path_beside(job, SUFFIX)


class VisitFile:
    """The visit of one job. It comes into being with the first thing that is said."""

    def __init__(self, path: Path) -> None:
        """Take the file; nothing is read yet."""
        self.path = path
        self._file = Beside(path, _Kept(format=FORMAT, visit=Visit()), most_bytes=MOST_BYTES)

    def load(self) -> Visit:
        """Return the visit as it is now; an empty one where none was begun. Raises StoreError."""
        return self._file.load().visit

    def has_before(self) -> bool:
        """Return whether the visit before can be brought back. Raises StoreError."""
        return self._file.load().before is not None

    def change(self, act: Callable[[Visit], Visit], *, mark: str, of: str, by: str, at: str) -> Visit:
        """Change the visit ``of`` that name and return it; ``mark`` names the change, which is made once.

        ``of`` may be empty for a page that was drawn before the visit began. Raises Over where that one is over, StoreError, and
        whatever ``act`` raises; all is then as it was.
        """

        def bounded(begun: Visit) -> Visit:
            made = act(begun)
            if len(made.entries) > MOST_ENTRIES:
                raise StoreError(f"A visit holds at most {MOST_ENTRIES} readings; put these on record and begin a new one.")
            return made

        def changed(kept: _Kept) -> _Kept:
            if mark in kept.visit.marks:
                return kept
            made = said(kept.visit, bounded, mark=mark, of=of, by=by, at=at, words="visit", most_marks=MOST_MARKS)
            return replace(kept, visit=made)

        return self._file.change(changed).visit

    def begin_anew(self, *, mark: str, of: str) -> Visit:
        """Begin a new visit; the one of now is kept and can be brought back. Raises StoreError."""

        def changed(kept: _Kept) -> _Kept:
            if mark in kept.visit.marks or not kept.visit.id:
                return kept
            if of != kept.visit.id:
                raise Over("Another visit was begun meanwhile.")
            return _Kept(format=FORMAT, visit=Visit(marks=(mark,)), before=kept.visit)

        return self._file.change(changed).visit

    def bring_back(self, *, mark: str) -> Visit:
        """Go on with the visit before; the one of now takes its place. Raises StoreError."""

        def changed(kept: _Kept) -> _Kept:
            if mark in kept.visit.marks or kept.before is None:
                return kept
            back = replace(kept.before, marks=(*kept.before.marks, mark)[-MOST_MARKS:])
            return _Kept(format=FORMAT, visit=back, before=kept.visit if kept.visit.id else None)

        return self._file.change(changed).visit
