"""Old pairs of a visit: each pair with what was read of it, and the job document that starts from them."""

from __future__ import annotations

from dataclasses import replace

from loopwright.explain.old.job import old_job
from loopwright.explain.old.pair import OldPair
from loopwright.explain.old.table import MOST_PAIRS, pair_of
from loopwright.explain.old.take_over import TakeOver, take_over
from loopwright.job.document import Job
from loopwright.store.visit import OldRow, Visit
from loopwright.web.site_change import SiteChange, refuse
from loopwright.web.site_reading import understood

CELLS = ("rest", "operated", "lid", "fault", "shorted")
"""What is read of an old pair, in the order of the form."""


def units_of(job: Job) -> list[str]:
    """Return the units that have inputs to take pairs over."""
    return [name for name in job.equipment if job.sheet_of(name).inputs is not None]


def old_pairs(visit: Visit) -> tuple[OldPair, ...]:
    """Return the old pairs of a visit."""
    return tuple(pair_of(_row(each)) for each in visit.old)


def old_changed(change: SiteChange, visit: Visit) -> Visit:
    """Return the visit with an old pair put in (``old``), or taken out (``old-out``). Raises JobError with the field and the words."""
    kept = tuple(each for each in visit.old if each.name != change.place)
    if change.do == "old-out":
        return replace(visit, old=kept)
    cells = {name: understood(change.fields.get(name, ""), change.unit) for name in CELLS}
    row = OldRow(name=" ".join(change.fields.get("name", "").split()), **cells)
    try:
        pair_of(_row(row))
    except ValueError as error:
        refuse("reading", f"{str(error)[:1].upper()}{str(error)[1:]}")
    if len(visit.old) >= MOST_PAIRS:
        refuse("name", f"A visit holds at most {MOST_PAIRS} old pairs.")
    return replace(visit, old=(*(each for each in visit.old if each.name != row.name), row))


def taken_over(job: Job, visit: Visit, unit: str) -> TakeOver | None:
    """Return how the old pairs of a visit are wired and the plans for a unit; None where there are none, or no such unit."""
    inputs = job.sheet_of(unit).inputs if unit in job.equipment else None
    return take_over(old_pairs(visit), inputs) if visit.old and inputs is not None else None


def begun(job: Job, text: str, visit: Visit, unit: str) -> str | None:
    """Return the job document that starts from the old pairs of a visit; None where there is nothing to start from."""
    found = taken_over(job, visit, unit)
    if found is None or not found.plans or not any(found.wired.values()):
        return None
    return old_job(text, unit, old_pairs(visit), found, found.plans[0])


def _row(row: OldRow) -> dict[str, str]:
    return {"name": row.name, **{name: getattr(row, name) for name in CELLS}}
