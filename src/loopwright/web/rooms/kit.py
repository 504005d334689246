"""The kit: every piece of equipment in its place, and the data sheets every figure rests on."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from loopwright.job.document import Equipment
from loopwright.job.labels import label_at, label_in
from loopwright.job.shape import FieldShape, ListShape, MapShape, RecordShape, Shape, TextShape, record_shape
from loopwright.job.speech import plain_words
from loopwright.web.dictionary import ticked, value_at, words_of
from loopwright.web.page import Page

IN_THE_ROW = frozenset({"sheet", "label", "room"})
WORDS_ONLY = "words"
ROOM_BELOW_PX = 60


class Line(NamedTuple):
    """One line of an opened entry: a heading over what follows, a field with its cell, or words that are not edited here.

    ``out`` says of a heading that what it heads can be taken out.
    """

    kind: str
    depth: int
    name: str
    path: str
    text: str
    out: bool = False


def view(page: Page) -> Mapping[str, Any]:
    """Return what the kit room shows."""
    job = page.job
    used: dict[str, int] = {}
    for item in job.equipment.values():
        used[item.sheet] = used.get(item.sheet, 0) + 1
    page.plan((f"equipment/{key}" for key in job.equipment), below=ROOM_BELOW_PX)
    page.plan(f"sheets/equipment/{key}" for key in job.sheets.equipment)
    fed = {
        each.equipment: each.output or ("its own supply" if each.supply else "nothing yet")
        for each in page.appraisal.power.network.landings
    }
    return {
        "equipment": [(key, item, job.sheets.equipment[item.sheet], fed.get(key, "")) for key, item in job.equipment.items()],
        "sheets": [(key, sheet, used.get(key, 0)) for key, sheet in job.sheets.equipment.items()],
        "batteries": job.sheets.batteries,
        "cables": job.sheets.cables,
        "lines": lambda path: list(lines(page, path)),
    }


def lines(page: Page, path: str) -> Iterator[Line]:
    """Yield the lines of an opened entry, the fields its row shows left out."""
    value = value_at(page.job, path)
    skip = frozenset[str]()
    if isinstance(value, Equipment):
        skip = IN_THE_ROW | {"address"} if page.job.sheets.equipment[value.sheet].addressed else IN_THE_ROW
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        yield from _record(page, record_shape(type(value)), path, 0, skip)


def _record(page: Page, shape: RecordShape, path: str, depth: int, skip: frozenset[str] = frozenset()) -> Iterator[Line]:
    for declared in shape.fields.values():
        if declared.name not in skip:
            yield from _field(page, declared, label_in(shape.record, declared.name), f"{path}/{declared.name}", depth)


def _field(page: Page, declared: FieldShape, label: str, path: str, depth: int) -> Iterator[Line]:
    shape, value = declared.shape, value_at(page.job, path)
    if isinstance(shape, RecordShape):
        if value is None:
            yield Line("put", depth, label, path, declared.doc)
            return
        yield Line("head", depth, label, path, declared.doc, out=declared.default is None and not declared.required)
        yield from _record(page, shape, path, depth + 1)
    elif isinstance(shape, MapShape):
        for key in value or {}:
            yield Line("head", depth, f"{label}: {plain_words(key)}", f"{path}/{key}", declared.doc, out=True)
            yield from _inside(page, shape.value, f"{path}/{key}", depth + 1)
        if isinstance(shape.value, RecordShape | TextShape) and not words_of(shape.key):
            yield Line("put", depth, f"a further {label}" if value else label, path, declared.doc)
    elif isinstance(shape, ListShape):
        yield from _list(page, shape, declared, label, path, depth)
    else:
        yield Line("cell", depth, label, path, _beside(declared, label))


def _beside(declared: FieldShape, label: str) -> str:
    """Return the meaning of a field, unless its label says it already."""
    return "" if declared.doc.rstrip(".").lower() == label.lower() else declared.doc


def _list(page: Page, shape: ListShape, declared: FieldShape, label: str, path: str, depth: int) -> Iterator[Line]:
    values = value_at(page.job, path) or ()
    if isinstance(shape.item, RecordShape):
        for number in range(len(values)):
            yield Line("head", depth, f"{label} {number + 1}", f"{path}/{number}", "", out=True)
            yield from _record(page, shape.item, f"{path}/{number}", depth + 1)
        yield Line("put", depth, f"a further {label}", path, declared.doc)
    elif ticked(page.job, path) is not None:
        yield Line("cell", depth, label, path, "")
    elif values:
        yield Line(WORDS_ONLY, depth, label, path, ", ".join(plain_words(value) for value in values))


def _inside(page: Page, shape: Shape, path: str, depth: int) -> Iterator[Line]:
    """Yield the lines of one entry of a mapping, whatever its shape."""
    if isinstance(shape, RecordShape):
        yield from _record(page, shape, path, depth)
    elif isinstance(shape, ListShape) and isinstance(shape.item, RecordShape):
        for number in range(len(value_at(page.job, path) or ())):
            yield Line("head", depth, _row_of(page, shape.item, f"{path}/{number}"), f"{path}/{number}", "", out=True)
            yield from _record(page, shape.item, f"{path}/{number}", depth + 1)
    else:
        yield Line("cell", depth, label_at(path), path, "")


def _row_of(page: Page, shape: RecordShape, path: str) -> str:
    """Return what heads a row of a list: the word it stands for, where it has one."""
    reads = value_at(page.job, f"{path}/reads") if "reads" in shape.fields else None
    return f"taken for {plain_words(reads)}" if reads else f"row {int(path.rpartition('/')[2]) + 1}"
