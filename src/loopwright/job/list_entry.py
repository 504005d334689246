"""The entries of a list as they stand in the document: where each is, what it says of a field, and how it is made to say another thing.

Two of them do not stand as a list shows them: rooms lie below their storeys, and the outputs a run is fed from below its supply pairs.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from loopwright.job.cellvalue import Meant, at_path, said_by
from loopwright.job.document import Job
from loopwright.job.edit import AddItem, SetField, follow
from loopwright.job.list_plan import FEEDS, ID, STOREY, ListPlan
from loopwright.job.together import Part, SetList
from loopwright.job.tree import LIST, MAP, Node, shorten
from loopwright.job.write import Value

USUAL_LOAD = "supply"
_SLUG = re.compile(r"[^a-z0-9]+")
LONGEST_SLUG = 34


class Entry(NamedTuple):
    """An entry that is there: its place in the document, and the node there."""

    path: str
    node: Node

    def says(self, field: str) -> Meant | None:
        """Return what the entry says of a field, None where it is silent."""
        if field == STOREY:
            return self.path.split("/")[1]
        if field == FEEDS:
            feeds = at_path(self.node, FEEDS)
            if feeds is None or feeds.kind != LIST:
                return None
            return tuple(str(said_by(at_path(each, "output")) or "") for each in feeds.value)
        return said_by(at_path(self.node, field))


def present(root: Node, plan: ListPlan) -> dict[str, Entry]:
    """Return the entries of a list by id."""
    if not lies_on_storeys(plan):
        return dict(_entries(root, plan.part))
    return {name: entry for storey, _ in _entries(root, plan.part) for name, entry in _entries(root, f"{plan.part}/{storey}/rooms")}


def lies_on_storeys(plan: ListPlan) -> bool:
    """Return whether what is listed lies below storeys."""
    return any(column.field == STOREY for column in plan.columns)


def _entries(root: Node, part: str) -> Iterator[tuple[str, Entry]]:
    chain, missing = follow(root, part)
    if not missing and chain[-1].kind == MAP:
        for key, node in chain[-1].value:
            yield key.value, Entry(f"{part}/{key.value}", node)


class Listed(NamedTuple):
    """A list and the job it is held against: how entries are put in, and made to say another thing."""

    plan: ListPlan
    job: Job

    def changed(self, entry: Entry, name: str, field: str, old: Meant | None, new: Meant) -> Iterator[Part]:
        """Yield the edits that make an entry say something else of a field. Raises ValueError when a list cannot."""
        path = f"{entry.path}/{field}"
        if field == STOREY:
            raise ValueError(f"{name} lies on {old}. A list moves no room to another storey; take it out there, and put it in here.")
        if field != FEEDS:
            yield SetList(path, new) if isinstance(new, tuple) else SetField(path, new)
        elif old is None:
            yield AddItem(entry.path, FEEDS, self._pairs(new, entry.says("end")))
        else:
            yield from _fed_by(path, old, new)

    def made(self, said: Mapping[str, Meant]) -> dict[str, Value]:
        """Return a new entry as the document writes it."""
        entry: dict[str, Value] = {}
        for column in self.plan.columns:
            told = said.get(column.field)
            if told is None or column.field in (ID, STOREY):
                continue
            outer, _, inner = column.field.rpartition("/")
            value: Value = told if isinstance(told, str) else list(told)
            if column.field == FEEDS:
                value = self._pairs(told, said.get("end"))
            holder = entry.setdefault(outer, {}) if outer else entry
            if isinstance(holder, dict):
                holder[inner] = value
        return entry

    def _pairs(self, outputs: Meant, end: Meant | None) -> list[Value]:
        """Return the supply pairs of a run that has none yet, each with the load it lands on where that is not the usual one."""
        item = self.job.equipment.get(str(end))
        sheet = self.job.sheets.equipment.get(item.sheet) if item is not None else None
        loads = [] if sheet is None else list(sheet.loads)
        beside: dict[str, Value] = {"load": loads[0]} if len(loads) == 1 and loads[0] != USUAL_LOAD else {}
        return [{"output": output, **beside} for output in outputs]


def _fed_by(path: str, old: Meant, new: Meant) -> Iterator[Part]:
    """Yield the edits that give the supply pairs of a run other outputs; their cores and loads stay. Raises ValueError."""
    if len(old) != len(new):
        many = f"{len(old)} supply pair{'' if len(old) == 1 else 's'}"
        raise ValueError(f"the run carries {many}; name as many outputs here, or put pairs in and take them out in Wiring.")
    for number, (was, wanted) in enumerate(zip(old, new, strict=True)):
        if was != wanted:
            yield SetField(f"{path}/{number}/output", wanted)


class NewStoreys:
    """Storeys that a list of rooms names and the job does not have, each with the rooms that are put in with it."""

    def __init__(self, job: Job) -> None:
        self._taken = set(job.storeys)
        self._ids: dict[str, str] = {}
        self._rooms: dict[str, dict[str, Value]] = {}

    def put(self, storey: str, room: str, entry: Value) -> str:
        """Note a room of a storey that is called so; return the room's place."""
        key = " ".join(storey.split())
        if key.casefold() not in self._ids:
            name = slug_of(key, self._taken) or slug_of("storey", self._taken)
            self._taken.add(name)
            self._ids[key.casefold()] = name
            self._rooms[name] = {"name": key, "rooms": {}}
        name = self._ids[key.casefold()]
        rooms = self._rooms[name]["rooms"]
        if isinstance(rooms, dict):
            rooms[room] = entry
        return f"storeys/{name}/rooms/{room}"

    @property
    def edits(self) -> Iterator[AddItem]:
        """Yield the edits that put the storeys in."""
        for name, storey in self._rooms.items():
            yield AddItem("storeys", name, storey)

    @property
    def names(self) -> tuple[str, ...]:
        """Return what the new storeys are called, shortened."""
        return tuple(shorten(str(storey["name"])) for storey in self._rooms.values())


def slug_of(text: str, taken: set[str]) -> str:
    """Return an id nobody has, made of a text; nothing when the text has no letter or digit for one.

    >>> slug_of("Press hall", set()), slug_of("Press hall", {"press-hall"}), slug_of("?", set())
    ('press-hall', 'press-hall-2', '')
    """
    slug = _SLUG.sub("-", text.lower()).strip("-")[:LONGEST_SLUG]
    if not slug:
        return ""
    return next(name for name in (slug, *(f"{slug}-{number}" for number in range(2, len(taken) + 3))) if name not in taken)
