"""How the rows and values of one job are said in a sentence: equipment by its label, rooms by their names, quantities in their units."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from enum import StrEnum
from typing import Any

from loopwright.job.document import Job
from loopwright.job.field import Gauge
from loopwright.job.labels import ROWS, row_words
from loopwright.job.quantity import show_gauge, show_quantity
from loopwright.job.shape import IdShape, ListShape, NumberShape, Shape, TerminalShape, TextShape

LONGEST_QUOTE = 60
MOST_NAMED = 12
ONE_ROOM, MANY_ROOMS = "room", "rooms"
MANY = {
    "sheets/equipment": "data sheets", "sheets/batteries": "battery sheets", "sheets/cables": "cable sheets",
    "equipment": "pieces of equipment", "cables": "runs", "circuits": "circuits", "joints": "joints", "zones": "zones",
    "areas": "areas", "users": "users", "parties": "parties", "storeys": "storeys", "outputs": "output rules",
    "programme/part_sets": "part sets", "signalling/paths": "transmission paths", "rooms": MANY_ROOMS, "observations": "observations",
}  # fmt: skip
"""What several rows of each part of the document are called; for one see ``labels.ROWS``."""

_SAID = {
    "hold-up": "hold-up", "hold-up-device": "hold-up device", "life-safety-device": "life-safety device", "24-hour": "24-hour",
    "current-limited": "current-limited", "resistor-limited": "resistor-limited", "copper-clad-aluminium": "copper-clad aluminium",
    "na-household": "North America, household", "na-commercial": "North America, commercial",
    **{f"en-grade-{grade}": f"EN 50131, grade {grade}" for grade in (1, 2, 3, 4)}, "custom": "of your own",
}  # fmt: skip
"""Words whose hyphens stay, and names that are no words."""


class Speech:
    """Says what stands in one job."""

    def __init__(self, job: Job) -> None:
        """Take the job whose rows are named."""
        self.job = job
        self._labels = Counter(item.label for item in job.equipment.values())
        self._rooms = {key: room.name for storey in job.storeys.values() for key, room in storey.rooms.items()}
        self._room_names = Counter(self._rooms.values())

    def row(self, path: str) -> str:
        """Return what a row is called in a sentence: run W31, Lobby sounder, zone 7, room Hall."""
        parts = path.split("/")
        if parts[0] == "storeys" and len(parts) > 3:
            return f"{ONE_ROOM} {self.room(parts[3])}"
        if parts[0] == "equipment" and len(parts) > 1:
            return self.equipment(parts[1])
        if parts[0] in ("cables", "circuits") and len(parts) > 1:
            return f"{ROWS[parts[0]]} {parts[1]}"
        if path.startswith("programme/part_sets/"):
            name = dict(enumerate(self.job.programme.part_sets)).get(int(parts[2])) if parts[2].isdecimal() else None
            return f"{ROWS['programme/part_sets']} {name or parts[2]}"
        return row_words(self.job, path)

    def equipment(self, name: str) -> str:
        """Return a piece of equipment by its label, with its id where that is the label of several."""
        item = self.job.equipment.get(name)
        if item is None or not item.label:
            return name
        return item.label if self._labels[item.label] == 1 else f"{item.label} ({name})"

    def room(self, name: str) -> str:
        """Return a room by its name, with its id where several have it."""
        words = self._rooms.get(name, name)
        return words if self._room_names[words] <= 1 else f"{words} ({name})"

    def terminal(self, among: str, name: str) -> str:
        """Return a terminal as it is said: output aux-1 of Control unit."""
        owner, _, terminal = name.partition(".")
        return f"{among.removesuffix('s')} {terminal} of {self.equipment(owner)}"

    def value(self, shape: Shape, value: Any, *, fine: bool = False) -> str:  # noqa: ANN401 - values of every shape
        """Return a value as it is said; ``fine`` gives every digit, and names rows by their id."""
        if value is None:
            return "nothing"
        if isinstance(value, bool):
            return "yes" if value else "no"
        match shape:
            case NumberShape():
                unit = shape.quantity.unit
                if shape.whole and not unit:
                    return str(value)
                return f"{value:.10g} {unit}".strip() if fine else show_quantity(value, unit, self.job.region.units)
            case ListShape():
                return listed([self.value(shape.item, each, fine=fine) for each in value]) or "none"
            case IdShape() if shape.among is not None:
                return value if fine else self._reference(shape.among.to, value)
            case TerminalShape():
                return value if fine else self.terminal(shape.among, value)
            case TextShape():
                return quoted(value, fine=fine)
        if isinstance(value, Gauge):
            return str(value) if fine else show_gauge(value, self.job.region.units)
        return plain_words(value) if isinstance(value, StrEnum) else str(value)

    def _reference(self, to: str, name: str) -> str:
        if to == "rooms":
            return self.room(name)
        if to in ("equipment", "places"):
            return self.equipment(name)
        if to == "areas" and name in self.job.areas:
            return self.job.areas[name].name
        if to == "parties" and name in self.job.parties:
            return self.job.parties[name].name
        return name


def plain_words(value: object) -> str:
    """Return a word of the document as people say it.

    >>> plain_words('first-fix'), plain_words(True)
    ('first fix', 'yes')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _SAID.get(str(value)) or str(value).replace("-", " ")


def quoted(text: str, *, fine: bool = False) -> str:
    """Return text in quotation marks, on one line, a long one cut."""
    line = " ".join(text.split())
    if not line:
        return "nothing"
    return f"‘{line}’" if fine or len(line) <= LONGEST_QUOTE else f"‘{line[: LONGEST_QUOTE - 1].rstrip()}…’"


def listed(names: Iterable[str], *, most: int = MOST_NAMED) -> str:
    """Return names as a list in a sentence, those over ``most`` counted.

    >>> listed('abc'), listed('abcd', most=2)
    ('a, b and c', 'a, b and 2 more')
    """
    every = list(names)
    if len(every) > most:
        return f"{', '.join(every[:most])} and {len(every) - most} more"
    return " and ".join(part for part in (", ".join(every[:-1]), every[-1]) if part) if every else ""


def several(part: str, count: int) -> str:
    """Return a number of rows of a part in words.

    >>> several('cables', 1), several('cables', 3)
    ('1 run', '3 runs')
    """
    one = {"rooms": ONE_ROOM, "observations": "observation"}.get(part) or ROWS.get(part, "entry")
    return f"{count} {one if count == 1 else MANY.get(part, 'entries')}"
