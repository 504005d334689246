"""Readings of a run during a visit: from where along it a short or a break lies, kept with the visit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loopwright.explain.along.cable_fault import Found, NotOne, located
from loopwright.explain.written import Unreadable
from loopwright.job.document import Job
from loopwright.store.visit import RunRead, Visit
from loopwright.web.site_change import Moment, SiteChange, refuse
from loopwright.web.site_reading import instrument_of, understood

ASKED = ("near", "far", "spare")
"""The readings of a run, by their names in the address and in the visit."""
METRES = "spare_m"
LONGEST = 40


class NotLocated(ValueError):
    """What was read does not say where; the message says why."""


def typed_of(fields: Mapping[str, str]) -> dict[str, str]:
    """Return what was typed of a run, its blanks put right, the metres with a point."""
    typed = {name: " ".join(fields.get(name, "").split())[:LONGEST] for name in (*ASKED, METRES)}
    return typed | {METRES: typed[METRES].replace(",", ".")}


def located_of(job: Job, run: str, typed: Mapping[str, str], visit: Visit) -> Found:
    """Return where along a run what was typed puts the fault. Raises NotLocated."""
    try:
        metres = float(typed[METRES]) if typed[METRES] else None
    except ValueError:
        raise NotLocated(f"‘{typed[METRES]}’ is no length in metres.") from None
    try:
        near, far, spare = (understood(typed[name], "") for name in ASKED)
        return located(job, run, near, far, spare, metres, instrument_of(visit.meter))
    except (NotOne, Unreadable, ValueError) as error:
        raise NotLocated(str(error)) from None


def run_changed(change: SiteChange, visit: Visit, job: Job, now: Moment) -> Visit:
    """Return the visit with the readings of a run kept (``run``), in place of those before, or taken out (``run-out``). Raises JobError."""
    others = tuple(each for each in visit.runs if each.run != change.place)
    if change.do == "run-out":
        return replace(visit, runs=others)
    if change.place not in job.cables:
        refuse("", "There is no such run in this job any more.")
    typed = typed_of(change.fields)
    try:
        located_of(job, change.place, typed, visit)
    except NotLocated as error:
        refuse("near", str(error))
    return replace(visit, runs=(*others, RunRead(run=change.place, at=now.minute, by=now.by, **typed)))
