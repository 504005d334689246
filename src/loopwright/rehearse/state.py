"""A state, an event and what is given out: the words in which a programme is stepped through."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import NamedTuple

from loopwright.programme.response import ON_THE_WAY, QUIET
from loopwright.rehearse.plan import Programme

UNSET, EXIT, SET, ENTRY = range(4)
MODES = ("unset", "exit", "set", "entry")
NOT_USED, USED, USED_AGAIN, SETTLING = range(4)
NOBODY, ANOTHER = 0, 1
"""Who started entry, or gave the first alarm: nobody, a zone not told apart; from 2 on the zones that are, in their order."""
ON, GONE, BLIND = range(3)
QUIET_REPORT, WINDOW, SENT, CLOSED, HELD, WAITS = range(6)
SILENT, SOUNDING, OUTSIDE = range(3)
"""Where sounding is told apart, it sounds inside only, or outside."""
UNCONFIRMED, CONFIRMED, NOT_ASKED, FIRST = 0, 1, 2, 3
AT_KEYPAD, WALKING, ARRIVED = range(3)

State = Mapping[str, int]
"""A small whole number by field: ``house.mode``, ``z01.open``, ``mains``. :func:`fields` names them all."""


class Event(NamedTuple):
    """What happens: ``kind``; ``place``, an area, zone or condition; ``who`` does it; ``state``, the number of the set state asked for.

    ``over`` names what is in the way of setting that is not remembered (an open zone that is not followed, a fault).
    """

    kind: str
    place: str = ""
    who: str = ""
    state: int = 0
    over: str = ""


class Output(NamedTuple):
    """What is seen, heard or sent: ``word``; ``place``, the area; ``about``, the zone, condition or event it is about."""

    word: str
    place: str = ""
    about: str = ""


class Effect(NamedTuple):
    """What becomes of an event: the fields that change, what is given out, the clock that had to be at its end, the clocks begun anew."""

    changes: dict[str, int]
    outputs: tuple[Output, ...] = ()
    due: str = ""
    begun: tuple[str, ...] = ()


def fields(programme: Programme) -> dict[str, int]:
    """Return every field that is remembered, with how many values it can take. Clocks are not among them (:func:`clocks`)."""
    if not programme.sizes:
        programme.sizes.update(_fields(programme))
    return programme.sizes


def _fields(programme: Programme) -> dict[str, int]:
    found = {f"{name}.mode": 4 for name in programme.areas}
    starters = 2 + len(known(programme))
    for name, area in programme.areas.items():
        found[f"{name}.part"] = len(programme.states)
        if not area.stand_in:
            found |= {f"{name}.door": 4, f"{name}.memory": 2, f"{name}.starter": starters}
            found |= {f"{name}.warns": 2} if area.warns_s else {}
    for name in programme.followed:
        found |= _of_zone(programme, name)
    if "conditions" in programme.tracks:
        found |= dict.fromkeys(("tamper", "hold-up", "path", "mains", "battery"), 2)
    if "power" in programme.tracks:
        found["power"] = 3
    for name in programme.areas:
        if programme.observes(name):
            sizes = {"report": 6, "sound": 3 if programme.apart else 2}
            found |= {f"{name}.{each}": size for each, size in sizes.items() if each in programme.observers}
            found |= {f"{name}.told": 2} if remembers_told(programme) else {}
            found |= {f"{name}.sounded": programme.told.soundings + 1} if counts_soundings(programme) else {}
        found |= {f"{name}.confirm": FIRST + starters - 1} if programme.confirms(name) else {}
    if programme.walk:
        found["walk"] = 3
    return found


def counts_soundings(programme: Programme) -> bool:
    """Return whether it is counted how often the sounders were started: there is a bound on it."""
    return "sound" in programme.observers and programme.told.soundings > 0


def remembers_told(programme: Programme) -> bool:
    """Return whether it matters that something was sent since the alarms counted were forgotten: they outlast the set period."""
    return "report" in programme.observers and bool(programme.told.trips) and programme.told.trips_reset != "unset"


def _of_zone(programme: Programme, name: str) -> dict[str, int]:
    zone, found = programme.zones[name], {}
    if zone.contact:
        found[f"{name}.open"] = 2
    if programme.told.trips and not QUIET.issuperset(zone.does):
        found[f"{name}.trips"] = programme.told.trips + 1
    if zone.contact and may_be_inhibited(programme, name):
        found[f"{name}.inhibited"] = 2
    return found


def may_be_inhibited(programme: Programme, zone: str) -> bool:
    """Return whether a followed zone can be inhibited: by an override (somebody may, or a shared area sets by itself) or after an alarm."""
    plan = programme.zones[zone]
    if zone in programme.left:
        return True
    if not plan.contact or not any(does not in QUIET | ON_THE_WAY for does in plan.does[1:]):
        return False
    who = programme.prevents.get("open", "ignored")
    return who in ("user", "engineer") or (who == "never" and any(programme.areas[area].serves for area in plan.areas))


def forgets_when_quiet(programme: Programme) -> list[str]:
    """Return the followed zones whose alarms are forgotten when they were quiet for a time."""
    if not programme.told.trips_quiet_s:
        return []
    return [name for name in programme.followed if f"{name}.trips" in fields(programme)]


def known(programme: Programme) -> tuple[str, ...]:
    """Return the zones that are told apart as the one that started entry: the followed, and all where confirmation asks for another."""
    return tuple(programme.zones) if any(map(programme.confirms, programme.areas)) else programme.followed


def number_of(programme: Programme, zone: str) -> int:
    """Return a zone as the number that stands for it where it started entry."""
    apart = known(programme)
    return 2 + apart.index(zone) if zone in apart else ANOTHER


def begin(programme: Programme) -> dict[str, int]:
    """Return the state everything starts in: unset, shut, quiet."""
    return dict.fromkeys((*fields(programme), *clocks(programme)), 0)


def clocks(programme: Programme) -> list[str]:
    """Return the clocks there are: one for exit or entry of each area, one for each observer, quiet zones, power coming back, the walk."""
    areas = [name for name, area in programme.areas.items() if not area.stand_in]
    found = [f"{name}.clock" for name in areas]
    found += [f"{name}.warning-clock" for name in areas if programme.areas[name].warns_s]
    watched = [name for name in areas if programme.observes(name)]
    found += [f"{name}.{each}-clock" for name in watched for each in ("report", "sound") if each in programme.observers]
    found += [f"{name}.confirm-clock" for name in areas if programme.confirms(name)]
    found += [f"{name}.quiet-clock" for name in forgets_when_quiet(programme)]
    found += ["power-clock"] if "power" in programme.tracks else []
    return found + (["walk-clock"] if programme.walk else [])


def running(programme: Programme, read: Callable[[str], int]) -> dict[str, float]:
    """Return each clock that runs in a state, with the time [s] it runs for. Without power none does."""
    if "power" in programme.tracks and read("power") == GONE:
        return {}
    found, told = {}, programme.told
    for name, area in programme.areas.items():
        if area.stand_in:
            continue
        mode = read(f"{name}.mode")
        if mode == ENTRY:
            found[f"{name}.clock"] = area.entry_s
        elif mode == EXIT and (told.set_by == "timed" or read(f"{name}.door") == SETTLING):
            found[f"{name}.clock"] = area.exit_s if told.set_by == "timed" else told.settle_s
        if area.warns_s and read(f"{name}.warns"):
            found[f"{name}.warning-clock"] = area.warns_s
        found |= _observing(programme, name, read) if programme.observes(name) else {}
        if programme.confirms(name) and read(f"{name}.confirm") >= FIRST:
            found[f"{name}.confirm-clock"] = told.confirm_s
    found |= {f"{name}.quiet-clock": told.trips_quiet_s for name in forgets_when_quiet(programme) if read(f"{name}.trips")}
    if "power" in programme.tracks and read("power") == BLIND:
        found["power-clock"] = told.blind_s
    if programme.walk and read("walk") == WALKING:
        found["walk-clock"] = programme.walk.lasts_s
    return found


def _observing(programme: Programme, area: str, read: Callable[[str], int]) -> dict[str, float]:
    found, told = {}, programme.told
    if "report" in programme.observers:
        lasts_s = {WINDOW: told.abort_s, SENT: told.cancel_s, HELD: told.entry_alarm_s}.get(read(f"{area}.report"))
        if lasts_s is not None:
            found[f"{area}.report-clock"] = lasts_s
    if "sound" in programme.observers and read(f"{area}.sound"):
        found[f"{area}.sound-clock"] = told.sounder_s
    return found


def tick_s(programme: Programme) -> float:
    """Return the tick: the longest time [s], to a tenth of a second, all times of the programme are whole multiples of.

    Whole multiples of it are enough for what can be reached (Henzinger, Manna and Pnueli 1992, "What good are digital clocks?").
    """
    told, times_s = programme.told, [programme.finest_s]
    for area in programme.areas.values():
        if not area.stand_in:
            times_s += [area.entry_s, area.exit_s if told.set_by == "timed" else told.settle_s, area.warns_s]
    if "report" in programme.observers:
        times_s += [told.abort_s, told.cancel_s or 0.0, told.entry_alarm_s]
    times_s += [told.sounder_s] if "sound" in programme.observers else []
    times_s += [told.confirm_s] if any(map(programme.confirms, programme.areas)) else []
    times_s += [told.trips_quiet_s] if forgets_when_quiet(programme) else []
    times_s += [told.blind_s] if "power" in programme.tracks else []
    times_s += [programme.walk.lasts_s] if programme.walk else []
    return math.gcd(*(round(10 * time_s) for time_s in times_s)) / 10 or 1.0
