"""A lawful walk: somebody sets and goes out, or comes in and unsets, in time, and nobody else does anything."""

from __future__ import annotations

from collections.abc import Callable

from loopwright.rehearse.plan import Programme, Walk
from loopwright.rehearse.state import ARRIVED, AT_KEYPAD, SET, UNSET, WALKING, Effect, Event, forgets_when_quiet

Core = Callable[[Programme, Callable[[str], int], Event], Effect | None]


def events(programme: Programme) -> list[Event]:
    """Return what the walker may do, and the ends of times."""
    route = _route(programme)
    owner = {area: [who.name for who in programme.people if who.right(area, "set")][:1] for area in programme.areas}
    ends = (route.area, *programme.areas[route.area].serves)
    leaver = [(each, who.name) for each in ends for who in programme.people if who.right(each, "unset")][:1]
    found = [Event("set", area, who, state) for area, names in owner.items() for who in names for state in range(route.states)]
    found += [Event("unset", area, who) for area, who in leaver]
    found += [Event("activated", each) for each in dict.fromkeys((route.door, *route.past))] + [Event("shut", route.door)]
    found += [Event("end", area) for area in programme.areas]
    found += [Event("quiet-ends", name) for name in forgets_when_quiet(programme)]
    found += [Event(f"{each}-ends", area) for area in programme.areas for each in ("report", "sound") if each in programme.observers]
    found += [Event("confirm-ends", area) for area in programme.areas if programme.confirms(area)]
    return found + ([Event("lock", route.area)] if programme.told.set_by == "key-switch" else [])


def _route(programme: Programme) -> Walk:
    assert programme.walk is not None
    return programme.walk


def allowed(programme: Programme, read: Callable[[str], int], event: Event, core: Core) -> Effect | None:
    """Return what an event does if the walker is where it can be done; the walk goes on with it."""
    route = _route(programme)
    after = (_going_out if route.out else _coming_in)(programme, route, read, event)
    if after is None:
        return None
    effect = core(programme, read, event)
    if effect is None or after == read("walk"):
        return effect
    return effect._replace(changes=effect.changes | {"walk": after}, begun=(*effect.begun, "walk-clock"))


def _coming_in(programme: Programme, route: Walk, read: Callable[[str], int], event: Event) -> int | None:
    """Set everything and be away (the walk not begun), come in by the door, pass what is to be passed, unset."""
    walk = read("walk")
    match event.kind:
        case "end" | "quiet-ends" | "report-ends" | "sound-ends" | "confirm-ends":
            return walk
        case "set" | "lock":
            return walk if walk == AT_KEYPAD else None
        case "unset":
            return ARRIVED if walk == WALKING else None
        case "shut":
            return walk if walk != AT_KEYPAD or _leaving(programme, route, read) else None
        case "activated" if walk == AT_KEYPAD and event.place == route.door:
            if all(read(f"{area}.mode") == SET for area in programme.areas):
                return WALKING
            return walk if _leaving(programme, route, read) else None
        case "activated" if walk == WALKING and event.place in route.past:
            return walk
    return None


def _leaving(programme: Programme, route: Walk, read: Callable[[str], int]) -> bool:
    """Return whether the door is what ends the exit, and so has to be used to come to a set state."""
    return programme.told.set_by == "final-door" and read(f"{route.area}.mode") not in (UNSET, SET)


def _going_out(programme: Programme, route: Walk, read: Callable[[str], int], event: Event) -> int | None:
    """Set, pass what is to be passed, open the door and shut it behind: then nothing more happens."""
    walk = read("walk")
    match event.kind:
        case "end" | "quiet-ends" | "report-ends" | "sound-ends" | "confirm-ends":
            return walk
        case "set" if walk == AT_KEYPAD:
            return WALKING if event.place == route.area else walk
        case "activated" if walk == WALKING and (event.place == route.door or event.place in route.past):
            return walk
        case "shut" if walk == WALKING:
            return ARRIVED
        case "lock" if walk == ARRIVED:
            return walk
    return None
