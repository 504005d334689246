"""What the search is told: areas, zones, people and the choices in which trade practice differs, taken from a job or from part of one."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from loopwright.programme.heard import SOUNDS, told_apart
from loopwright.programme.response import FULL, QUIET, Response

Column = tuple[Response, ...]
"""What a zone does: unset first, then each set state in the order of the programme."""

CONDITIONS = ("open", "memory", "tamper", "hold-up", "path", "mains", "battery")
"""What may stand in the way of setting: an open zone, an alarm not cleared, and what is latched or present in the system."""
Entitled = Literal["ignored", "user", "engineer", "never"]
USUAL_PREVENTION: dict[str, Entitled] = {
    "open": "never", "memory": "never", "tamper": "never", "hold-up": "never", "path": "user", "mains": "user", "battery": "user",
}  # fmt: skip
"""Where a programme says nothing (common practice, no source; EN 50131-1 Tables 4 and 5 have the requirement by grade)."""
USUAL_SOUNDS = {key: sound.usual for key, sound in SOUNDS.items()}
"""Likewise."""


@dataclass(frozen=True, kw_only=True, slots=True)
class AreaPlan:
    """One area. ``serves`` names the areas it is shared by; a stand-in is unset or set and has nothing else to it.

    One that sets ``by_itself`` does so whenever its time comes, after a warning of ``warns_s``.
    """

    name: str
    entry_s: float = 30.0
    exit_s: float = 60.0
    serves: tuple[str, ...] = ()
    stand_in: bool = False
    by_itself: bool = False
    warns_s: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class ZonePlan:
    """One zone. ``contact`` stays open, anything else gives a pulse; of a zone that is not ``followed`` nothing is remembered."""

    areas: tuple[str, ...]
    does: Column
    text: str = ""
    contact: bool = True
    followed: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class Person:
    """Somebody with a code, or with a fob. ``may`` holds for each area what they may do there; under duress they use another code."""

    name: str
    may: tuple[tuple[str, str], ...] = ()
    engineer: bool = False
    duress: bool = False
    fob: bool = False

    def right(self, area: str, act: str) -> bool:
        """Return whether they may set or unset an area."""
        return dict(self.may).get(area, "none") in (act, "both")


@dataclass(frozen=True, kw_only=True, slots=True)
class Choices:
    """Where trade practice differs. The fields are those of ``programme`` in the job document; ``reports`` is what is sent.

    ``after_power`` stands on the control unit's data sheet: as before, or unset, when all power was lost and comes back.
    """

    set_by: str = "timed"
    settle_s: float = 0.0
    exit_restart: bool = False
    exit_error: str = "entry"
    unvacated: str = FULL
    exit_alarm: str = "alarm"
    trips: int = 0
    trips_reset: str = "unset"
    trips_quiet_s: float = 0.0
    alarm_reset: str = "user"
    tamper_reset: str = "user"
    prevents: tuple[tuple[str, str], ...] = tuple(USUAL_PREVENTION.items())
    sounds: tuple[tuple[str, str], ...] = tuple(USUAL_SOUNDS.items())
    shared_zones: str = "each"
    lobby_sets: str = "exit"
    blind_s: float = 0.0
    after_power: str = "as-before"
    sounder_s: float = 0.0
    sounder_anew: bool = True
    soundings: int = 0
    abort_s: float = 0.0
    cancel_s: float | None = None
    confirm_s: float = 0.0
    confirm_in_entry: bool = False
    unconfirmed: str = "watched"
    entry_alarm_s: float = 0.0
    reports: frozenset[str] = frozenset()
    centre: bool = True


@dataclass(frozen=True, kw_only=True, slots=True)
class Walk:
    """A lawful walk: in from ``door`` to the keypad of ``area``, or ``out`` again, past zones, taking at most ``lasts_s``.

    It is tried in the first ``states`` set states: full only, or all of them.
    """

    area: str
    door: str
    past: tuple[str, ...] = ()
    lasts_s: float = 0.0
    out: bool = False
    states: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Programme:
    """All of what a search or a sandbox steps through; areas and zones by their names in the job.

    ``tracks`` says what of the system is remembered: ``conditions`` (tamper, hold-up, path, mains, battery) and ``power``.
    ``finest_s`` is the least time that is told apart where the programme's own times would do with a longer one (0: they do).
    ``observers`` says which of ``report``, ``sound`` and ``confirm`` go along, in all areas or in those ``observed``. With a
    ``walk``, only the walker does anything. ``left`` are the zones an unconfirmed alarm may leave inhibited; in the areas ``judged``
    they lie in, confirmation is no observer: what a zone does depends on it. Where sounding is told ``apart``, it is remembered
    whether it sounds outside or inside only.
    """

    areas: dict[str, AreaPlan]
    zones: dict[str, ZonePlan]
    people: tuple[Person, ...] = ()
    states: tuple[str, ...] = (FULL,)
    told: Choices = Choices()
    tracks: frozenset[str] = frozenset()
    observers: frozenset[str] = frozenset()
    observed: frozenset[str] | None = None
    walk: Walk | None = None
    finest_s: float = 0.0
    lobbies: dict[str, tuple[str, ...]] = field(init=False, repr=False, compare=False)
    prevents: dict[str, str] = field(init=False, repr=False, compare=False)
    sounds: dict[str, str] = field(init=False, repr=False, compare=False)
    apart: bool = field(init=False, repr=False, compare=False)
    followed: tuple[str, ...] = field(init=False, repr=False, compare=False)
    left: tuple[str, ...] = field(init=False, repr=False, compare=False)
    judged: tuple[str, ...] = field(init=False, repr=False, compare=False)
    sizes: dict[str, int] = field(init=False, repr=False, compare=False, default_factory=dict)

    def __post_init__(self) -> None:
        """Work out what is looked up at every step."""
        served = {name: tuple(lobby for lobby, plan in self.areas.items() if name in plan.serves) for name in self.areas}
        object.__setattr__(self, "lobbies", served)
        object.__setattr__(self, "prevents", dict(self.told.prevents))
        object.__setattr__(self, "sounds", dict(self.told.sounds))
        object.__setattr__(self, "apart", told_apart(self.sounds, anew=self.told.sounder_anew))
        object.__setattr__(self, "followed", tuple(name for name, zone in self.zones.items() if zone.followed))
        left = tuple(name for name, zone in self.zones.items() if may_be_left(self.told, zone))
        object.__setattr__(self, "left", left)
        judged = {area for name in left for area in self.zones[name].areas}
        object.__setattr__(self, "judged", tuple(area for area in self.areas if area in judged))

    def __hash__(self) -> int:
        """Two programmes that say the same are searched once."""
        return hash((tuple(self.areas.items()), tuple(self.zones.items()), self.people, self.told, self.observers, self.observed))

    def observes(self, area: str) -> bool:
        """Return whether the observers look at an area."""
        return not self.areas[area].stand_in and (self.observed is None or area in self.observed)

    def confirms(self, area: str) -> bool:
        """Return whether it is remembered what has been confirmed in an area: because it is looked at, or because zones depend on it."""
        return area in self.judged or ("confirm" in self.observers and self.observes(area))

    def zones_of(self, area: str) -> list[str]:
        """Return the zones that lie in an area."""
        return [name for name, zone in self.zones.items() if area in zone.areas]


def may_be_left(told: Choices, zone: ZonePlan) -> bool:
    """Return whether an alarm that nothing confirms may leave a zone inhibited: one that is followed, stays open, and raises alarms."""
    if told.unconfirmed != "inhibited" or not told.confirm_s or not (zone.followed and zone.contact):
        return False
    return any(does not in QUIET | {Response.TAMPER, Response.HOLD_UP} for does in zone.does[1:])


class NotCoveredError(Exception):
    """This cannot be searched; the text says why and what to enter."""
