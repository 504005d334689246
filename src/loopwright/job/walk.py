"""One walk over a job by its shape: which names it uses where, and the same job with rows under other names."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any, NamedTuple

from loopwright.job.document import Job, Programme, Signalling, Storey, Zone
from loopwright.job.keyed_names import choices_moved, setting_with_names
from loopwright.job.shape import IdShape, ListShape, MapShape, RecordShape, Shape, TerminalShape, job_shape
from loopwright.job.sheet import EquipmentSheet, Setting, Sheets

ROOMS = "rooms"
PART_SETS = "programme/part_sets"
RESPONSE = "response"
KINDS = {"places": ("equipment", "joints")}
"""Where a reference may lead to rows of several parts."""
KEYED = {(Storey, "rooms"), (Zone, "response"), (Programme, "part_sets"), (Signalling, "paths"), (EquipmentSheet, "settings")}
"""Fields inside others whose own keys are names of rows."""

Names = Mapping[str, Mapping[str, str]]
"""New names of rows by part, each by the old one; rooms of all storeys are one part."""


class Named(NamedTuple):
    """A place of the document that names a row of a part."""

    part: str
    name: str
    path: str


def part_of(path: str) -> str:
    """Return the part a mapping's rows are known as.

    >>> part_of('storeys/ground/rooms'), part_of('sheets/cables')
    ('rooms', 'sheets/cables')
    """
    return ROOMS if path.startswith("storeys/") and path.endswith("/rooms") else path


def names_used(job: Job) -> Iterator[Named]:
    """Yield every place that names a row, in the order of the document."""
    yield from _used(job_shape(), job, "")


def _used(shape: Shape, value: Any, path: str) -> Iterator[Named]:  # noqa: ANN401 - values of every shape
    if value is None:
        return
    match shape:
        case RecordShape():
            lead = f"{path}/" if path else ""
            for name, inner in _naming(shape).items():
                yield from _used(inner, getattr(value, name), f"{lead}{name}")
        case MapShape():
            among = _key_part(shape, path)
            for key, each in value.items():
                if among:
                    yield Named(among, key, f"{path}/{key}")
                yield from _used(shape.value, each, f"{path}/{key}")
        case ListShape():
            for number, each in enumerate(value):
                yield from _used(shape.item, each, f"{path}/{number}")
        case IdShape() if shape.among is not None:
            yield from (Named(part, value, path) for part in KINDS.get(shape.among.to, (shape.among.to,)))
        case TerminalShape():
            yield Named("equipment", value.partition(".")[0], path)
        case _:
            return


@cache
def _naming(shape: RecordShape) -> Mapping[str, Shape]:
    """Return the fields of a record that name rows, or hold rows that may be renamed; of a data sheet only its settings."""
    return {
        name: declared.shape
        for name, declared in shape.fields.items()
        if shape.record in (Job, Sheets) or (shape.record, name) in KEYED or _names_rows(declared.shape)
    }


def _names_rows(shape: Shape) -> bool:
    match shape:
        case RecordShape():
            return bool(_naming(shape))
        case MapShape():
            return (isinstance(shape.key, IdShape) and shape.key.among is not None) or _names_rows(shape.value)
        case ListShape():
            return _names_rows(shape.item)
        case IdShape():
            return shape.among is not None
        case _:
            return isinstance(shape, TerminalShape)


def _key_part(shape: MapShape, path: str) -> str:
    """Return which rows the keys of a mapping name; empty where they are names of their own."""
    if isinstance(shape.key, IdShape) and shape.key.among is not None:
        return shape.key.among.to
    return PART_SETS if path.startswith("zones/") and path.endswith(f"/{RESPONSE}") else ""


def with_names(job: Job, names: Names) -> Job:
    """Return the job with rows under new names, and every place that names them following."""
    if not any(names.values()):
        return job
    old = {name for found in names.values() for name in found}
    given = frozenset(path if old.isdisjoint(path.split("/")) else path_with_names(path, names) for path in job.given)
    made: Job = renamed_value(job_shape(), job, "", names)
    if made.sheets is not job.sheets:
        chosen = choices_moved(job, names)
        given = frozenset(chosen.get(path, path) for path in given)
    return dataclasses.replace(made, given=given)


def renamed_value(shape: Shape, value: Any, path: str, names: Names) -> Any:  # noqa: ANN401
    """Return a value of the document at ``path`` with rows under new names."""
    if value is None:
        return None
    match shape:
        case RecordShape() if shape.record is Setting:
            return setting_with_names(value, path, names)
        case RecordShape():
            lead = f"{path}/" if path else ""
            new = {name: renamed_value(each, getattr(value, name), f"{lead}{name}", names) for name, each in _naming(shape).items()}
            changed = {name: each for name, each in new.items() if each is not getattr(value, name)}
            return dataclasses.replace(value, **changed) if changed else value
        case MapShape():
            own = names.get(_key_part(shape, path) or part_of(path), {})
            pairs = {own.get(key, key): renamed_value(shape.value, each, f"{path}/{key}", names) for key, each in value.items()}
            same = all(old == new and value[old] is pairs[new] for old, new in zip(value, pairs, strict=True))
            return value if same else pairs
        case ListShape():
            items = tuple(renamed_value(shape.item, each, f"{path}/{number}", names) for number, each in enumerate(value))
            if path == PART_SETS:
                items = tuple(names.get(PART_SETS, {}).get(each, each) for each in items)
            return value if items == value else items
        case IdShape() if shape.among is not None:
            parts = KINDS.get(shape.among.to, (shape.among.to,))
            return next((names[part][value] for part in parts if value in names.get(part, {})), value)
        case TerminalShape():
            owner, dot, terminal = value.partition(".")
            new_owner = names.get("equipment", {}).get(owner, owner)
            return value if new_owner == owner else f"{new_owner}{dot}{terminal}"
        case _:
            return value


def path_with_names(path: str, names: Names) -> str:
    """Return a path of the document after rows got new names.

    >>> path_with_names('cables/W31/length_m', {'cables': {'W31': 'W07'}})
    'cables/W07/length_m'
    """
    shape: Shape = job_shape()
    here, moved = "", []
    for name in path.split("/"):
        below = f"{here}/{name}" if here else name
        if isinstance(shape, MapShape):
            own = names.get(_key_part(shape, here) or part_of(here), {})
            moved.append(own.get(name, name))
            shape = shape.value
        else:
            moved.append(name)
            if isinstance(shape, RecordShape) and name in shape.fields:
                shape = shape.fields[name].shape
            elif isinstance(shape, ListShape):
                shape = shape.item
        here = below
    return "/".join(moved)
