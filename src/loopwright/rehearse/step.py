"""The plain step of a programme, one event at a time, and every event that can happen in it. The rows are those of docs/programme.md.

``step(programme, begin(programme), Event("set", "house", "owner"))`` is the state after it and what is given out, or None where the event
cannot happen. Times go by in ticks: ``Event("tick")`` brings every running clock one tick nearer its end, and cannot happen
while one is at its end; ``Event("end", area)`` is that end. :func:`loopwright.rehearse.words.told` puts events and outputs in words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from loopwright.programme.response import ON_THE_WAY, Response
from loopwright.rehearse import by_itself, confirm, observe, power, setting, walk, zone
from loopwright.rehearse.moment import Moment
from loopwright.rehearse.plan import Person, Programme
from loopwright.rehearse.state import (
    ENTRY,
    EXIT,
    GONE,
    SET,
    SETTLING,
    UNSET,
    Effect,
    Event,
    Output,
    forgets_when_quiet,
    running,
    tick_s,
)

TICK = Event("tick")
CENTRE = "centre"
"""Who resets from afar: the receiving centre."""
FAULTS = ("path", "mains", "battery")


def step(programme: Programme, state: Mapping[str, int], event: Event) -> tuple[dict[str, int], tuple[Output, ...]] | None:
    """Return the state after an event and what it gives out, or None where the event cannot happen."""
    if event == TICK:
        return _tick(programme, state)
    effect = effect_of(programme, state.__getitem__, event)
    if effect is None or (effect.due and effect.due not in due(programme, state)):
        return None
    return {**state, **effect.changes, **dict.fromkeys(effect.begun, 0)}, effect.outputs


def due(programme: Programme, state: Mapping[str, int]) -> list[str]:
    """Return the clocks that are at their end: nothing else happens later before these do."""
    tick = tick_s(programme)
    return [clock for clock, lasts_s in running(programme, state.__getitem__).items() if state[clock] >= round(lasts_s / tick)]


def _tick(programme: Programme, state: Mapping[str, int]) -> tuple[dict[str, int], tuple[Output, ...]] | None:
    runs = running(programme, state.__getitem__)
    if not runs or due(programme, state):
        return None
    return {**state, **{clock: state[clock] + 1 for clock in runs}}, ()


def effect_of(programme: Programme, read: Callable[[str], int], event: Event) -> Effect | None:
    """Return what an event does, reading no more of the state than it has to, or None where it cannot happen.

    The clock it has to wait for is named in the effect, not looked at. Observers follow only after the rest is settled.
    """
    if programme.walk is None:
        core = core_effect(programme, read, event)
    else:
        core = walk.allowed(programme, read, event, core_effect)
    observed = programme.observers and event.kind in OBSERVED
    if core is None and not observed:
        return None
    now = Moment(programme, read)
    if core is not None:
        now.changes |= core.changes
        now.due = core.due
        now.begun |= dict.fromkeys(core.begun)
        now.outputs += core.outputs
        observe.observe(now, core.outputs)
        return now.effect()
    if "power" in programme.tracks and now["power"] == GONE:
        return None
    kind = event.kind
    now.due = f"{event.place}.{kind.removesuffix('-ends')}-clock"
    return now.effect() if OBSERVED[kind](now, event.place) else None


OBSERVED: Mapping[str, Callable[[Moment, str], bool]] = {
    "report-ends": observe.report_ends,
    "sound-ends": observe.sound_ends,
    "confirm-ends": confirm.ends,
}


def core_effect(programme: Programme, read: Callable[[str], int], event: Event) -> Effect | None:
    """Return what an event does to areas, zones and the system. No observer's field is read."""
    now = Moment(programme, read)
    if not _happens(now, event):
        return None
    for area in programme.judged:
        confirm.follows(now, area, [each for each in now.outputs if each.place == area])
    return now.effect()


def _happens(now: Moment, event: Event) -> bool:
    kind, place = event.kind, event.place
    if kind == "activated":
        return zone.opens(now, place)
    if kind == "shut":
        return zone.shuts(now, place)
    if kind in power.EVENTS:
        return power.happens(now, kind)
    if "power" in now.programme.tracks and now["power"] == GONE:
        return False
    match kind:
        case "set" | "unset" | "clear" | "clear-latched":
            return _person_acts(now, event)
        case "its-time" | "warning-ends" | "put-off":
            person = _person_of(now, event.who)
            return by_itself.happens(now, event, person) and _in_silence(now, place, person)
        case "end":
            return _area_clock_ends(now, place, event.over)
        case "lock":
            return now.programme.told.set_by == "key-switch" and setting.ends_by_act(now, place)
        case "fault" | "restored":
            return _fault(now, kind, place)
        case "midnight":
            setting.forget_trips(now, now.programme.followed)
            for area in now.programme.areas:
                now.say("trips-forgotten", area)
            return True
        case "quiet-ends":
            return zone.quiet_ends(now, place)
        case "confirm-ends":
            return place in now.programme.judged and confirm.ends(now, place)
        case "others-set" | "others-unset" | "others-stir":
            return _stand_in(now, event)
    return False


def _person_acts(now: Moment, event: Event) -> bool:
    person = _person_of(now, event.who)
    if person is None and event.who != CENTRE:
        return False
    if event.kind == "clear":
        return setting.clears(now, event.place, person)
    if event.kind == "clear-latched":
        return setting.clears_latched(now, event.place, person)
    if person is None:
        return False
    done = setting.sets(now, event, person) if event.kind == "set" else setting.unsets(now, event.place, person)
    return done and _in_silence(now, event.place, person)


def _in_silence(now: Moment, area: str, person: Person | None) -> bool:
    """Row 19: what was done with a duress code is sent in silence."""
    if person is not None and person.duress:
        now.say("duress", area, person.name)
        now.send("duress", area)
    return True


def _person_of(now: Moment, name: str) -> Person | None:
    return next((each for each in now.programme.people if each.name == name), None)


def _area_clock_ends(now: Moment, area: str, open_zone: str) -> bool:
    mode = now[f"{area}.mode"]
    now.due = f"{area}.clock"
    if mode == ENTRY:
        return not open_zone and zone.entry_ends(now, area)
    if mode != EXIT or (now.programme.told.set_by != "timed" and now[f"{area}.door"] != SETTLING):
        return False
    return setting.exit_ends(now, area, open_zone)


def _fault(now: Moment, kind: str, condition: str) -> bool:
    present = int(kind == "fault")
    if now[condition] == present:
        return False
    now[condition] = present
    now.say(kind, "", condition)
    if present:
        now.send({"mains": "mains-failure", "battery": "low-battery", "path": "path-failure"}[condition])
    return True


def _stand_in(now: Moment, event: Event) -> bool:
    """The areas that are not looked at: all of them set, one of them unset, or a change that leaves them as they count."""
    area, mode = event.place, now[f"{event.place}.mode"]
    if event.kind == "others-stir":
        if mode != SET:
            return False
    elif mode == (SET if event.kind == "others-set" else UNSET):
        return False
    else:
        now[f"{area}.mode"] = SET if event.kind == "others-set" else UNSET
    now[f"{area}.part"] = event.state if event.kind != "others-unset" else 0
    setting.served(now, area)
    return True


def events(programme: Programme) -> list[Event]:
    """Return every event there can be, ticks left aside."""
    if programme.walk:
        return walk.events(programme)
    found = [event for name in programme.areas for event in _of_area(programme, name)]
    found += [event for name in programme.zones for event in _of_zone(programme, name)]
    if "conditions" in programme.tracks:
        found += [Event(kind, each) for each in FAULTS for kind in ("fault", "restored")]
        found += [Event("clear-latched", each, who) for each in ("tamper", "hold-up") for who in _clear_by(programme)]
    found += [Event(kind) for kind in power.EVENTS] if "power" in programme.tracks else []
    return found + ([Event("midnight")] if programme.told.trips and programme.told.trips_reset == "midnight" else [])


def _clear_by(programme: Programme) -> list[str]:
    return [person.name for person in programme.people if not person.duress and not person.fob] + [CENTRE]


def _of_area(programme: Programme, name: str) -> Iterator[Event]:
    states = range(len(programme.states))
    if programme.areas[name].stand_in:
        for state in states:
            yield from (Event(kind, name, "", state) for kind in ("others-set", "others-stir"))
        yield Event("others-unset", name)
        return
    for person in programme.people:
        if person.right(name, "set") and not programme.areas[name].serves:
            for state in states[:1] if person.fob else states:
                yield Event("set", name, person.name, state)
                # What prevents setting altogether changes nothing, and needs no event of its own.
                over = (each for each in setting.not_remembered(programme, name) if setting.overrides(programme, each, person))
                yield from (Event("set", name, person.name, state, each) for each in over)
        if person.right(name, "unset"):
            yield Event("unset", name, person.name)
    yield from (Event("clear", name, who) for who in _clear_by(programme))
    yield Event("end", name)
    for each in programme.zones_of(name):
        zone_plan = programme.zones[each]
        if zone_plan.contact and not zone_plan.followed and ON_THE_WAY & set(zone_plan.does):
            yield Event("end", name, "", 0, each)
    if programme.told.set_by == "key-switch":
        yield Event("lock", name)
    if programme.areas[name].by_itself:
        yield from by_itself.events(programme, name)
    if programme.observes(name):
        yield from (Event(f"{each}-ends", name) for each in ("report", "sound") if each in programme.observers)
    if programme.confirms(name):
        yield Event("confirm-ends", name)


def _of_zone(programme: Programme, name: str) -> Iterator[Event]:
    plan = programme.zones[name]
    yield Event("activated", name)
    if name in forgets_when_quiet(programme):
        yield Event("quiet-ends", name)
    if plan.contact and (plan.followed or (programme.told.set_by == "final-door" and Response.FINAL_EXIT in plan.does)):
        yield Event("shut", name)
