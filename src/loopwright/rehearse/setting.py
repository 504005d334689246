"""How an area comes to be set and unset: rows 1 to 6, 17, 18 and 21 of docs/programme.md."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from loopwright.programme.heard import EXIT_ERROR
from loopwright.programme.response import ANY_TIME, ON_THE_WAY, QUIET, Response
from loopwright.rehearse.moment import Moment
from loopwright.rehearse.plan import CONDITIONS, Person, Programme
from loopwright.rehearse.state import ENTRY, EXIT, NOBODY, NOT_USED, SET, SETTLING, UNSET, USED, Event, fields, forgets_when_quiet


def sets(now: Moment, event: Event, person: Person) -> bool:
    """Rows 1 and 2: somebody sets an area. What stands in the way prevents it, or is overridden by whoever may, and told."""
    area = event.place
    plan = now.programme.areas[area]
    if plan.serves or not person.right(area, "set") or (person.fob and event.state) or now[f"{area}.mode"] != UNSET:
        return False
    overridden = []
    for name in conditions(now, area, event.state, event.over):
        if not overrides(now.programme, name, person):
            now.say("prevented", area, name)
            return True
        overridden.append(name)
    for name in overridden:
        now.say("override", area, name)
        now.send("override", area)
    _leave_out(now, area, event.state)
    begin_exit(now, area, event.state)
    return True


def conditions(now: Moment, area: str, state: int, over: str) -> Iterator[str]:
    """Yield what stands in the way of setting and is not ignored, in the order of the conditions, looking no further than is asked."""
    for name in CONDITIONS:
        if now.programme.prevents.get(name, "ignored") == "ignored":
            continue
        if name == "open":
            present = bool(_open_zones(now, area, state))
        elif name == "memory":
            present = bool(now[f"{area}.memory"])
        else:
            present = "conditions" in now.programme.tracks and bool(now[name])
        if present or name == over:
            yield name


def not_remembered(programme: Programme, area: str) -> Iterator[str]:
    """Yield what may stand in the way of setting an area and is not remembered: it may be there whenever somebody sets."""
    for name in CONDITIONS:
        if programme.prevents.get(name, "ignored") == "ignored" or name == "memory":
            continue
        if name == "open":
            if any(not programme.zones[each].followed for each in programme.zones_of(area)):
                yield name
        elif "conditions" not in programme.tracks:
            yield name


def _open_zones(now: Moment, area: str, state: int) -> list[str]:
    """Return the followed zones that stand open and would be watched, those on the way out left aside."""
    zones = now.programme.zones
    watched = (name for name in now.programme.followed if area in zones[name].areas and zones[name].contact)
    return [name for name in watched if zones[name].does[1 + state] not in ON_THE_WAY | QUIET and now[f"{name}.open"]]


def overrides(programme: Programme, condition: str, person: Person) -> bool:
    """A fob shows nothing, so what is in the way cannot be seen and taken into account: whoever has only that overrides nothing."""
    who = "never" if person.fob else programme.prevents[condition]
    return who == "user" or (who == "engineer" and person.engineer)


def _leave_out(now: Moment, area: str, state: int) -> None:
    """Inhibit the open zones of an area for the set period that begins."""
    if now.programme.prevents.get("open", "ignored") != "ignored":
        for name in _open_zones(now, area, state):
            now[f"{name}.inhibited"] = 1


def begin_exit(now: Moment, area: str, state: int) -> None:
    """The exit time begins; an area that was warning that it would set itself is being set."""
    _begin_period(now, area)
    if now.programme.areas[area].warns_s:
        now[f"{area}.warns"] = 0
        now.begin(f"{area}.warning-clock")
    now[f"{area}.part"] = state
    now[f"{area}.mode"] = EXIT
    now[f"{area}.door"] = NOT_USED
    now.begin(f"{area}.clock")
    now.say("exit-begins", area)
    served(now, area)


def _begin_period(now: Moment, area: str) -> None:
    if now.programme.told.trips and now.programme.told.trips_reset == "set":
        forget_trips(now, now.programme.zones_of(area))
        now.say("trips-forgotten", area)


def forget_trips(now: Moment, zones: Iterable[str]) -> None:
    """Row 21: the alarms counted are forgotten."""
    known, timed = fields(now.programme), forgets_when_quiet(now.programme)
    for name in zones:
        if f"{name}.trips" in known:
            now[f"{name}.trips"] = 0
        if name in timed:
            now.begin(f"{name}.quiet-clock")


def exit_ends(now: Moment, area: str, open_zone: str) -> bool:
    """Rows 3 and 4: exit or settling time is over. ``open_zone`` is one not followed that stands open on the way."""
    if open_zone:
        zone = now.programme.zones[open_zone]
        if zone.followed or not zone.contact or now.does(open_zone, area) not in ON_THE_WAY:
            return False
    if open_zone or in_the_way(now, area):
        exit_error(now, area)
    else:
        set_now(now, area)
    return True


def in_the_way(now: Moment, area: str) -> bool:
    """Return whether a followed zone on the way out stands open and is not left out."""
    for name in now.programme.followed:
        zone = now.programme.zones[name]
        if area in zone.areas and zone.contact and now.does(name, area) in ON_THE_WAY and now[f"{name}.open"]:
            return True
    return False


def exit_error(now: Moment, area: str) -> None:
    """Row 4: something on the way is open when exit is over. Entry with the sounder, or setting fails."""
    if now.programme.told.exit_error == "fails":
        now.say("setting-fails", area)
        leave(now, area)
        return
    now[f"{area}.mode"] = ENTRY
    now[f"{area}.door"] = NOT_USED
    now[f"{area}.starter"] = NOBODY
    now.begin(f"{area}.clock")
    now.say("exit-error", area)
    now.sound(area, EXIT_ERROR)
    served(now, area)


def set_now(now: Moment, area: str) -> None:
    """Row 3: an area is set; part of it where nobody went out and the programme says so (SIA CP-01 4.2.2.5)."""
    told = now.programme.told
    if told.unvacated == "part" and len(now.programme.states) > 1 and now[f"{area}.part"] == 0 and now[f"{area}.door"] == NOT_USED:
        now[f"{area}.part"] = 1
        now.say("nobody-left", area)
    now[f"{area}.mode"] = SET
    now[f"{area}.door"] = NOT_USED
    now.begin(f"{area}.clock")
    now.say("set", area)
    now.send("set", area)
    served(now, area)


def ends_by_act(now: Moment, area: str) -> bool:
    """Row 5: the final door shuts, or the lock is thrown. Set at once, or after the settling time."""
    if now[f"{area}.mode"] != EXIT or now[f"{area}.door"] == SETTLING or in_the_way(now, area):
        return False
    if now.programme.told.settle_s:
        now[f"{area}.door"] = SETTLING
        now.begin(f"{area}.clock")
        now.say("settling", area)
    else:
        now[f"{area}.door"] = USED
        set_now(now, area)
    return True


def unsets(now: Moment, area: str, person: Person) -> bool:
    """Row 6: somebody unsets an area."""
    if not person.right(area, "unset") or now[f"{area}.mode"] == UNSET:
        return False
    leave(now, area)
    now.say("unset", area)
    now.send("unset", area)
    return True


def leave(now: Moment, area: str) -> None:
    """An area is unset: what belonged to its set period is forgotten, for a zone of several areas with the last of them."""
    now[f"{area}.mode"] = UNSET
    now[f"{area}.part"] = 0
    now[f"{area}.door"] = NOT_USED
    now[f"{area}.starter"] = NOBODY
    now.begin(f"{area}.clock")
    known = fields(now.programme)
    for name in now.programme.followed:
        zone = now.programme.zones[name]
        if area not in zone.areas or not {f"{name}.trips", f"{name}.inhibited"} & known.keys():
            continue
        if any(now[f"{other}.mode"] != UNSET for other in zone.areas if other != area):
            continue
        if f"{name}.inhibited" in known:
            now[f"{name}.inhibited"] = 0
        if now.programme.told.trips_reset == "unset":
            forget_trips(now, [name])
    served(now, area)


def served(now: Moment, area: str) -> None:
    """Row 18, asked after every change of a served area: a shared area is set with the last of its areas, and unset with the first."""
    for lobby in now.programme.lobbies[area]:
        modes = [now[f"{each}.mode"] for each in now.programme.areas[lobby].serves]
        stands = now[f"{lobby}.mode"]
        if UNSET in modes and stands != UNSET:
            leave(now, lobby)
            now.say("unset", lobby)
            now.send("unset", lobby)
        elif stands == UNSET and all(mode in (SET, ENTRY) for mode in modes):
            _lobby_sets(now, lobby, now[f"{area}.part"])


def _lobby_sets(now: Moment, lobby: str, state: int) -> None:
    """A shared area sets by itself, in the set state of the area that came last. What is in the way is told, what stands open left out."""
    for name in conditions(now, lobby, state, ""):
        now.say("override", lobby, name)
        now.send("override", lobby)
    _leave_out(now, lobby, state)
    if now.programme.told.lobby_sets == "exit":
        begin_exit(now, lobby, state)
        return
    _begin_period(now, lobby)
    now[f"{lobby}.part"] = state
    now[f"{lobby}.mode"] = SET
    now.say("set", lobby)
    now.send("set", lobby)
    served(now, lobby)


def clears(now: Moment, area: str, person: Person | None) -> bool:
    """Row 17: an alarm that happened is cleared, unset, by whoever may, its cause gone. Nobody in person is the receiving centre."""
    if now[f"{area}.mode"] != UNSET or not now[f"{area}.memory"] or not _may_clear(now, now.programme.told.alarm_reset, person):
        return False
    if person and not (person.engineer or any(person.right(area, act) for act in ("set", "unset"))):
        return False
    if _cause_stands(now, {Response.ROUND_THE_CLOCK}, area):
        return False
    now[f"{area}.memory"] = 0
    now.say("cleared", area)
    return True


def clears_latched(now: Moment, condition: str, person: Person | None) -> bool:
    """Row 17 for a tamper or hold-up (EN 50131-1 Table 6: tamper at grades 3 and 4 needs the engineer)."""
    if not now[condition] or not _may_clear(now, now.programme.told.tamper_reset, person):
        return False
    cause = Response.TAMPER if condition == "tamper" else Response.HOLD_UP
    if _cause_stands(now, {cause}):
        return False
    now[condition] = 0
    now.say("cleared", "", condition)
    return True


def _may_clear(now: Moment, by: str, person: Person | None) -> bool:
    if person is None:
        return by == "remote" and now.programme.told.centre
    return not person.fob and (by == "user" or (by == "engineer" and person.engineer))


def _cause_stands(now: Moment, causes: set[Response], area: str = "") -> bool:
    """Return whether a followed contact that answers at any time, in this way, still stands open."""
    for name in now.programme.followed:
        zone = now.programme.zones[name]
        if zone.contact and zone.does[0] in causes & ANY_TIME and (not area or area in zone.areas) and now[f"{name}.open"]:
            return True
    return False
