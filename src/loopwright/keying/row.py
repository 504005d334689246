"""The rows a setting is entered for, each by the number it has at the unit; those the document does not have among them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product
from typing import NamedTuple

from loopwright.job.document import Job
from loopwright.job.sheet import Kind, Setting

NAMES = {"zones": "zone", "areas": "area", "users": "user", "equipment": "device", "outputs": "output", "paths": "path"}
"""What stands in an address for the number of a row, by the part of the document the row is of."""
CODES_OF_USERS = frozenset({"user", "duress"})
TAKEN_OVER = frozenset({"areas", "zones"})
"""Parts of which a unit may hold rows that the document does not have, and that can be put in."""


class Row(NamedTuple):
    """One row a setting is entered for: its name in the document, and the number it has at the unit; ``new``: the document has none."""

    name: str
    number: int
    new: str = ""

    @property
    def words(self) -> str:
        """Return the row by its number."""
        return f"{self.new} {self.number}"


def new_row(part: str, number: int) -> Row:
    """Return a row that the document does not have."""
    return Row(f"{NAMES[part]}-{number}", number, NAMES[part])


def star_parts(setting: Setting) -> list[str]:
    """Return the parts of the document the stars of a setting's ``of`` run over."""
    parts = setting.of.split("/")
    over = [parts[at - 1] for at, part in enumerate(parts) if part == "*" and at]
    return ["users" if each in CODES_OF_USERS else each for each in over]


def rows_of(job: Job, unit: str, setting: Setting, whole: bool, *, every_row: bool) -> Iterator[tuple[Row, ...]]:
    """Yield the rows a setting is entered for; one without a star is entered once.

    ``whole`` says that it is about whether there is such a row, so that those nobody uses are entered too.
    """
    found = []
    for part in star_parts(setting):
        rows = named_rows(job, part, unit)
        if setting.up_to is not None and (whole or every_row and part in TAKEN_OVER):
            taken = {row.number for row in rows}
            rows += [new_row(part, number) for number in range(1, setting.up_to + 1) if number not in taken]
            rows.sort(key=lambda row: row.number)
        found.append(rows)
    yield from product(*found)


def named_rows(job: Job, part: str, unit: str) -> list[Row]:
    """Return the rows of a part with the number each has at the unit: a zone's own, a device's address, else its place in the list."""
    if part == "zones":
        return [Row(name, zone.number) for name, zone in job.zones.items() if _at_unit(job, unit, zone.circuit)]
    if part == "equipment":
        there = [(name, item.address) for name, item in job.equipment.items() if name != unit and job.sheet_of(name).addressed]
        return [Row(name, address) for name, address in there if address is not None]
    names: Mapping[str, object] = job.signalling.paths if part == "paths" else getattr(job, part)
    return [Row(name, number) for number, name in enumerate(names, 1)]


def _at_unit(job: Job, unit: str, circuit: str | None) -> bool:
    """Return whether a unit is told of a zone: a control unit of every one, another of those on its own inputs."""
    if not unit or job.sheet_of(unit).kind is Kind.CONTROL:
        return True
    landed = job.circuits[circuit].input if circuit is not None and circuit in job.circuits else None
    return landed is not None and landed.partition(".")[0] == unit
