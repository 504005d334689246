"""From a filled-in form to the entry it puts into the document: cells left empty are left out, and so are parts nobody filled in."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NoReturn

from loopwright.job.document import Job, UnitSystem
from loopwright.job.edit import AddItem, Edit
from loopwright.job.shape import ListShape, MapShape, RecordShape, Shape
from loopwright.job.sheet import Topology
from loopwright.job.write import Value
from loopwright.values.error import JobError, Problem
from loopwright.web.dictionary import as_entered, shape_of_cell, value_at

NAME, FITTED = "#", "+"
"""Last part of a form field's name: the name a row is given, and a tick that says the row is there."""
TICK = "="
PRESET = frozenset({"reads"})
"""Fields a form fills in beforehand; alone they do not make a row."""


def added(what: str, fields: Mapping[str, str], job: Job) -> Edit:
    """Return the edit that puts in what a form holds. Raises JobError when the place takes nothing, or a name is missing."""
    shape = shape_of_cell(what)
    tree = _tree(fields)
    key = tree.pop("id", "")
    if isinstance(shape, MapShape):
        if not key:
            _refuse("", "A name is needed.")
        inside = tree if isinstance(shape.value, RecordShape | MapShape | ListShape) else tree.get("value", "")
        if not inside and inside != tree:
            _refuse("value", "A value is needed.")
        made = _made(shape.value, f"{what}/{key}", inside, job.region.units)
        if what == "circuits":
            made = _with_resistors(made, job)
        return AddItem(what, key, made if made is not None else {})
    if isinstance(shape, ListShape):
        item = tree.get("value", tree) if not isinstance(shape.item, RecordShape) else tree
        return AddItem(what, None, _made(shape.item, f"{what}/0", item, job.region.units) or {})
    if isinstance(shape, RecordShape) and "/" in what and value_at(job, what) is None:
        above, _, name = what.rpartition("/")
        return AddItem(above, name, _made(shape, what, tree, job.region.units) or {})
    _refuse(what, "Nothing can be put in here.")


def _refuse(path: str, message: str) -> NoReturn:
    raise JobError([Problem(path=path, line=0, column=0, message=message)])


def _tree(fields: Mapping[str, str]) -> dict[str, Any]:
    """Return the fields that were filled in as a tree, by the parts of their names."""
    tree: dict[str, Any] = {}
    for name, text in fields.items():
        if not text:
            continue
        parts = name.split("/")
        at = tree
        for part in parts[:-1]:
            below = at.setdefault(part, {})
            if not isinstance(below, dict):
                _refuse(name, "This form does not fit the document.")
            at = below
        at[parts[-1]] = text
    return tree


def _made(shape: Shape, path: str, tree: Any, units: UnitSystem) -> Value:  # noqa: ANN401 - a branch or a leaf of what was filled in
    """Return the value a branch of the form stands for; None when nothing of it was filled in."""
    if isinstance(shape, RecordShape | MapShape | ListShape) != isinstance(tree, dict):
        _refuse(path, "This form does not fit the document.")
    if isinstance(shape, RecordShape):
        return _record(shape, path, tree, units)
    if isinstance(shape, MapShape):
        return _rows(shape, path, tree, units)
    if isinstance(shape, ListShape):
        return _list(shape, path, tree, units)
    return as_entered(path, tree, units)


def _record(shape: RecordShape, path: str, tree: Mapping[str, Any], units: UnitSystem) -> Value:
    made: dict[str, Value] = {}
    for name, below in tree.items():
        if name not in shape.fields:
            _refuse(f"{path}/{name}", f"There is no place called {name} here.")
        value = _made(shape.fields[name].shape, f"{path}/{name}", below, units)
        if value is not None:
            made[name] = value
    return made if set(made) - PRESET else None


def _rows(shape: MapShape, path: str, tree: Mapping[str, Any], units: UnitSystem) -> Value:
    made: dict[str, Value] = {}
    for name, below in tree.items():
        rest, key = below, name
        if isinstance(below, Mapping):
            rest = {part: each for part, each in below.items() if part not in (NAME, FITTED)}
            key = str(below.get(NAME, "")) if name.startswith(NAME) else name
            value = _made(shape.value, f"{path}/{key}", rest, units) if rest else ({} if FITTED in below else None)
            if value is not None and not key:
                _refuse(f"{path}/{name}", "A name is needed for what is filled in.")
        else:
            value = _made(shape.value, f"{path}/{key}", rest, units)
        if value is not None:
            made[key] = value
    return made or None


def _list(shape: ListShape, path: str, tree: Mapping[str, Any], units: UnitSystem) -> Value:
    ticked = [name.removeprefix(TICK) for name in tree if name.startswith(TICK)]
    if ticked:
        return ticked
    numbers = sorted((name for name in tree if name.isdecimal()), key=int)
    values = [_made(shape.item, f"{path}/{number}", tree[name], units) for number, name in enumerate(numbers)]
    return [value for value in values if value is not None] or None


def _with_resistors(made: Value, job: Job) -> Value:
    """Return a new circuit with the resistor values its input's sheet asks for, where the form names none."""
    if not isinstance(made, dict) or "resistors" in made:
        return made
    unit, wanted = str(made.get("input", "")).partition(".")[0], str(made.get("topology", ""))
    inputs = job.sheet_of(unit).inputs if unit in job.equipment else None
    values = inputs.resistor_sets.get(Topology(wanted)) if inputs is not None and wanted in {item.value for item in Topology} else None
    if values is None:
        return made
    stated = {"end_ohm": values.end_ohm, "alarm_ohm": values.alarm_ohm, "fault_ohm": values.fault_ohm}
    return {**made, "resistors": {name: f"{ohm:.10g}" for name, ohm in stated.items() if ohm is not None}}
