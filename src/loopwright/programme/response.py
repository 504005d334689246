"""What the words of a zone's response mean to somebody who walks past it (common practice, no source)."""

from __future__ import annotations

from loopwright.job.document import Job, Zone

ALSO_SAID = {"instant": "immediate", "none": "ignored", "entry": "final-exit", "entry-exit": "final-exit", "follower": "entry-route"}
DOOR, ROUTE, IMMEDIATE, HOLD_UP = "final-exit", "entry-route", "immediate", "hold-up"
QUIET = frozenset({"ignored", "chime", "soak-test"})
ANY_TIME = frozenset({"24-hour", "tamper", HOLD_UP})
KNOWN = QUIET | ANY_TIME | {DOOR, ROUTE, IMMEDIATE}
UNSET, FULL = "unset", "full"


def set_states(job: Job) -> tuple[str, ...]:
    """Return the states in which something is set: full, then each part set."""
    return (FULL, *job.programme.part_sets)


def does(zone: Zone, state: str) -> str:
    """Return what a zone does in a state, in the one word this program uses for it; empty where nothing is said.

    >>> does(Zone(number=1, text="Hall", response={"full": "follower"}), "full")
    'entry-route'
    """
    said = zone.response.get(state, "")
    return ALSO_SAID.get(said, said)


def begins_entry(job: Job, zone: Zone) -> bool:
    """Return whether a zone begins entry in some set state."""
    return any(does(zone, state) == DOOR for state in set_states(job))
