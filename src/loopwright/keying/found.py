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
from loopwright.keying.row import NAMES, new_row, star_parts
from loopwright.keying.row import Row as UnitRow
from loopwright.keying.spot import HOLE, Spot, form_of, path_of, spots_of, value_of
from loopwright.values.error import Problem

MOST_LINES = 5000


class Reading(NamedTuple):
    """One line of what was found: its number, the address, and what the unit shows there."""

    line: int
    address: str
    shown: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One setting as it was found, and what the document wants there; ``factory`` says that it is as delivered.

    ``new`` is the row of a part that the document does not have, with the number it has at the unit.
    """

    path: str
    words: str
    address: str
    value: Value
    found: str
    programme: str
    differs: bool
    factory: bool
    new: tuple[str, int] | None = None


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
    fields = {field.address.casefold(): field for field in fields_of(spots_of(job, unit, every_row=True))}
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
                rows += [_row(job, spot, value) for spot, value in taken]
            else:
                rows.append(_beyond(job, unit, reading, list(fields.values())))
            seen[key] = reading.line
        except Unfit as why:
            problems.append(_problem(reading.line, f"{reading.address}: {why.said.sentence}", why.said.right.rstrip(".")))
    own = fields_of(spots_of(job, unit))
    unread = tuple(field.address for field in own if not field.by_hand() and field.address.casefold() not in seen)
    return FoundUnit(unit=unit, values=values, rows=tuple(rows), unread=unread, problems=tuple(problems))


def _taken(field: Field, shown: str) -> list[tuple[Spot, Value]]:
    if field.by_hand():
        raise Unfit("What is read of a code or the clock is not taken down.", "the line left out")
    values = field.apart(shown)
    return [(spot, values[spot.key]) for spot in field.spots]


def _row(job: Job, spot: Spot, value: Value) -> Row:
    wanted = spot.wanted
    new = next(((part, row.number) for part, row in zip(star_parts(spot.sheet), spot.rows, strict=True) if row.new), None)
    holds = wanted if wanted is not None or new else value_of(job, spot.path, spot.form)
    return Row(
        path=spot.path, words=spot.words, address=spot.address, value=value, found=spot.form.words(value),
        programme="" if wanted is None else spot.form.words(wanted), differs=holds is None or not _equal(spot.form, holds, value),
        factory=spot.form.keyed(value) == default_keys(spot), new=new,
    )  # fmt: skip


def _equal(form: Form, wanted: Value, value: Value) -> bool:
    """Return whether a unit holds the same for both: a text it shows in capitals is the text."""
    try:
        return form.keyed(wanted) == form.keyed(value)
    except Unfit:
        return same(wanted, value)


def _beyond(job: Job, unit: str, reading: Reading, fields: list[Field]) -> Row:
    """Return the row of a reading whose address fits the sheet, for a row the unit should not have. Raises Unfit."""
    for setting, form, rows in _patterns(job, unit, reading.address):
        if form.kind in HAND:
            raise Unfit("What is read of a code or the clock is not taken down.", "the line left out")
        value = form.meant(reading.shown)
        return Row(
            path=path_of(setting, rows, unit), words=f"{' '.join(row.words for row in rows)}, not in the document",
            address=reading.address, value=value, found=form.words(value), programme="", differs=True, factory=False,
            new=(star_parts(setting)[0], rows[0].number),
        )  # fmt: skip
    near = get_close_matches(reading.address, [field.address for field in fields], n=1, cutoff=0.5)
    raise Unfit("The sheet has no such address.", f"the words of the sheet{f', such as {near[0]}' if near else ''}")


def _patterns(job: Job, unit: str, address: str) -> Iterator[tuple[Setting, Form, tuple[UnitRow, ...]]]:
    """Yield the settings an address fits with numbers of its own, each with its rows."""
    for setting in job.sheet_of(unit).settings.values():
        form = form_of(job, setting)
        parts = {NAMES[part] for part in star_parts(setting) if part in NAMES}
        if form is None or not parts or form.kind is Kind.TICKS:
            continue
        pieces = HOLE.split(" ".join(setting.address.split()))
        pattern = "".join(re.escape(piece) if at % 2 == 0 else f"(?P<{piece}>\\d{{1,6}})" for at, piece in enumerate(pieces))
        fits = re.fullmatch(pattern, address, re.IGNORECASE) if set(HOLE.findall(setting.address)) == parts else None
        if fits is not None:
            yield setting, form, tuple(new_row(part, int(fits[NAMES[part]])) for part in star_parts(setting))


def _problem(line: int, message: str, accepted: str) -> Problem:
    return Problem(path="", line=line, column=0, message=message, accepted=accepted)
