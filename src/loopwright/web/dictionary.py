"""What a cell needs to know about a field of the document: its value, its words, the choices open to it, and how a bare number is meant."""

from __future__ import annotations

import re
from collections.abc import Mapping
from enum import StrEnum
from functools import cache
from typing import Any

from loopwright.job.document import Job, UnitSystem
from loopwright.job.field import Gauge
from loopwright.job.quantity import show_gauge, show_quantity
from loopwright.job.shape import (
    BoolShape,
    FieldShape,
    GaugeShape,
    IdShape,
    ListShape,
    MapShape,
    NumberShape,
    RecordShape,
    Shape,
    TerminalShape,
    WordShape,
    job_shape,
)
from loopwright.job.speech import plain_words
from loopwright.job.unit import EXAMPLES, FOOT_M

_BARE = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)", re.ASCII)
_SHOWN_IN_US = {"m": "ft", "°C": "°F", "Ω/km": "Ω/kft", "pF/m": "pF/ft"}
_IN_MA = frozenset({"unset_a", "set_a", "entry_a", "alarm_a"})
_HINTS = {
    "mA": "18, 18 mA, 0.018 A", "ft": "150, 150 ft, 45 m", "°F": "68, 68 °F, 20 °C", "Ω/kft": "25.7, 25.7 Ω/kft", "pF/ft": "30, 30 pF/ft",
}  # fmt: skip
"""What may be written where a bare number is not meant in the unit the document keeps."""


@cache
def field_at(path: str) -> FieldShape | None:
    """Return the declaration of the field at a path; None for an entry of a mapping or a list, or for what cannot be."""
    shape: Shape = job_shape()
    found = None
    for name in path.split("/"):
        found = None
        if isinstance(shape, RecordShape) and name in shape.fields:
            found = shape.fields[name]
            shape = found.shape
        elif isinstance(shape, MapShape):
            shape = shape.value
        elif isinstance(shape, ListShape) and name.isdecimal():
            shape = shape.item
        else:
            return None
    return found


@cache
def shape_of_cell(path: str) -> Shape | None:
    """Return the shape of the value at a path, entries of lists included."""
    shape: Shape = job_shape()
    for name in path.split("/"):
        if isinstance(shape, RecordShape) and name in shape.fields:
            shape = shape.fields[name].shape
        elif isinstance(shape, MapShape):
            shape = shape.value
        elif isinstance(shape, ListShape) and name.isdecimal():
            shape = shape.item
        else:
            return None
    return shape


def value_at(job: Job, path: str) -> Any:  # noqa: ANN401 - a field holds a value of any type
    """Return the value at a path, or None where a part of the path is not there."""
    value: Any = job
    for name in path.split("/"):
        if isinstance(value, dict):
            value = value.get(name)
        elif hasattr(value, "__dataclass_fields__"):
            value = getattr(value, name, None)
        elif isinstance(value, Mapping):
            value = value.get(name)
        elif isinstance(value, tuple) and name.isdecimal() and int(name) < len(value):
            value = value[int(name)]
        else:
            return None
    return value


@cache
def is_entry(path: str) -> bool:
    """Return whether a single value stands at a path under a name of a mapping: it may be left out, and has no default."""
    above, _, _ = path.rpartition("/")
    over = shape_of_cell(above) if above else None
    return isinstance(over, MapShape) and not isinstance(over.value, RecordShape | MapShape | ListShape)


def cell_unit(path: str, unit: str, units: UnitSystem) -> str:
    """Return the unit that stands beside a cell, in which a bare number typed there is meant."""
    if unit == "A" and path.rpartition("/")[2] in _IN_MA:
        return "mA"
    return _SHOWN_IN_US.get(unit, unit) if units is UnitSystem.US else unit


def shown(path: str, value: Any, units: UnitSystem) -> tuple[str, str]:  # noqa: ANN401
    """Return a value as a cell shows it, and the unit beside it."""
    shape = shape_of_cell(path)
    if isinstance(shape, NumberShape):
        unit = cell_unit(path, shape.quantity.unit, units)
        if value is None:
            return "", unit
        if unit == "mA":
            return f"{value * 1000:.6g}", unit
        if unit == "ft":
            # A length stated in metres is known to a foot at best; one stated in feet comes back as it was.
            return f"{round(value / FOOT_M, 1):.10g}", unit
        if unit in _SHOWN_IN_US.values():
            return show_quantity(value, shape.quantity.unit, units).split(" ")[0], unit
        return f"{value:.10g}", unit
    if isinstance(value, Gauge):
        return str(value), ""
    if isinstance(value, bool):
        return ("yes" if value else "no"), ""
    return ("" if value is None else str(value)), ""


def as_entered(path: str, text: str, units: UnitSystem) -> str:
    """Return the text as the document is to hold it: a bare number takes the unit that stands beside the cell.

    >>> as_entered('cables/W01/length_m', '150', UnitSystem.US), as_entered('cables/W01/length_m', '60', UnitSystem.METRIC)
    ('150 ft', '60')
    >>> as_entered('sheets/equipment/pir/loads/supply/unset_a', '12', UnitSystem.METRIC)
    '12 mA'
    """
    typed = text.strip()
    shape = shape_of_cell(path)
    if not _BARE.fullmatch(typed):
        return typed
    if isinstance(shape, GaugeShape):
        return f"{typed} AWG" if units is UnitSystem.US else f"{typed} mm²"
    if isinstance(shape, NumberShape):
        unit = cell_unit(path, shape.quantity.unit, units)
        return typed if unit == shape.quantity.unit else f"{typed} {unit}"
    return typed


def fitting(path: str, message: str, units: UnitSystem) -> str:
    """Return a reader's message with examples that fit the unit beside the cell, in which a bare number is meant there.

    >>> fitting("sheets/equipment/pir/loads/supply/unset_a", "'x' is not a number: write for example 0.75, 750 mA.", UnitSystem.METRIC)
    "'x' is not a number: write for example 18, 18 mA, 0.018 A."
    """
    shape = shape_of_cell(path)
    if not isinstance(shape, NumberShape):
        return message
    unit = shape.quantity.unit
    if not unit and (shape.whole or shape.quantity.high > 1):
        return message.replace(EXAMPLES[""], "3")
    return message.replace(EXAMPLES[unit], _HINTS.get(cell_unit(path, unit, units), EXAMPLES[unit]))


def tooltip(value: Any, units: UnitSystem) -> str:  # noqa: ANN401
    """Return what is said beyond what a cell shows: a metric conductor's nearest American size."""
    return show_gauge(value, units) if isinstance(value, Gauge) and units is UnitSystem.US and value.awg is None else ""


def choices(job: Job) -> dict[str, list[tuple[str, str]]]:
    """Return what the references of a job may name, as (id, words), by what they refer to."""
    rooms = [(key, room.name) for storey in job.storeys.values() for key, room in storey.rooms.items()]
    equipment = [(key, item.label) for key, item in job.equipment.items()]
    return {
        "sheets/equipment": [(key, f"{plain_words(sheet.kind)}, {sheet.model}") for key, sheet in job.sheets.equipment.items()],
        "sheets/batteries": [(key, f"{sheet.capacity_ah:g} Ah") for key, sheet in job.sheets.batteries.items()],
        "sheets/cables": [(key, f"{sheet.cores} × {sheet.gauge}") for key, sheet in job.sheets.cables.items()],
        "rooms": rooms,
        "equipment": equipment,
        "places": [*equipment, *((key, key) for key in job.joints)],
        "cables": [(key, f"{cable.start} to {cable.end}") for key, cable in job.cables.items()],
        "circuits": [(key, "") for key in job.circuits],
        "areas": [(key, area.name) for key, area in job.areas.items()],
        "zones": [(key, f"{zone.number}, {zone.text}") for key, zone in job.zones.items()],
        "storeys": [(key, storey.name) for key, storey in job.storeys.items()],
        "parties": [(key, party.name) for key, party in job.parties.items()],
        "outputs": _terminals(job, "outputs"),
        "inputs": _terminals(job, "inputs"),
    }


def _terminals(job: Job, among: str) -> list[tuple[str, str]]:
    found = []
    for name, item in job.equipment.items():
        sheet = job.sheets.equipment[item.sheet]
        if among == "inputs":
            count = sheet.inputs.count if sheet.inputs else 0
            found += [(f"{name}.{number}", "") for number in range(1, count + 1)]
        else:
            found += [(f"{name}.{output}", "") for output in sheet.outputs]
    return found


def choice_key(shape: Shape | None) -> str:
    """Return which list of choices a reference takes; empty for a field that is no reference."""
    if isinstance(shape, IdShape) and shape.among is not None:
        return shape.among.to
    return shape.among if isinstance(shape, TerminalShape) else ""


def ticked(job: Job, path: str) -> list[tuple[str, str]] | None:
    """Return what may be ticked in a list, as (value, words); None for a list that takes free words, and for what is no list."""
    shape = shape_of_cell(path)
    if not isinstance(shape, ListShape):
        return None
    if words := words_of(shape.item):
        return [(word, plain_words(word)) for word in words]
    if among := choice_key(shape.item):
        own = path.split("/")[1]
        return [(key, words or key) for key, words in choices(job)[among] if path != f"areas/{own}/common_to" or key != own]
    if path.startswith("sheets/equipment/") and path.endswith("/after"):
        return [(name, name) for name in value_at(job, path.rpartition("/")[0].rpartition("/")[0]) or () if name != path.split("/")[-2]]
    if path.startswith("circuits/") and path.endswith("/contacts"):
        device = value_at(job, path.rpartition("/")[0] + "/device")
        names = job.sheet_of(device).contacts if device else ("tamper", "alarm", "fault")
        return [(name, plain_words(name)) for name in names]
    return None


def words_of(shape: Shape | None) -> tuple[str, ...]:
    """Return the words a field takes when it takes one of a list."""
    if isinstance(shape, BoolShape):
        return ("yes", "no")
    return tuple(str(word.value if isinstance(word, StrEnum) else word) for word in shape.words) if isinstance(shape, WordShape) else ()
