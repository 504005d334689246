"""What a control unit does in one area, one event at a time. The rows are those of docs/programme.md."""

from __future__ import annotations

from typing import NamedTuple

from loopwright.rehearse.plan import ON_THE_WAY, AreaPlan, Follows, Response

UNSET, EXIT, SET, ENTRY = range(4)
NOBODY, FOLLOWED, ANOTHER = range(3)


class State(NamedTuple):
    """One area and the zone that is followed. Every field is a small whole number, so that a state packs into one.

    ``mode`` unset, exit, set, entry; ``part`` which set state; ``clock`` ticks of exit or entry; ``door`` uses of the final door during
    exit; ``memory`` an alarm not cleared; ``starter`` who started entry; ``open``, ``trips``, ``inhibited`` of the zone that is followed.
    """

    mode: int = UNSET
    part: int = 0
    clock: int = 0
    door: int = 0
    memory: int = 0
    starter: int = NOBODY
    open: int = 0
    trips: int = 0
    inhibited: int = 0


class Event(NamedTuple):
    """What happens: ``kind``, and which set state or which of the other zones it is about."""

    kind: str
    which: int = 0


class Effect(NamedTuple):
    """What becomes of an event: the fields that change, and what is seen, heard and sent."""

    changes: dict[str, int]
    outputs: tuple[str, ...] = ()


LEAVE = {"mode": UNSET, "part": 0, "clock": 0, "door": 0, "starter": NOBODY, "trips": 0, "inhibited": 0}


def events(plan: AreaPlan) -> tuple[Event, ...]:
    """Return every event that can happen in a plan."""
    found = [Event("set", part) for part in range(len(plan.states))] if plan.may_set else []
    found += [Event("unset")] if plan.may_unset else []
    found += [Event("clear"), Event("tick"), Event("end")]
    found += [Event("open"), Event("shut")] if plan.zone.contact else [Event("move")]
    found += [Event("other", which) for which in range(len(plan.rest))]
    found += [Event("other-open", which) for which, each in enumerate(plan.rest) if each.contact and ON_THE_WAY & set(each.does)]
    return (*found, *(Event("other-shut", which) for which, each in enumerate(plan.rest) if plan.final_door and each.contact))


def step(plan: AreaPlan, state: State, event: Event) -> tuple[State, tuple[str, ...]] | None:
    """Return the state after an event and what it gives out, or None where the event cannot happen."""
    effect = effect_of(plan, state, event)
    return None if effect is None else (state._replace(**effect.changes), effect.outputs)


def effect_of(plan: AreaPlan, state: State, event: Event) -> Effect | None:
    """Return what an event does, reading no more of the state than it has to."""
    match event.kind:
        case "set":
            return _set(plan, state, event.which)
        case "unset":
            return Effect(LEAVE, ("unset",)) if state.mode != UNSET else None
        case "clear":
            return Effect({"memory": 0}, ("cleared",)) if state.mode == UNSET and state.memory else None
        case "tick":
            return _tick(plan, state)
        case "end":
            return _end(plan, state)
        case "other-open":
            return _exit_error(plan) if _exit_over(plan, state) and _does(plan.rest[event.which], state) in ON_THE_WAY else None
        case "other-shut":
            door = plan.rest[event.which]
            ready = state.mode == EXIT and _does(door, state) is Response.FINAL_EXIT
            return _set_now(plan, state) if ready and not _in_the_way(plan, state) else None
        case "shut":
            return _shut(plan, state)
        case "open":
            return _activated(plan, state, plan.zone, FOLLOWED) if not state.open else None
        case "move":
            return _activated(plan, state, plan.zone, FOLLOWED)
    return _activated(plan, state, plan.rest[event.which], ANOTHER)


def _does(zone: Follows, state: State) -> Response:
    return zone.does[0] if state.mode == UNSET else zone.does[1 + state.part]


def _set(plan: AreaPlan, state: State, part: int) -> Effect | None:
    """Rows 1 and 2: a user sets; an open zone that is not on the way keeps it from being set, or is inhibited and told."""
    if state.mode != UNSET or state.memory:
        return None
    begin = {"mode": EXIT, "part": part, "clock": 0, "door": 0}
    does = plan.zone.does[1 + part]
    if not plan.zone.contact or does in ON_THE_WAY | {Response.IGNORED, Response.CHIME, Response.SOAK_TEST} or not state.open:
        return Effect(begin, ("exit-begins",))
    return Effect(begin | {"inhibited": 1}, ("exit-begins", "override")) if plan.override else None


def _tick(plan: AreaPlan, state: State) -> Effect | None:
    if state.mode not in (EXIT, ENTRY) or (state.mode == EXIT and plan.final_door):
        return None
    return Effect({"clock": state.clock + 1}) if state.clock < (plan.exit if state.mode == EXIT else plan.entry) else None


def _exit_over(plan: AreaPlan, state: State) -> bool:
    return state.mode == EXIT and not plan.final_door and state.clock == plan.exit


def _in_the_way(plan: AreaPlan, state: State) -> bool:
    return plan.zone.contact and _does(plan.zone, state) in ON_THE_WAY and bool(state.open)


def _end(plan: AreaPlan, state: State) -> Effect | None:
    """Rows 3, 4 and 10: exit or entry time is over."""
    if _exit_over(plan, state):
        return _exit_error(plan) if _in_the_way(plan, state) else _set_now(plan, state)
    if state.mode != ENTRY or state.clock != plan.entry:
        return None
    changes = {"mode": SET, "clock": 0, "starter": NOBODY, "memory": 1}
    if state.starter == NOBODY:
        return Effect(changes, ("alarm", "exit-error-report"))
    if state.starter == FOLLOWED and plan.trips:
        changes["trips"] = min(state.trips + 1, plan.trips)
    return Effect(changes, ("alarm",))


def _exit_error(plan: AreaPlan) -> Effect:
    if plan.exit_fails:
        return Effect(LEAVE, ("setting-fails",))
    return Effect({"mode": ENTRY, "clock": 0, "door": 0, "starter": NOBODY}, ("exit-error", "sounder"))


def _set_now(plan: AreaPlan, state: State) -> Effect:
    part = 1 if plan.falls_to_part and state.part == 0 and state.door == 0 else state.part
    return Effect({"mode": SET, "part": part, "clock": 0, "door": 0}, ("set",))


def _shut(plan: AreaPlan, state: State) -> Effect | None:
    """Row 5 among others: a final door that shuts ends the exit where that is how it is set."""
    if not state.open:
        return None
    if plan.final_door and state.mode == EXIT and _does(plan.zone, state) is Response.FINAL_EXIT:
        after = _set_now(plan, state)
        return Effect(after.changes | {"open": 0}, after.outputs)
    return Effect({"open": 0})


def _activated(plan: AreaPlan, state: State, zone: Follows, who: int) -> Effect:
    """Rows 7 and 8: a zone is activated. What is followed is left open where it is a contact."""
    opened = {"open": 1} if who == FOLLOWED and zone.contact else {}
    does = _does(zone, state)
    if does is Response.HOLD_UP:
        return Effect(opened, ("hold-up",))
    if does in (Response.IGNORED, Response.SOAK_TEST):
        return Effect(opened, ("soak-test",) if does is Response.SOAK_TEST else ())
    if does is Response.CHIME:
        return Effect(opened, ("chime",) if state.mode == UNSET else ())
    quiet = _quiet(plan, state) if who == FOLLOWED and state.mode != UNSET else ""
    if quiet:
        return Effect(opened, (quiet,))
    if does in (Response.ROUND_THE_CLOCK, Response.TAMPER):
        return _alarm(plan, state, who, opened)
    if state.mode == UNSET:
        return Effect(opened)
    if state.mode == EXIT:
        return _during_exit(plan, state, does, who, opened)
    if does is Response.FINAL_EXIT and state.mode == SET:
        return Effect(opened | {"mode": ENTRY, "clock": 0, "starter": who}, ("entry",))
    return Effect(opened, ("tolerated",)) if does in ON_THE_WAY and state.mode == ENTRY else _alarm(plan, state, who, opened)


def _during_exit(plan: AreaPlan, state: State, does: Response, who: int, opened: dict[str, int]) -> Effect:
    if does is Response.FINAL_EXIT:
        uses = min(state.door + 1, 2)
        again = {"clock": 0} if plan.exit_restart and state.door == 1 else {}
        return Effect(opened | {"door": uses} | again, ("tolerated",))
    if does is Response.ENTRY_ROUTE:
        return Effect(opened, ("tolerated",))
    return Effect(opened | LEAVE, ("setting-stops",)) if plan.exit_stops else _alarm(plan, state, who, opened)


def _quiet(plan: AreaPlan, state: State) -> str:
    if state.inhibited:
        return "inhibited"
    return "locked-out" if plan.trips and state.trips >= plan.trips else ""


def _alarm(plan: AreaPlan, state: State, who: int, opened: dict[str, int]) -> Effect:
    counts = who == FOLLOWED and plan.trips and state.mode != UNSET
    return Effect(opened | {"memory": 1} | ({"trips": state.trips + 1} if counts else {}), ("alarm", "sounder"))
