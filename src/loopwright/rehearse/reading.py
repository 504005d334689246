"""A job's programme as the search and the sandbox take it, whole or a part of it."""

from __future__ import annotations

from dataclasses import replace

from loopwright.job.document import Job, User, Zone
from loopwright.job.document import Programme as Told
from loopwright.job.sheet import Kind
from loopwright.programme.response import ALSO_SAID, FULL, Response
from loopwright.rehearse.plan import USUAL_PREVENTION, USUAL_SOUNDS, AreaPlan, Choices, Column, NotCoveredError, Person, Programme, ZonePlan


def programme_of(job: Job, areas: tuple[str, ...] | None = None) -> Programme:
    """Return the programme of some areas, or of all, with every zone followed and everything remembered: what a sandbox steps through.

    Raises NotCoveredError where something that is read is not said; the text says what to enter.
    """
    chosen = tuple(job.areas) if areas is None else areas
    return Programme(
        areas={name: _area(job, name) for name in chosen},
        zones={name: zone_plan(job, zone, chosen) for name, zone in job.zones.items() if set(zone.areas) & set(chosen)},
        people=people_of(job),
        states=(FULL, *job.programme.part_sets),
        told=choices_of(job),
        tracks=frozenset({"conditions", "power"}),
        observers=frozenset({"report", "sound", "confirm"}),
    )


def spoken(job: Job) -> tuple[Job, tuple[str, ...]]:
    """Return a job without the zones of which a cell is empty or not a known response, and what is lacking of each."""
    zones, lacking = {}, []
    for name, zone in job.zones.items():
        try:
            column(job, zone)
        except NotCoveredError as reason:
            lacking.append(str(reason))
        else:
            zones[name] = zone
    return (replace(job, zones=zones), tuple(lacking)) if lacking else (job, ())


def _area(job: Job, name: str) -> AreaPlan:
    area = job.areas[name]
    if area.entry_s is None or area.exit_s is None:
        raise NotCoveredError(f"{area.name}: its entry time or exit time is not entered")
    if _circular(job, name):
        raise NotCoveredError(f"{area.name}: it is shared by an area that is shared by it")
    by_itself = area.set_at is not None and not area.common_to
    warns_s = area.warning_s or 0.0 if by_itself else 0.0
    return AreaPlan(
        name=area.name, entry_s=area.entry_s, exit_s=area.exit_s, serves=area.common_to, by_itself=by_itself, warns_s=warns_s
    )  # fmt: skip


def _circular(job: Job, name: str) -> bool:
    seen, waiting = set[str](), [*job.areas[name].common_to]
    while waiting:
        each = waiting.pop()
        if each == name:
            return True
        if each not in seen:
            seen.add(each)
            waiting += job.areas[each].common_to
    return False


def zone_plan(job: Job, zone: Zone, areas: tuple[str, ...]) -> ZonePlan:
    """Return one zone as it lies in some areas. Raises NotCoveredError for a cell that is empty or not a known response."""
    return ZonePlan(
        areas=tuple(each for each in zone.areas if each in areas),
        does=column(job, zone),
        text=f"zone {zone.number} ({zone.text})",
        contact=stays_open(job, zone),
    )


def column(job: Job, zone: Zone) -> Column:
    """Return what a zone does in every state. Raises NotCoveredError for a cell that is empty or not a known response."""
    found = []
    for state in ("unset", FULL, *job.programme.part_sets):
        word = zone.response.get(state)
        if word is None:
            raise NotCoveredError(f"zone {zone.number} ({zone.text}) says nothing for {state}")
        known = ALSO_SAID.get(word, word)
        if known not in set(Response):
            raise NotCoveredError(
                f"zone {zone.number} ({zone.text}), {state}: '{word}' is not a response known here ({', '.join(Response)})"
            )
        found.append(Response(known))
    return tuple(found)


def stays_open(job: Job, zone: Zone) -> bool:
    """Return whether a zone stays open: contacts do, a movement detector gives a pulse (choice C-1 of docs/programme.md)."""
    hops = job.circuits[zone.circuit].path if zone.circuit is not None else ()
    return not any(hop.device and job.sheet_of(hop.device).kind is Kind.DETECTOR for hop in hops)


def people_of(job: Job) -> tuple[Person, ...]:
    """Return everybody with a code, again under duress who has a code for it, and again by fob who has one."""
    found = []
    roles = [user.role for user in job.users.values()]
    for name, user in job.users.items():
        words = f"the {user.role}" if roles.count(user.role) == 1 else f"{user.role} {name}"
        found.append(_person(user, words))
        if user.duress:
            found.append(_person(user, f"{words} under duress", duress=True))
        if user.fob:
            found.append(_person(user, f"{words} by fob", fob=True))
    return tuple(found)


def _person(user: User, name: str, *, duress: bool = False, fob: bool = False) -> Person:
    rights = tuple((area, right) for area, right in user.areas.items() if right != "none")
    return Person(name=name, may=rights, engineer=user.access == "engineer" and not fob, duress=duress, fob=fob)


def choices_of(job: Job) -> Choices:
    """Return the choices of a job's programme; where it says nothing, what is usual."""
    told = job.programme
    return Choices(
        set_by=told.set_by,
        settle_s=told.settle_s or 0.0,
        exit_restart=told.exit_restart,
        exit_error=told.exit_error,
        unvacated=told.unvacated,
        exit_alarm=told.exit_alarm,
        trips=told.lock_out_trips,
        trips_reset=told.lock_out_reset,
        trips_quiet_s=told.lock_out_quiet_s or 0.0,
        alarm_reset=told.alarm_reset,
        tamper_reset=told.tamper_reset,
        prevents=_prevention(told),
        sounds=tuple((USUAL_SOUNDS | {key: value for key, value in told.sounds.items() if key in USUAL_SOUNDS}).items()),
        shared_zones=told.shared_zones,
        lobby_sets=told.lobby_sets,
        blind_s=told.blind_s or 0.0,
        after_power=_after_power(job),
        sounder_s=told.sounder_s or 0.0,
        sounder_anew=told.sounder_anew,
        soundings=told.soundings,
        abort_s=told.abort_s or 0.0,
        cancel_s=told.cancel_s,
        confirm_s=told.confirm_s or 0.0,
        confirm_in_entry=told.confirm_in_entry,
        unconfirmed=told.unconfirmed,
        entry_alarm_s=told.entry_alarm_s or 0.0,
        reports=reports_of(job),
        centre=job.signalling.centre is not None,
    )


def _after_power(job: Job) -> str:
    """Return how the control unit comes back, by its data sheet; as it was where no sheet says."""
    sheets = [job.sheet_of(name) for name in job.equipment]
    return next((sheet.after_power for sheet in sheets if sheet.kind is Kind.CONTROL and sheet.after_power), "as-before")


def _prevention(told: Told) -> tuple[tuple[str, str], ...]:
    usual = dict(USUAL_PREVENTION)
    if told.override_open:
        usual["open"] = "user"
    return tuple((usual | {key: value for key, value in told.prevents.items() if key in usual}).items())


def reports_of(job: Job) -> frozenset[str]:
    """Return the events that are sent; ``set-and-unset`` stands for both."""
    sent = {event for event in job.signalling.reports if job.signalling.sends(event)}
    return frozenset(sent | ({"set", "unset"} if "set-and-unset" in sent else set()))
