"""The data dictionary: every field of the document with its type, unit, default and meaning, from the records themselves."""

from __future__ import annotations

from collections.abc import Iterator
from enum import Enum
from typing import NamedTuple

from loopwright.job.quantity import bounds, show_quantity
from loopwright.job.shape import (
    BoolShape,
    DateShape,
    FieldShape,
    GaugeShape,
    IdShape,
    ListShape,
    MapShape,
    NumberShape,
    RecordShape,
    Shape,
    TerminalShape,
    TextShape,
    WordShape,
    job_shape,
)

HEAD = """# The job document

One premises, one YAML file. This page is made from the records of the program by `tools/write-document-page`;
a test keeps it current. In a path, `<id>` is a name you choose and `<n>` the number of an entry of a list, from 0.
A field without a default must be written. `silent` as a default means that nothing is assumed.

A quantity may be written as a plain number in the unit shown, or as text with a unit of its own (`150 ft`, `2k2`, `750 mA`).
"""


class Row(NamedTuple):
    """One field: ``path`` with ``<id>`` and ``<n>`` for names and numbers, ``default`` empty when the field is required."""

    path: str
    type: str
    unit: str
    default: str
    meaning: str


def dictionary() -> tuple[Row, ...]:
    """Return a row for every field of the document, in the order of the records."""
    return tuple(_rows(job_shape(), ""))


def _rows(record: RecordShape, path: str) -> Iterator[Row]:
    for name, each in record.fields.items():
        here = f"{path}{name}"
        unit = (
            each.shape.quantity.unit if isinstance(each.shape, NumberShape) else "mm² or AWG" if isinstance(each.shape, GaugeShape) else ""
        )
        yield Row(here, _type(each.shape), unit, "" if each.required else _default(each), each.doc)
        yield from _inner(each.shape, here)


def _inner(shape: Shape, path: str) -> Iterator[Row]:
    match shape:
        case RecordShape():
            yield from _rows(shape, f"{path}/")
        case MapShape():
            key = "<id>" if isinstance(shape.key, IdShape) else f"<{'|'.join(shape.key.words)}>"
            yield from _inner(shape.value, f"{path}/{key}")
        case ListShape():
            yield from _inner(shape.item, f"{path}/<n>")
        case _:
            return


def _type(shape: Shape) -> str:
    match shape:
        case TextShape():
            return f"text, at most {shape.longest}"
        case DateShape():
            return f"date: {shape.accepted}"
        case IdShape():
            return f"one of {shape.among.to}" if shape.among else "name"
        case TerminalShape():
            return f"equipment.terminal, one of its {shape.among}"
        case BoolShape():
            return "yes or no"
        case WordShape():
            return ", ".join(shape.words)
        case NumberShape():
            return f"{'whole number' if shape.whole else 'quantity'}, {bounds(shape.quantity)}"
        case GaugeShape():
            return "conductor size"
        case ListShape():
            return "list" if isinstance(shape.item, RecordShape) else f"list of: {_type(shape.item)}"
        case MapShape():
            return "mapping" if isinstance(shape.value, RecordShape | ListShape) else f"mapping to: {_type(shape.value)}"
        case RecordShape():
            return "block"


def _default(each: FieldShape) -> str:
    value, shape = each.default, each.shape
    if value is None:
        return "silent"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(shape, NumberShape):
        return show_quantity(value, shape.quantity.unit)
    if isinstance(value, Enum):
        return str(value.value)
    if isinstance(value, tuple):
        return ", ".join(str(item) for item in value) or "empty"
    return "as its fields" if isinstance(shape, RecordShape) else str(value) or "empty" if not isinstance(shape, MapShape) else "empty"


def page() -> str:
    """Return the manual's page on the document, as Markdown."""
    table = ["| path | type | unit | default | meaning |", "|---|---|---|---|---|"]
    for row in dictionary():
        cells = (f"`{row.path}`".replace("|", "\\|"), row.type, row.unit, row.default or "**required**", row.meaning)
        table.append("| " + " | ".join(cells) + " |")
    return HEAD + "\n" + "\n".join(table) + "\n"
