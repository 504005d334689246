"""The way back: what was read at an unknown unit, address by address, as the programme it amounts to and where that differs."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from typing import NamedTuple

from loopwright.job.document import Job
from loopwright.job.sheet import Setting
from loopwright.keying.entry import HAND, Field, default_keys, fields_of
from loopwright.keying.form import Form, Kind, Unfit, Value, same
from loopwright.keying.spot import HOLE, NAMES, Spot, form_of, spots_of, star_parts
from loopwright.values.error import Problem

MOST_LINES = 5000


class Reading(NamedTuple):
    """One line of what was found: its number, the address, and what the unit shows there."""

    line: int
    address: str
    shown: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One setting as it was found, and what the document wants there; ``factory`` says that it is as delivered."""

    path: str
    words: str
    address: str
    found: str
    programme: str
    differs: bool
    factory: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class FoundUnit:
    """What readings of a unit amount to: its programme, row by row, and what could not be taken."""

    unit: str
    values: dict[str, Value]
    rows: tuple[Row, ...]
    unread: tuple[str, ...]
    problems: tuple[Problem, ...]

    @property
    def differences(self) -> tuple[Row, ...]:
        """Return the rows that are not as the document says."""
        return tuple(row for row in self.rows if row.differs)


def readings_in(text: str) -> tuple[list[Reading], list[Problem]]:
    """Return the lines ``address = what it shows`` of a text; empty ones and those after # are left out.

    >>> readings_in("# hall\\npage Doors, line Leaving = 060")[0]
    [Reading(line=2, address='page Doors, line Leaving', shown='060')]
    """
    found: list[Reading] = []
    problems: list[Problem] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip() or line.lstrip().startswith("#"):
            continue
        address, sign, shown = line.partition("=")
        if not sign or not address.strip():
            problems.append(_problem(number, "An address and what it shows are needed.", "page Doors, line Leaving = 060"))
        elif len(found) < MOST_LINES:
            found.append(Reading(number, " ".join(address.split()), " ".join(shown.split())))
    return found, problems


def found_at(job: Job, unit: str, readings: Iterable[Reading]) -> FoundUnit:
    """Return what readings of a unit amount to. What it shows is never repeated in a problem: it may be a code."""
    fields = {field.address.casefold(): field for field in fields_of(spots_of(job, unit))}
    values: dict[str, Value] = {}
    rows, problems, seen = [], [], dict[str, int]()
    for reading in readings:
        key = reading.address.casefold()
        field = fields.get(key)
        try:
            if key in seen:
                raise Unfit(f"This address stands on line {seen[key]} already.", "Each address is read once.")
            if field is not None:
                taken = _taken(field, reading.shown)
                values |= {spot.key: value for spot, value in taken}
                rows += [_row(spot, value) for spot, value in taken]
            else:
                rows.append(_beyond(job, unit, reading, list(fields.values())))
            seen[key] = reading.line
        except Unfit as why:
            problems.append(_problem(reading.line, f"{reading.address}: {why.said.sentence}", why.said.right.rstrip(".")))
    unread = tuple(field.address for field in fields.values() if not field.by_hand() and field.address.casefold() not in seen)
    return FoundUnit(unit=unit, values=values, rows=tuple(rows), unread=unread, problems=tuple(problems))


def _taken(field: Field, shown: str) -> list[tuple[Spot, Value]]:
    if field.by_hand():
        raise Unfit("What is read of a code or the clock is not taken down.", "the line left out")
    values = field.apart(shown)
    return [(spot, values[spot.key]) for spot in field.spots]


def _row(spot: Spot, value: Value) -> Row:
    wanted = spot.wanted
    differs = wanted is not None and not _equal(spot.form, wanted, value)
    return Row(
        path=spot.path, words=spot.words, address=spot.address, found=spot.form.words(value),
        programme="" if wanted is None else spot.form.words(wanted), differs=differs, factory=spot.form.keyed(value) == default_keys(spot),
    )  # fmt: skip


def _equal(form: Form, wanted: Value, value: Value) -> bool:
    """Return whether a unit holds the same for both: a text it shows in capitals is the text."""
    try:
        return form.keyed(wanted) == form.keyed(value)
    except Unfit:
        return same(wanted, value)


def _beyond(job: Job, unit: str, reading: Reading, fields: list[Field]) -> Row:
    """Return the row of a reading whose address fits the sheet, for a row the document does not have. Raises Unfit."""
    for setting, form, numbers in _patterns(job, unit, reading.address):
        if form.kind in HAND:
            raise Unfit("What is read of a code or the clock is not taken down.", "the line left out")
        value = form.meant(reading.shown)
        rows = iter(numbers)
        path = "/".join(next(rows) if part == "*" else part for part in setting.of.split("/"))
        return Row(
            path=path, words=f"{' '.join(numbers)}, not in the document", address=reading.address, found=form.words(value), programme="",
            differs=True, factory=False,
        )  # fmt: skip
    near = get_close_matches(reading.address, [field.address for field in fields], n=1, cutoff=0.5)
    raise Unfit("The sheet has no such address.", f"the words of the sheet{f', such as {near[0]}' if near else ''}")


def _patterns(job: Job, unit: str, address: str) -> Iterator[tuple[Setting, Form, list[str]]]:
    """Yield the settings an address fits with numbers of its own, each number after the name of its row."""
    for setting in job.sheet_of(unit).settings.values():
        form = form_of(job, setting)
        parts = {NAMES[part] for part in star_parts(setting) if part in NAMES}
        if form is None or not parts or form.kind is Kind.TICKS:
            continue
        pieces = HOLE.split(" ".join(setting.address.split()))
        pattern = "".join(re.escape(piece) if at % 2 == 0 else f"(?P<{piece}>\\d+)" for at, piece in enumerate(pieces))
        fits = re.fullmatch(pattern, address, re.IGNORECASE) if set(HOLE.findall(setting.address)) == parts else None
        if fits is not None:
            yield setting, form, [f"{NAMES[part]}-{fits[NAMES[part]]}" for part in star_parts(setting)]


def _problem(line: int, message: str, accepted: str) -> Problem:
    return Problem(path="", line=line, column=0, message=message, accepted=accepted)
