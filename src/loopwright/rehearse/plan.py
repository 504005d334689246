"""What one area is told: the part of the programme a search looks at, with times as whole numbers of a tick."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from loopwright.job.document import Area, Job, Zone
from loopwright.job.sheet import Kind

FULL = "full"


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


ON_THE_WAY = frozenset({Response.FINAL_EXIT, Response.ENTRY_ROUTE})
ANY_TIME = frozenset({Response.ROUND_THE_CLOCK, Response.TAMPER, Response.HOLD_UP})
Column = tuple[Response, ...]
"""What a zone does: unset first, then each set state in the order of the plan."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Follows:
    """One zone as the search sees it: what it does in each state, and whether it stays open."""

    does: Column
    contact: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class AreaPlan:
    """One area: the zone that is followed, and the distinct others, which the search keeps no memory of.

    ``entry`` and ``exit`` count ticks of ``tick_s``. ``may_set`` and ``may_unset`` say whether any user has the right.
    """

    states: tuple[str, ...] = (FULL,)
    entry: int = 1
    exit: int = 2
    tick_s: float = 30.0
    zone: Follows
    rest: tuple[Follows, ...] = ()
    may_set: bool = True
    may_unset: bool = True
    final_door: bool = False
    exit_restart: bool = False
    exit_fails: bool = False
    falls_to_part: bool = False
    exit_stops: bool = False
    trips: int = 0
    override: bool = False


class NotCoveredError(Exception):
    """This area cannot be searched; the text says why and what to enter."""


def column(job: Job, zone: Zone) -> Column:
    """Return what a zone does in every state. Raises NotCoveredError for a cell that is empty or not a known response."""
    found = []
    for state in ("unset", FULL, *job.programme.part_sets):
        word = zone.response.get(state)
        if word is None:
            raise NotCoveredError(f"zone {zone.number} ({zone.text}) says nothing for {state}")
        if word not in set(Response):
            raise NotCoveredError(
                f"zone {zone.number} ({zone.text}), {state}: '{word}' is not a response known here ({', '.join(Response)})"
            )
        found.append(Response(word))
    return tuple(found)


def stays_open(job: Job, zone: Zone) -> bool:
    """Return whether a zone stays open: contacts do, a movement detector gives a pulse (choice C-1 of the semantics)."""
    hops = job.circuits[zone.circuit].path if zone.circuit is not None else ()
    return not any(hop.device and job.sheet_of(hop.device).kind is Kind.DETECTOR for hop in hops)


def plan_of(job: Job, area_id: str, zone_id: str) -> AreaPlan:
    """Return the plan of one area that follows one of its zones.

    Raises NotCoveredError where something the search reads is not said, or the area is more than one area's search can hold.
    """
    area, told = job.areas[area_id], job.programme
    _refuse(area)
    zones = {name: zone for name, zone in job.zones.items() if area_id in zone.areas}
    sight = {name: Follows(does=column(job, zone), contact=stays_open(job, zone)) for name, zone in zones.items()}
    rights = [user.areas.get(area_id, "none") for user in job.users.values()]
    entry_s, exit_s = area.entry_s or 0.0, area.exit_s or 0.0
    tick_s = ticks_of(entry_s, exit_s)
    return AreaPlan(
        states=(FULL, *told.part_sets),
        entry=round(entry_s / tick_s),
        exit=round(exit_s / tick_s),
        tick_s=tick_s,
        zone=sight[zone_id],
        rest=tuple(dict.fromkeys(each for name, each in sight.items() if name != zone_id)),
        may_set=any(right in ("set", "both") for right in rights),
        may_unset=any(right in ("unset", "both") for right in rights),
        final_door=told.set_by == "final-door",
        exit_restart=told.exit_restart,
        exit_fails=told.exit_error == "fails",
        falls_to_part=told.unvacated == "part" and bool(told.part_sets),
        exit_stops=told.exit_alarm == "stops",
        trips=told.lock_out_trips,
        override=told.override_open,
    )


def _refuse(area: Area) -> None:
    if area.common_to:
        raise NotCoveredError("it is shared, and is set with the last of the areas that share it")
    if area.entry_s is None or area.exit_s is None:
        raise NotCoveredError("its entry time or exit time is not entered")


def ticks_of(*times_s: float) -> float:
    """Return the longest time [s] all of these are whole multiples of, to a tenth of a second.

    >>> ticks_of(30, 45), ticks_of(30, 60), ticks_of(0, 0)
    (15.0, 30.0, 1.0)
    """
    return math.gcd(*(round(10 * time_s) for time_s in times_s)) / 10 or 1.0
