"""Readings on record where they were taken: what an opened circuit or run shows of them."""

from __future__ import annotations

from loopwright.appraisal.observed import Held, held_readings
from loopwright.job.document import Observation
from loopwright.web.page import Page


def readings_at(page: Page, subject: str) -> list[tuple[int, Observation, Held]]:
    """Return the readings taken at a row of the document, each with its number and held against its forecast."""
    return [
        (number, item, held)
        for number, (item, held) in enumerate(zip(page.job.observations, held_readings(page.appraisal), strict=True))
        if held.subject == subject
    ]
