"""The programme: zones, areas, users, reports and outputs as the tables a control unit is told from, every cell editable in place."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.job.sheet import Topology
from loopwright.rules.programme import EVENTS
from loopwright.web.dictionary import plain_words
from loopwright.web.form import RESPONSES
from loopwright.web.page import Page

SET_STATES = ("unset", "full")


def view(page: Page) -> Mapping[str, Any]:
    """Return what the programme room shows."""
    job = page.job
    states = (*SET_STATES, *job.programme.part_sets)
    said = dict.fromkeys(word for zone in job.zones.values() for word in zone.response.values())
    pairs = {name for name, circuit in job.circuits.items() if circuit.topology is Topology.PAIR}
    page.plan(f"zones/{key}" for key in job.zones)
    page.plan(f"areas/{key}" for key in job.areas)
    return {
        "states": [(state, plain_words(state)) for state in states],
        "zones": [(key, zone, zone.circuit in pairs or f"zones/{key}/part" in job.given) for key, zone in job.zones.items()],
        "usual": tuple(dict.fromkeys((*RESPONSES, *said))),
        "events": tuple(dict.fromkeys((*EVENTS, *job.signalling.reports))),
        "unsaid": _unsaid(page, states),
    }


def _unsaid(page: Page, states: tuple[str, ...]) -> Mapping[str, int]:
    """Return how many cells of each matrix say nothing."""
    job = page.job
    return {
        "zones": sum(1 for zone in job.zones.values() for state in states if state not in zone.response),
        "users": sum(1 for user in job.users.values() for area in job.areas if area not in user.areas),
        "events": sum(1 for event in EVENTS if event not in job.signalling.reports),
    }
