"""Walking routes: who comes in by which door, past which detectors, in what time, and what the programme makes of it; and out again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loopwright.job.document import Area, Job, Zone
from loopwright.job.sheet import Kind, Topology
from loopwright.programme.floor import Point, length_m, rooms_of, sees, walked
from loopwright.programme.response import ANY_TIME, DOOR, FULL, QUIET, ROUTE, does, set_states

IN, OUT = "in", "out"
LISTED, DRAWN, ROOM = "listed", "on the plan", "in a room walked through"


@dataclass(frozen=True, kw_only=True, slots=True)
class Passed:
    """A zone somebody passes: how that is known, and for each set state what it does and whether the walk bears it."""

    zone: str
    known: str
    does: tuple[str, ...]
    tolerated: tuple[bool, ...]

    @property
    def alarms(self) -> bool:
        """Return whether it raises an alarm in some set state."""
        return not all(self.tolerated)


@dataclass(frozen=True, kw_only=True, slots=True)
class Route:
    """One person's way from an entry door to where the area is unset, or ``out`` again.

    ``walk_s`` is the time it takes [s] and ``allowed_s`` the shortest entry or exit time of the ``areas`` gone through, each None where
    nobody said; ``line`` is the way on the plan, empty where there is none. ``begins`` says for each set state whether the door begins
    entry (coming in) or is tolerated.
    """

    area: str
    user: str
    door: str
    way: str
    states: tuple[str, ...]
    begins: tuple[bool, ...]
    passed: tuple[Passed, ...]
    areas: frozenset[str]
    walk_s: float | None
    allowed_s: float | None
    line: tuple[Point, ...] = ()

    @property
    def length_m(self) -> float | None:
        """Return the length of the way [m], where there is a plan."""
        return length_m(self.line) if self.line else None

    @property
    def spare_s(self) -> float | None:
        """Return the time left over [s], below nought where it is too short; None where one of the two is not known."""
        return None if self.walk_s is None or self.allowed_s is None else self.allowed_s - self.walk_s

    @property
    def in_order(self) -> bool:
        """Return whether all of it is known and nothing on it raises an alarm."""
        fits = self.spare_s is not None and self.spare_s >= 0
        return fits and all(self.begins) and not any(each.alarms for each in self.passed)


def routes_of(job: Job) -> tuple[Route, ...]:
    """Return every route: each area by each of its entry doors, for each person who may unset it coming in, or set it going out.

    A shared area is walked through by the people of the areas that share it, who have no keypad there; it is part of their routes.
    """
    found = []
    for area_id, area in job.areas.items():
        if area.common_to:
            continue
        for door in doors_of(job, area_id):
            line = _line(job, area, job.zones[door])
            seen = {name: known for name, known in passed_by(job, area, job.zones[door], line).items() if name != door}
            for user_id, user in job.users.items():
                may = user.areas.get(area_id, "none")
                ways = [way for way, act in ((IN, "unset"), (OUT, "set")) if may in (act, "both")]
                found += [_route(job, area_id, user_id, door, way, line, seen) for way in ways]
    return tuple(found)


def doors_of(job: Job, area_id: str) -> tuple[str, ...]:
    """Return the doors people may come in by: the area's own, then those of the shared areas on the way to it."""
    lobbies = [lobby for lobby in job.areas.values() if area_id in lobby.common_to]
    named = (*job.areas[area_id].entry_doors, *(door for lobby in lobbies for door in lobby.entry_doors))
    return tuple(dict.fromkeys(door for door in named if door in job.zones))


def states_entered(job: Job, area: Area) -> tuple[str, ...]:
    """Return the set states in which people may come in to an area: all of them unless it is said that they do so in full set only."""
    return set_states(job) if area.entered != "full" else (FULL,)


def in_part_sets_too(area: Area) -> bool:
    """Return whether it is said that people come in to an area while it is set in part."""
    return area.entered == "every-set"


def _route(job: Job, area_id: str, user_id: str, door: str, way: str, line: tuple[Point, ...], seen: Mapping[str, str]) -> Route:
    area, user = job.areas[area_id], job.users[user_id]
    states = states_entered(job, area)
    zone, within = job.zones[door], lying(job, area_id)
    through = frozenset({area_id, *(within & set(zone.areas))})
    begun = tuple(does(zone, state) == DOOR and bool(within & set(zone.areas)) for state in states)
    return Route(
        area=area_id,
        user=user_id,
        door=door,
        way=way,
        states=states,
        begins=begun,
        passed=tuple(_passed(job, name, known, within, states) for name, known in seen.items()),
        areas=through,
        walk_s=area.walk_s if user.walk_s is None else user.walk_s,
        allowed_s=_allowed_s(job, through, way),
        line=line if way == IN else line[::-1],
    )


def _allowed_s(job: Job, areas: frozenset[str], way: str) -> float | None:
    """Return the shortest entry or exit time [s] of the areas somebody goes through; None where one is not entered."""
    times = [job.areas[name].entry_s if way == IN else job.areas[name].exit_s for name in areas]
    known = [time for time in times if time is not None]
    return min(known) if len(known) == len(times) else None


def lying(job: Job, area_id: str) -> set[str]:
    """Return an area and the shared ones on the way to it: entry begun in one of them is meant for all."""
    return {area_id, *(name for name, lobby in job.areas.items() if area_id in lobby.common_to)}


def _line(job: Job, area: Area, door: Zone) -> tuple[Point, ...]:
    """Return the way on the plan, from the door's contact to the keypad, through the rooms named or else from room to room."""
    if area.keypad is None:
        return ()
    for device in devices_of(job, door):
        first, last = job.equipment[device].room, job.equipment[area.keypad].room
        between = area.way or tuple(dict.fromkeys(room for room in (first, last) if room))
        # The list begins where people come in; another door joins it in its own room.
        if first in between:
            between = between[between.index(first) :]
        elif first:
            between = (first, *between)
        if line := walked(job, device, area.keypad, between):
            return line
    return ()


def devices_of(job: Job, zone: Zone) -> tuple[str, ...]:
    """Return the devices behind a zone."""
    if zone.circuit is None:
        return ()
    circuit = job.circuits[zone.circuit]
    pair = circuit.topology is Topology.PAIR
    return tuple(hop.device for hop in circuit.path if hop.device is not None and (not pair or hop.part == zone.part))


def passed_by(job: Job, area: Area, door: Zone, line: tuple[Point, ...]) -> dict[str, str]:
    """Return the zones somebody passes, each with how that is known: listed, seen on the plan, or in a room walked through.

    A detector in a room on the way that nobody has drawn is taken to see who walks there.
    """
    found = {name: LISTED for name in area.walked_past if name in job.zones}
    rooms = set(area.way) | {job.equipment[device].room for device in devices_of(job, door)}
    if area.keypad is not None:
        rooms.add(job.equipment[area.keypad].room)
    rooms &= set(rooms_of(job))
    for name, zone in job.zones.items():
        for device in devices_of(job, zone):
            if name in found or job.sheet_of(device).kind is not Kind.DETECTOR:
                continue
            seen = sees(job, device, line)
            if seen or (seen is None and job.equipment[device].room in rooms):
                found[name] = DRAWN if seen else ROOM
    return found


def _passed(job: Job, name: str, known: str, within: set[str], states: tuple[str, ...]) -> Passed:
    zone = job.zones[name]
    words = tuple(does(zone, state) for state in states)
    return Passed(zone=name, known=known, does=words, tolerated=tuple(_tolerated(zone, word, within) for word in words))


def _tolerated(zone: Zone, word: str, within: set[str]) -> bool:
    """Return whether a walk bears a zone: quiet, or on the way in an area whose entry or exit has begun."""
    if word in QUIET:
        return True
    if word in ANY_TIME:
        return False
    # A zone of another area may be set while this one is walked through, and tolerates nobody.
    return word in (DOOR, ROUTE) and bool(within & set(zone.areas))
