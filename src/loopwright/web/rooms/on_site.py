"""On site: what should show now, the five readings of a circuit, why what is seen is not what should be, and what to check next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from loopwright.explain.caution import in_full
from loopwright.explain.circuit.check import STATES
from loopwright.explain.expected.charging import charging_words
from loopwright.explain.explanation import Cause, Explanation, chance_words
from loopwright.explain.observation import NOT_AT_REST
from loopwright.explain.whole.scope import PART as WHOLE
from loopwright.explain.whole.word import words
from loopwright.job.document import Stage
from loopwright.store.file import StoreError
from loopwright.store.visit import Visit
from loopwright.values.figure import show
from loopwright.values.source import source
from loopwright.web.page import Page
from loopwright.web.rooms import before_power, expected_now, five_readings, old_wiring, setting_refused, where_along
from loopwright.web.site_reading import UNITS, Read, is_on_record

if TYPE_CHECKING:
    from loopwright.web.visiting import OnSite

PLACES = (
    ("", "its terminals"), ("cores", "the field cores alone"), ("contact", "across the contact"),
    ("capacitance", "capacitance of the field cores"), ("battery", "the battery's posts"),
    ("leads", "the battery leads, battery off"), ("fuse", "across the battery fuse"), ("secondary", "the ac secondary"),
    ("mains", "mains trouble (keypad)"), ("aux", "aux trouble (keypad)"), ("silent", "silent in alarm (keypad)"),
    ("missing", "missing (keypad)"), ("others", "others missing too (keypad)"), ("lit", "lit: yes or no"),
)  # fmt: skip
WORTH_A_ROW = 0.01
"""Other faults together get a row from this share on: a choice of this page."""
DONE = ("rest", "operated", "lid open", "shorted", "wire lifted", "lifted", "fault shown", "all operated")
SYSTEM = ("unset on mains", "alarm on mains", "unset on battery", "alarm on battery", "rested", "test load")
SHOWS = (*STATES, NOT_AT_REST, "yes", "no")


def view(page: Page) -> Mapping[str, Any]:
    """Return what the room shows."""
    site = page.on_site
    if site is None:
        return {"trouble": "There is no visit here.", "visit": None}
    try:
        visit, before = site.file.load(), site.file.has_before()
    except StoreError as error:
        return {"trouble": str(error), "visit": None}
    reads = site.reads(page.job, visit)
    asked = dict(page.query.asked).get("circuit", "")
    why = _why(page, site, visit, reads)
    situation = site.situation(page.job, visit)
    return {
        "trouble": "",
        "visit": visit,
        "before": before,
        "now": expected_now.view(page, visit, situation, site.clock()),
        "dead": before_power.view(page, visit, situation),
        "five": five_readings.view(page, site, visit, reads, asked),
        "why": why,
        "old": old_wiring.view(page, visit),
        "set": setting_refused.view(page, visit, situation),
        "where": where_along.view(page, visit, why["found"]),
        "in_full": in_full,
        "chance": chance_words,
        "share": share,
        "units": UNITS,
        "ohms": lambda value: show(value, "Ω"),
        "stages": list(Stage),
    }


def share(probability: float) -> str:
    """Return a probability as a number people read: neither never nor always is said of what is only nearly so.

    >>> share(0.9996), share(0.4), share(0.0004)
    ('over 99.9 %', '40.0 %', 'under 0.1 %')
    """
    if probability > 0.999:
        return "over 99.9 %"
    return "under 0.1 %" if probability < 0.001 else f"{100 * probability:.1f} %"


def _why(page: Page, site: OnSite, visit: Visit, reads: list[Read]) -> dict[str, Any]:
    found = _explained(page, site, visit, reads)
    asked = set(visit.asked or ())
    devices = dict.fromkeys(hop.device for circuit in page.job.circuits.values() for hop in circuit.path if hop.device)
    return {
        "reads": [(each, is_on_record(page.job, each.entry)) for each in reads],
        "out": [each for each in visit.entries if each.out],
        "unrecorded": len(site.unrecorded(page.job, visit)),
        "found": found,
        "since": sum(1 for each in visit.standing if each.id not in asked) if visit.asked is not None else 0,
        "rows": causes_of(found) if found else [],
        "sources": _sources,
        "charging": lambda cause: charging_words(page.job, page.appraisal.standby, cause.fault, cause.place),
        "places": PLACES,
        "states": [*DONE, *(f"{done} {device}" for device in devices for done in DONE[1:-1]), *SYSTEM],
        "shows": SHOWS,
        "words": [word for word in words().values() if not word.shows],
        "whole": WHOLE,
    }


def _explained(page: Page, site: OnSite, visit: Visit, reads: list[Read]) -> Explanation | None:
    """Return what follows from the entries the explanation was asked with; None before it was asked for."""
    if visit.asked is None:
        return None
    asked = [each for each in reads if each.entry.id in visit.asked and each.seen is not None]
    return site.explained(page.appraisal, visit, asked, ahead=True) if asked else None


def causes_of(found: Explanation) -> list[dict[str, Any]]:
    """Return everything that may be so, likeliest first; the heap of what is less likely than each row comes last."""
    rows: list[dict[str, Any]] = [
        {"chance": each.probability, "words": "", "cause": each.causes[0], "more": each.causes[1:]} for each in found.answers
    ]
    others = [(found.nothing, "Nothing wrong with what was read"), (found.none_of_these, "None of these: a cause this list does not know")]
    if found.two_faults > 0:
        others.append((found.two_faults, "Two faults at once"))
    rows += [{"chance": chance, "words": words, "cause": None, "more": ()} for chance, words in others]
    rows.sort(key=lambda row: -row["chance"])
    if found.others > WORTH_A_ROW:
        rows.append({"chance": found.others, "words": "Other faults, each less likely than the likeliest here", "cause": None, "more": ()})
    return rows


def _sources(cause: Cause) -> str:
    return "; ".join(str(source(key)) for key in cause.source)
