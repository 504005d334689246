"""The keying plan to be ticked off: what to enter, in order, what it reads back, and what an unknown unit was found to hold."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from typing import Any, NamedTuple

from loopwright.job.document import Job
from loopwright.keying.entry import Field, fields_of
from loopwright.keying.form import Unfit
from loopwright.keying.found import FoundUnit, Reading, found_at
from loopwright.keying.pace import paces_of
from loopwright.keying.plan import Entry, Plan, plan_of
from loopwright.keying.spot import spots_of, units_of
from loopwright.keying.taken import taken_over
from loopwright.power.forecast import label_of
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.visit import KeyedSaid, Visit
from loopwright.web.page import Page
from loopwright.web.place import link_to_cell


class Line(NamedTuple):
    """One entry as it stands: its number, whether it is done, what it read, the verdict in a word, and whether that is wrong."""

    number: int
    entry: Entry
    where: str
    said: KeyedSaid | None
    done: bool
    verdict: str
    wrong: bool


def view(page: Page) -> Mapping[str, Any]:
    """Return what the sheet shows."""
    job, site = page.job, page.on_site
    units = units_of(job)
    if site is None or not units:
        return {"trouble": "", "units": (), "visit": None}
    try:
        visit = site.file.load()
    except StoreError as error:
        return {"trouble": str(error), "units": (), "visit": None}
    asked = dict(page.query.asked)
    restore = False if asked.get("restore") == "no" else None
    unit, found, plan = _first(job, [each for each in units if each == asked.get("unit")] or units, visit, restore)
    taken = taken_over(job, found)
    lines = _lines(plan.entries, visit, unit)
    held = {each.address: each.shown for each in visit.found if each.unit == unit}
    return {
        "trouble": "",
        "visit": visit,
        "unit": unit,
        "units": [(name, label_of(job, name)) for name in units],
        "plan": plan,
        "pages": [(words, list(rows)) for words, rows in groupby(lines, key=lambda line: line.entry.address.partition(",")[0])],
        "done": sum(line.done for line in lines),
        "right": sum(line.verdict == "right" for line in lines),
        "wrong": sum(line.wrong for line in lines),
        "found": found,
        "taken": taken,
        "stays": {each.row.address: each.why for each in taken.left},
        "boxes": [(words, [(each, held.get(each.address, "")) for each in rows]) for words, rows in _boxes(job, unit)],
        "paces": paces_of(job, unit),
        "cell": link_to_cell,
    }


def _first(job: Job, units: list[str], visit: Visit, restore: bool | None) -> tuple[str, FoundUnit, Plan]:
    """Return the first unit at which something has to be entered, else the last, with what was found at it and its plan."""
    for unit in units:
        found = found_now(job, unit, visit)
        plan = plan_of(job, unit, found.values or None, restore=restore)
        if plan.entries or unit == units[-1]:
            return unit, found, plan
    raise AssertionError("there is a last unit")


def _lines(entries: tuple[Entry, ...], visit: Visit, unit: str) -> list[Line]:
    """Return the entries with what this visit says of each; what was keyed for another programme counts no longer."""
    said = {each.address: each for each in visit.keyed if each.unit == unit}
    lines = []
    for number, entry in enumerate(entries, 1):
        one = said.get(entry.address)
        if one is not None and one.keys != ("" if entry.by_hand else entry.keys):
            one = None
        verdict = "" if one is None or not (one.read or one.wrong) else "not as it should" if one.wrong else "right"
        where = entry.address.partition(",")[2].strip() or entry.address
        wrong = one is not None and one.wrong
        lines.append(Line(number, entry, where, one, one is not None and one.done and not wrong, verdict, wrong))
    return lines


def found_now(job: Job, unit: str, visit: Visit) -> FoundUnit:
    """Return what the readings of a visit say of a unit."""
    readings = [Reading(number, each.address, each.shown) for number, each in enumerate((e for e in visit.found if e.unit == unit), 1)]
    return found_at(job, unit, readings)


def _boxes(job: Job, unit: str) -> list[tuple[str, list[Field]]]:
    """Return the addresses that can be read, by their page; codes and the clock are left out."""
    fields = [field for field in fields_of(spots_of(job, unit, every_row=True)) if not field.by_hand() and _readable(field)]
    return [(words, list(rows)) for words, rows in groupby(fields, key=lambda field: field.steps[0])]


def _readable(field: Field) -> bool:
    try:
        return bool(field.steps) and all(spot.form.pattern for spot in field.spots)
    except Unfit:
        return False


def room_of() -> Any:  # noqa: ANN401 - the register knows rooms, and this room is not on its list
    """Return the room; it is reached from Programme and On site, and stands in no list."""
    from loopwright.web.rooms.register import Room

    return Room(key="keying", words="Keying plan", view=view, right=Right.READ_JOB, changing=Right.ENTER_READINGS)
