"""Before power: the dead checks of every pair and supply, each with what it should show, judged as it is entered."""

from __future__ import annotations

from itertools import groupby
from typing import Any, NamedTuple

from loopwright.explain.caution import in_full
from loopwright.explain.circuit.check import label
from loopwright.explain.dead.bus import BUS
from loopwright.explain.dead.check import NO_POWER
from loopwright.explain.dead.judge import Weight
from loopwright.explain.expected.situation import Situation, Step
from loopwright.job.document import Job
from loopwright.store.visit import Visit
from loopwright.web.page import Page
from loopwright.web.site_dead import Noted, checks_of, noted, stopping
from loopwright.web.site_reading import typed

KILO = 1000.0


class Row(NamedTuple):
    """One check as it stands on the sheet: with what is in its box, and what that comes to."""

    note: Noted
    text: str
    unit: str
    wrong: bool
    may_pass: bool


class Group(NamedTuple):
    """The checks of one supply, output or circuit."""

    where: str
    words: str
    rows: list[Row]
    done: int
    wrong: bool


def view(page: Page, visit: Visit, situation: Situation) -> dict[str, Any]:
    """Return what the section shows: the whole list before power, or when it is asked for, or when something was entered."""
    begun = any(entry.state == NO_POWER for entry in visit.standing)
    asked = dict(page.query.asked).get("dead", "") == "yes"
    if not (begun or asked or not situation.usual(Step.DEAD_CHECKS)):
        return {"groups": [], "shown": False, "stops": [], "done": 0, "count": 0}
    rows = noted(page.job, checks_of(page.appraisal), visit)
    groups = []
    for where, members in groupby(rows, key=lambda each: each.checked.check.where):
        own = [_row(each) for each in members]
        done = sum(row.note.entry is not None for row in own)
        groups.append(Group(where, _words(page.job, where), own, done, any(row.wrong for row in own)))
    return {
        "groups": groups,
        "shown": True,
        "stops": stopping(rows),
        "done": sum(group.done for group in groups),
        "count": len(rows),
        "cautions": in_full("mains; battery"),
    }


def _row(note: Noted) -> Row:
    check, judged = note.checked.check, note.checked.judged
    usual = check.unit if check.unit == "V" or check.low < KILO else "kΩ"
    text, unit = typed(note.entry.reading if note.entry else "", usual)
    wrong = judged is not None and judged.weight is not Weight.RIGHT
    may_pass = judged is not None and judged.weight is Weight.STOP and note.past is None
    return Row(note, text, unit, wrong, may_pass)


def _words(job: Job, where: str) -> str:
    if where in job.equipment:
        return label(job, where)
    if where in job.circuits:
        zones = [zone.text for zone in job.zones.values() if zone.circuit == where]
        return f"circuit {where}{f', {zones[0]}' if zones else ''}"
    unit, _, terminal = where.partition(".")
    return f"{label(job, unit)}, {'data bus' if terminal == BUS else f'output {terminal}'}"
