"""The records of the document as plain data: what the reader, the schema, the edits and the manual all walk over."""

from __future__ import annotations

import dataclasses
import types
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass
from enum import StrEnum
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from loopwright.job.document import Job
from loopwright.job.field import Dated, Gauge, Quantity, Ref, TerminalRef, Words


@dataclass(frozen=True, slots=True)
class TextShape:
    """Free text."""

    longest: int


@dataclass(frozen=True, slots=True)
class DateShape:
    """A date as far as it is known; with ``time`` a day, and the hour and minute where known."""

    time: bool

    @property
    def pattern(self) -> str:
        """Return the pattern its text follows; that a month has such a day is for the reader to see."""
        month, day = r"-(0[1-9]|1[0-2])", r"-(0[1-9]|[12][0-9]|3[01])"
        return rf"[12][0-9]{{3}}{month}{day}([ T]([01][0-9]|2[0-3]):[0-5][0-9])?" if self.time else rf"[12][0-9]{{3}}({month}({day})?)?"

    @property
    def accepted(self) -> str:
        """Return how it is written, for a person."""
        return "2024-06-14 or 2024-06-14 09:40" if self.time else "2024, 2024-06 or 2024-06-14"


@dataclass(frozen=True, slots=True)
class IdShape:
    """A name made of letters, digits, hyphens and underscores; ``among`` says what it must be the name of, when it must."""

    among: Ref | None = None


@dataclass(frozen=True, slots=True)
class TerminalShape:
    """A terminal written ``equipment.terminal``; ``among`` is outputs, inputs or loads."""

    among: str


@dataclass(frozen=True, slots=True)
class BoolShape:
    """Yes or no."""


@dataclass(frozen=True, slots=True)
class WordShape:
    """One word of a list; ``made`` turns it into the value kept."""

    words: tuple[str, ...]
    made: Callable[[str], str]


@dataclass(frozen=True, slots=True)
class NumberShape:
    """A number with its unit and bounds."""

    quantity: Quantity
    whole: bool


@dataclass(frozen=True, slots=True)
class GaugeShape:
    """A conductor size."""


@dataclass(frozen=True, slots=True)
class ListShape:
    """A list of values of one shape."""

    item: Shape


@dataclass(frozen=True, slots=True)
class MapShape:
    """A mapping from names to values of one shape."""

    key: IdShape | WordShape
    value: Shape


@dataclass(frozen=True, slots=True, eq=False)
class FieldShape:
    """One field of a record: ``default`` is what silence means, unless the field is required."""

    name: str
    doc: str
    required: bool
    default: Any
    shape: Shape


@dataclass(frozen=True, slots=True, eq=False)
class RecordShape:
    """A record and its fields by name."""

    record: type
    fields: Mapping[str, FieldShape]


Scalar = TextShape | DateShape | IdShape | TerminalShape | BoolShape | WordShape | NumberShape | GaugeShape
Shape = Scalar | ListShape | MapShape | RecordShape

_ANY_WHOLE = Quantity("", 0, 1_000_000)


def shape_of(annotation: Any) -> Shape:  # noqa: ANN401 - annotations have no common type
    """Return the shape of values of this annotation. Raises TypeError for one the document has no use for."""
    origin, arguments = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _annotated(arguments[0], arguments[1])
    if origin in (Union, types.UnionType):
        (inner,) = [argument for argument in arguments if argument is not type(None)]
        return shape_of(inner)
    if origin is Literal:
        return WordShape(arguments, str)
    if origin is tuple:
        return ListShape(shape_of(arguments[0]))
    if origin is not None and issubclass(origin, Mapping):
        key = shape_of(arguments[0])
        if isinstance(key, IdShape | WordShape):
            return MapShape(key, shape_of(arguments[1]))
    return _plain(annotation)


def _annotated(base: type, mark: object) -> Shape:
    if isinstance(mark, Quantity):
        return NumberShape(mark, base is int)
    if isinstance(mark, Words):
        return TextShape(mark.longest)
    if isinstance(mark, Dated):
        return DateShape(mark.time)
    if isinstance(mark, TerminalRef):
        return TerminalShape(mark.among)
    if isinstance(mark, Ref):
        return IdShape(mark)
    raise TypeError(f"no shape for {mark!r}")


def _plain(annotation: Any) -> Shape:  # noqa: ANN401
    if annotation is bool:
        return BoolShape()
    if annotation is int:
        return NumberShape(_ANY_WHOLE, True)
    if annotation is str:
        return IdShape()
    if annotation is Gauge:
        return GaugeShape()
    if isinstance(annotation, type) and issubclass(annotation, StrEnum):
        return WordShape(tuple(word.value for word in annotation), annotation)
    if dataclasses.is_dataclass(annotation):
        return record_shape(annotation)  # type: ignore[arg-type]
    raise TypeError(f"no shape for {annotation!r}")


@cache
def record_shape(record: type) -> RecordShape:
    """Return the shape of a record: its fields that stand in the document, in the order they are declared."""
    hints = get_type_hints(record, include_extras=True)
    shapes = {}
    for each in dataclasses.fields(record):
        if "doc" in each.metadata:
            default = each.default if each.default_factory is MISSING else each.default_factory()
            shapes[each.name] = FieldShape(each.name, each.metadata["doc"], default is MISSING, default, shape_of(hints[each.name]))
    return RecordShape(record, types.MappingProxyType(shapes))


@cache
def job_shape() -> RecordShape:
    """Return the shape of the whole document."""
    return record_shape(Job)


def shape_at(path: str) -> Shape | None:
    """Return the shape of the value at a path of the document, or None when no such value can be."""
    shape: Shape = job_shape()
    for name in path.split("/") if path else ():
        match shape:
            case RecordShape() if name in shape.fields:
                shape = shape.fields[name].shape
            case MapShape():
                shape = shape.value
            case ListShape() if name.isdecimal():
                shape = shape.item
            case _:
                return None
    return shape
