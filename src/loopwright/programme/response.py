"""What the words of a zone's response mean to somebody who walks past it (common practice, no source)."""

from __future__ import annotations

from enum import StrEnum

from loopwright.job.document import Job, Zone

UNSET, FULL = "unset", "full"


class Response(StrEnum):
    """What a zone does in a set state: words of the trade (common practice, no source)."""

    IGNORED = "ignored"
    CHIME = "chime"
    SOAK_TEST = "soak-test"
    FINAL_EXIT = "final-exit"
    ENTRY_ROUTE = "entry-route"
    IMMEDIATE = "immediate"
    ROUND_THE_CLOCK = "24-hour"
    TAMPER = "tamper"
    HOLD_UP = "hold-up"


ALSO_SAID = {
    "instant": Response.IMMEDIATE,
    "none": Response.IGNORED,
    "entry": Response.FINAL_EXIT,
    "entry-exit": Response.FINAL_EXIT,
    "follower": Response.ENTRY_ROUTE,
}
"""Other words of the trade for the same (common practice, no source)."""
DOOR, ROUTE, IMMEDIATE, HOLD_UP = Response.FINAL_EXIT, Response.ENTRY_ROUTE, Response.IMMEDIATE, Response.HOLD_UP
QUIET = frozenset({Response.IGNORED, Response.CHIME, Response.SOAK_TEST})
ANY_TIME = frozenset({Response.ROUND_THE_CLOCK, Response.TAMPER, Response.HOLD_UP})
ON_THE_WAY = frozenset({DOOR, ROUTE})
KNOWN = frozenset(Response)


def set_states(job: Job) -> tuple[str, ...]:
    """Return the states in which something is set: full, then each part set."""
    return (FULL, *job.programme.part_sets)


def does(zone: Zone, state: str) -> str:
    """Return what a zone does in a state, in the one word this program uses for it; empty where nothing is said.

    >>> does(Zone(number=1, text="Hall", response={"full": "follower"}), "full")
    'entry-route'
    """
    said = zone.response.get(state, "")
    return str(ALSO_SAID.get(said, said))
