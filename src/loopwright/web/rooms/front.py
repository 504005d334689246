"""The front sheet: the job at a glance, every finding, power in one table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.appraisal.observed import held_readings
from loopwright.job.document import Stage
from loopwright.values.finding import Severity
from loopwright.web.form import reading_places
from loopwright.web.page import Page
from loopwright.web.rooms.beginning import steps_of
from loopwright.web.rooms.power import supply_rows

GROUPS = (
    (Severity.MUST, "must be put right", "a published requirement or a data sheet's limit is not met"),
    (Severity.SHOULD, "should be put right", "good practice, or a source that does not bind"),
    (Severity.GAP, "still open", "not known yet; normal while the work is going on"),
    (Severity.NOTE, "to note", ""),
)


def view(page: Page) -> Mapping[str, Any]:
    """Return what the front sheet shows."""
    found = page.appraisal.findings
    groups = [(words, why, [item for item in found if item.severity is severity]) for severity, words, why in GROUPS]
    return {
        "ruleset": page.appraisal.ruleset,
        "stages": list(Stage),
        "counts": _counts(page),
        "steps_in": steps_of(page.job),
        "groups": [group for group in groups if group[2]],
        "supplies": supply_rows(page),
        "asked": _asked(page),
        "readings": list(enumerate(held_readings(page.appraisal))),
        "places": reading_places(page.job),
    }


def _asked(page: Page) -> str:
    """Return the standby that is asked for, and on whose word."""
    region = page.job.region
    if region.standby_h is None and region.alarm_min is None:
        return "as the rules say"
    rest = "as the rules say" if region.standby_h is None else page.quantity(region.standby_h, "h")
    alarm = "alarm as the rules say" if region.alarm_min is None else f"{page.quantity(region.alarm_min, 'min')} of alarm"
    return f"{rest}, then {alarm}"


def _counts(page: Page) -> list[tuple[int, str, str]]:
    """Return how many of each thing there are, its name, and the room that shows them."""
    job = page.job
    supplies = sum(1 for name in job.equipment if job.sheet_of(name).supply is not None)
    rows = [
        (len(job.equipment), "piece of equipment", "pieces of equipment", "./kit"),
        (supplies, "mains supply", "mains supplies", "./power"),
        (len(job.cables), "cable run", "cable runs", "./wiring"),
        (len(job.circuits), "detection circuit", "detection circuits", "./wiring#circuits"),
        (len(job.zones), "zone", "zones", "./programme#zones"),
        (len(job.areas), "area", "areas", "./programme#areas"),
    ]
    return [(count, one if count == 1 else many, link) for count, one, many, link in rows]
