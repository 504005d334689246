"""From what a page posts to an edit of the document. Nothing is judged here: the reader says what cannot stand, in its own words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Literal, NoReturn

from pydantic import BaseModel, Field

from loopwright.job.document import Job
from loopwright.job.edit import AddItem, Edit, RemoveField, RemoveItem, RenameItem, SetField
from loopwright.job.sheet import Topology
from loopwright.job.write import Value
from loopwright.values.error import JobError, Problem
from loopwright.web.dictionary import as_entered, field_at, shape_of_cell

LONGEST_PATH, LONGEST_TEXT, MOST_FIELDS = 300, 8000, 20


class Change(BaseModel, extra="forbid"):
    """One change as a page posts it."""

    do: Literal["set", "add", "remove", "rename", "undo", "redo", "reload"]
    path: str = Field(default="", max_length=LONGEST_PATH)
    text: str = Field(default="", max_length=LONGEST_TEXT)
    fields: dict[str, str] = Field(default_factory=dict, max_length=MOST_FIELDS)
    mark: str = Field(default="", max_length=64)
    room: str = Field(default="front", max_length=20)
    query: str = Field(default="", max_length=8000)


def edit_of(change: Change, job: Job) -> Edit:
    """Return the edit a change stands for. Raises JobError when the place is none that can be changed so."""
    if change.do == "add":
        return _added(change.path, {key: text.strip() for key, text in change.fields.items()}, job)
    if shape_of_cell(change.path) is None:
        _refuse(change.path, "There is no such place in a job.")
    if change.do == "remove":
        return RemoveItem(change.path)
    if change.do == "rename":
        return RenameItem(change.path, change.text.strip())
    declared = field_at(change.path)
    # A word chosen from a list arrives as it stands there; only an emptied cell says that its default shall hold.
    if not change.text.strip() and declared is not None and not declared.required:
        return RemoveField(change.path) if change.path in job.given else SetField(change.path, "")
    return SetField(change.path, as_entered(change.path, change.text, job.region.units))


def next_id(taken: Iterable[str], start: str, digits: int = 2) -> str:
    """Return the next name of a numbered row.

    >>> next_id(['W01', 'W07', 'attic'], 'W')
    'W08'
    """
    numbers = [int(found[1]) for name in taken if (found := re.fullmatch(re.escape(start) + r"(\d{1,6})", name))]
    return f"{start}{max(numbers, default=0) + 1:0{digits}d}"


def _refuse(path: str, message: str) -> NoReturn:
    raise JobError([Problem(path=path, line=0, column=0, message=message)])


def _added(what: str, fields: Mapping[str, str], job: Job) -> Edit:
    """Return the edit that puts in a new row; cells left empty are left out."""
    if what.startswith("circuits/") and what.endswith("/path"):
        return AddItem(what, None, _filled(fields, "cable", "device"))
    if what.startswith("cables/") and what.endswith("/feeds"):
        return AddItem(what, None, _filled(fields, "output", "load"))
    key = fields.get("id", "")
    made: Value
    if what == "equipment":
        made = _filled(fields, "sheet", "label", "room")
    elif what == "joints":
        made = _filled(fields, "room")
    elif what == "cables":
        made = {
            **_filled(fields, "sheet", "start", "end"),
            "length_m": as_entered("cables/x/length_m", fields.get("length_m", ""), job.region.units),
        }
        if fields.get("output"):
            made["feeds"] = [{"output": fields["output"]}]
    elif what == "circuits":
        made = _circuit(fields, job)
    else:
        raise JobError([Problem(path=what, line=0, column=0, message="Nothing can be put in here.")])
    if not key:
        _refuse(what, "A name is needed.")
    return AddItem(what, key, made)


def _filled(fields: Mapping[str, str], *names: str) -> dict[str, Value]:
    return {name: fields[name] for name in names if fields.get(name)}


def _circuit(fields: Mapping[str, str], job: Job) -> dict[str, Value]:
    """Return a new circuit, with the resistor values its input's sheet asks for."""
    made = _filled(fields, "input", "topology")
    unit = fields.get("input", "").partition(".")[0]
    inputs = job.sheet_of(unit).inputs if unit in job.equipment else None
    wanted = fields.get("topology", "")
    values = inputs.resistor_sets.get(Topology(wanted)) if inputs is not None and wanted in {item.value for item in Topology} else None
    if values is not None:
        stated = {"end_ohm": values.end_ohm, "alarm_ohm": values.alarm_ohm, "fault_ohm": values.fault_ohm}
        made["resistors"] = {name: f"{ohm:.10g}" for name, ohm in stated.items() if ohm is not None}
    if fields.get("cable"):
        made["path"] = [_filled(fields, "cable", "device")]
    return made
