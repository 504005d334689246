"""The lists there are: which part of the document each holds, its columns, and what else tells two entries apart."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from enum import StrEnum
from typing import NamedTuple

from loopwright.job.document import Job, Room
from loopwright.job.field import Ref
from loopwright.job.reference import SET_STATES
from loopwright.job.shape import (
    FieldShape,
    IdShape,
    ListShape,
    MapShape,
    RecordShape,
    Shape,
    TerminalShape,
    TextShape,
    job_shape,
    record_shape,
)

ID, STOREY, FEEDS, RIGHTS, RESPONSE = "id", "storey", "feeds", "areas", "response"
LONGEST = 200
LONGEST_HEAD = 60
_BRACKETS = re.compile(r"[(\[]([^)\]]{0,80})[)\]]")


class ListKind(StrEnum):
    """The parts of a document that travel as lists."""

    DEVICES = "devices"
    CABLES = "cables"
    CIRCUITS = "circuits"
    ZONES = "zones"
    USERS = "users"
    ROOMS = "rooms"


class Column(NamedTuple):
    """A column of a list: the field inside its record, the head written out, the heads understood (folded).

    ``own`` is the field as the list has it, where it stands in another way in the document.
    """

    field: str
    head: str
    words: tuple[str, ...] = ()
    own: FieldShape | None = None


class ListPlan(NamedTuple):
    """A list: the mapping it is kept in, what one entry and several are called, how new ids look, what else tells two entries apart.

    ``named_after`` is the field an id is made of; without it ids are numbered on.
    """

    part: str
    one: str
    many: str
    new_id: str
    known_by: tuple[str, ...]
    columns: tuple[Column, ...]
    named_after: str = ""

    def field_of(self, field: str) -> FieldShape:
        """Return a field as the document's own data dictionary has it. Raises KeyError when there is none."""
        own = next((column.own for column in self.columns if column.field == field), None)
        if own is not None:
            return own
        part = job_shape().fields[self.part].shape
        shape: Shape = part.value if isinstance(part, MapShape) else part
        for name in field.split("/"):
            if not isinstance(shape, RecordShape):
                raise KeyError(field)
            found = shape.fields[name]
            shape = found.shape
        return found

    def shape_of(self, field: str) -> Shape:
        """Return the shape of a field. Raises KeyError when there is none."""
        return self.field_of(field).shape


_ROOM_NAME = record_shape(Room).fields["name"]
_ON_STOREY = FieldShape(STOREY, "The storey it lies on.", True, None, IdShape(Ref("storeys")))

# Heads as the trade writes them: common practice, no source.
LISTS: Mapping[ListKind, ListPlan] = {
    ListKind.DEVICES: ListPlan(
        "equipment", "device", "devices", "d", ("label",),
        (
            Column(ID, "Id", ("device", "device id", "device no", "ref", "reference", "tag", "equipment", "name")),
            Column("label", "Label", ("description", "device label", "text", "called", "location", "position")),
            Column("sheet", "Type", ("device type", "model", "part", "part no", "data sheet", "kind", "equipment type", "product")),
            Column("room", "Room", ("area", "space", "room name", "where")),
            Column("address", "Address", ("bus address", "node", "addr", "device address")),
            Column("enrolled", "Enrolled", ("learned", "learnt", "registered")),
            Column("inside", "Fed inside from", ("inside", "fed from", "internal feed")),
            Column("note", "Note", ("notes", "remark", "remarks", "comment", "comments")),
        ),
        named_after="label",
    ),
    ListKind.CABLES: ListPlan(
        "cables", "run", "runs", "W", ("start", "end"),
        (
            Column(ID, "Id", ("cable", "cable no", "cable id", "cable ref", "run", "run no", "no", "ref", "reference", "wire", "wire no")),
            Column("sheet", "Type", ("cable type", "gauge", "size", "cable size", "awg", "wire type", "cable sheet", "data sheet")),
            Column("start", "From", ("start", "origin", "source", "a end", "from device", "starts at", "panel end")),
            Column("end", "To", ("end", "destination", "dest", "target", "b end", "to device", "ends at", "device", "far end")),
            Column(
                "length_m", "Length",
                ("run length", "cable length", "distance", "metres", "meters", "metre", "meter", "m", "ft", "feet", "foot", "footage"),
            ),
            Column("slack_m", "Slack", ("spare", "slack length", "extra")),
            Column("temperature_c", "Temperature", ("temp", "conductor temperature", "ambient")),
            Column("bus", "Data bus", ("bus", "data", "carries bus")),
            Column(
                FEEDS, "Fed from", ("output", "outputs", "supply", "supply output", "feed", "feeds", "powered from", "supplied from"),
                FieldShape(FEEDS, "The outputs whose current it carries.", False, (), ListShape(TerminalShape("outputs"))),
            ),
        ),
    ),
    ListKind.CIRCUITS: ListPlan(
        "circuits", "circuit", "circuits", "c", ("input",),
        (
            Column(ID, "Id", ("circuit", "circuit no", "circuit id", "loop", "loop no", "ref", "reference", "no", "tag")),
            Column("input", "Input", ("terminal", "input no", "terminals", "landed on", "input terminal")),
            Column("topology", "Wiring", ("topology", "eol", "supervision", "resistor scheme", "configuration", "type", "loop type")),
            Column("resistors/end_ohm", "End resistor", ("resistor", "eol resistor", "end of line resistor", "eolr", "end of line")),
            Column("resistors/alarm_ohm", "Alarm resistor", ("contact resistor", "r alarm", "zone a resistor", "alarm contact resistor")),
            Column("resistors/fault_ohm", "Fault resistor", ("r fault", "mask resistor", "zone b resistor", "fault contact resistor")),
            Column("end_at", "End resistor at", ("end at", "resistor at", "resistor place", "eol position")),
            Column("note", "Note", ("notes", "remark", "remarks", "comment", "comments")),
        ),
    ),
    ListKind.ZONES: ListPlan(
        "zones", "zone", "zones", "z", ("number",),
        (
            Column(ID, "Id", ("zone id", "ref", "reference", "tag")),
            Column("number", "Number", ("zone", "zone no", "zone number", "no", "zn")),
            Column("text", "Text", ("zone text", "label", "description", "name", "zone name", "zone label", "display text")),
            Column("circuit", "Circuit", ("circuit no", "loop", "circuit id", "input")),
            Column("part", "Part", ("a or b", "half")),
            Column("areas", "Areas", ("area", "partition", "partitions", "group", "groups", "set area")),
        ),
    ),
    ListKind.USERS: ListPlan(
        "users", "user", "users", "u", ("role",),
        (
            Column(ID, "Id", ("user", "user id", "ref", "reference", "tag", "user no", "who")),
            Column("role", "Role", ("user role", "what they are", "post", "duty")),
        ),
        named_after="role",
    ),
    ListKind.ROOMS: ListPlan(
        "storeys", "room", "rooms", "r", ("name",),
        (
            Column(ID, "Id", ("room id", "room no", "ref", "reference", "tag", "no")),
            Column("name", "Name", ("room", "room name", "description", "label", "space", "called"), _ROOM_NAME),
            Column(STOREY, "Storey", ("floor", "level", "story", "storey name"), _ON_STOREY),
        ),
        named_after="name",
    ),
}  # fmt: skip


def plan_for(kind: ListKind, job: Job) -> ListPlan:
    """Return a list as a job has it: users have a column for every area, zones one for every set state."""
    plan = LISTS[kind]
    further = {ListKind.USERS: _rights, ListKind.ZONES: _responses}.get(kind)
    return plan if further is None else plan._replace(columns=(*plan.columns, *further(plan, job)))


def _responses(plan: ListPlan, job: Job) -> Iterator[Column]:
    taken = {words for column in plan.columns for words in (folded(column.head), *column.words)}
    for state in (*SET_STATES, *job.programme.part_sets):
        words = state.replace("-", " ").replace("_", " ").capitalize()
        head = words if _fits(words, taken) else f"When {state}"
        taken.add(folded(head))
        own = FieldShape(state, f"What it does when {words.lower()}.", False, None, TextShape(LONGEST))
        yield Column(f"{RESPONSE}/{state}", head, (), own)


def _rights(plan: ListPlan, job: Job) -> Iterator[Column]:
    users = job_shape().fields["users"].shape
    areas = users.value.fields[RIGHTS].shape if isinstance(users, MapShape) and isinstance(users.value, RecordShape) else None
    if not isinstance(areas, MapShape):
        raise TypeError("users have rights by area")
    taken = {words for column in plan.columns for words in (folded(column.head), *column.words)}
    names = {folded(area.name) for area in job.areas.values()}
    for key, area in job.areas.items():
        head = next((each for each in (area.name, f"{area.name} {key}") if _fits(each, taken)), f"area {key}")
        words = (folded(key),) if folded(key) not in taken | names else ()
        taken |= {folded(head), *words}
        yield Column(f"{RIGHTS}/{key}", head, words, FieldShape(key, f"What the user may do in {area.name}.", False, None, areas.value))


def _fits(head: str, taken: set[str]) -> bool:
    """Return whether an area's column may have this head: it can be read back, and means no other column."""
    words = folded(head)
    return bool(words) and len(words) <= LONGEST_HEAD and words not in taken and head == head.strip()


def folded(text: str) -> str:
    """Return a head without capitals, brackets and marks.

    >>> folded("Cable No. "), folded("length_m"), folded("Length (ft)")
    ('cable no', 'length m', 'length')
    """
    words = re.sub(r"[^\w%°Ω]+|_", " ", _BRACKETS.sub(" ", text).casefold().replace("number", "no").replace("#", " no ")).split()
    return " ".join(words)
