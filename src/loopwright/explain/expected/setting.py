"""It will not set: everything that can keep an area from being set, which of it applies now, and who may do something about it.

What the document and the situation tell is answered yes or no; the rest is asked, cheapest question first. Who may set in spite of a
condition depends on the security grade: from memory, the standard's tables were not seen whole, and every answer says so.
"""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files

from loopwright.explain.expected.expect import Expectation, Shown
from loopwright.explain.expected.trouble import TroubleKind
from loopwright.job.document import Job
from loopwright.job.labels import row_words

FULL = "full"
QUIET_RESPONSES = frozenset({"ignored", "final-exit", "entry-route"})
"""Responses that do not keep an area from being set: left out, or walked through on the way out (common practice, no source)."""
HIGH_GRADES = ("en-grade-3", "en-grade-4")


class Hindrance(StrEnum):
    """What can keep an area from being set."""

    RIGHT = "right"
    COMMON_AREA = "common-area"
    ZONE_OPEN = "zone-open"
    MEMORY = "memory"
    TAMPER = "tamper"
    HOLD_UP = "hold-up"
    SERVICE_MODE = "service-mode"
    PATH = "path"
    MAINS = "mains"
    BATTERY = "battery"
    FAULT = "fault"
    EXIT = "exit"
    TIME = "time"


class Applies(StrEnum):
    """Whether a hindrance applies now, or has to be asked."""

    YES = "yes"
    NO = "no"
    ASK = "ask"


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """One thing that can keep the area from being set.

    ``override_by`` may set in spite of it, ``clear_by`` may clear it once its cause is gone: user, service, remote. ``source`` is a key of
    the register for both.
    """

    hindrance: Hindrance
    applies: Applies
    sentence: str
    check: str
    log: str
    override_by: tuple[str, ...]
    clear_by: tuple[str, ...]
    source: str


_BY_TROUBLE: Mapping[TroubleKind, Hindrance] = {
    TroubleKind.ZONE_OPEN: Hindrance.ZONE_OPEN,
    TroubleKind.ZONE_UNCERTAIN: Hindrance.ZONE_OPEN,
    TroubleKind.WARMING_UP: Hindrance.ZONE_OPEN,
    TroubleKind.ZONE_SHORTED: Hindrance.TAMPER,
    TroubleKind.ZONE_TAMPER: Hindrance.TAMPER,
    TroubleKind.LID_OPEN: Hindrance.TAMPER,
    TroubleKind.ZONE_FAULT: Hindrance.FAULT,
    TroubleKind.PATH: Hindrance.PATH,
    TroubleKind.REPORT: Hindrance.PATH,
    TroubleKind.MAINS_MISSING: Hindrance.MAINS,
    TroubleKind.BATTERY_MISSING: Hindrance.BATTERY,
    TroubleKind.BATTERY_LOW: Hindrance.BATTERY,
    TroubleKind.OLD_EVENTS: Hindrance.MEMORY,
    TroubleKind.SERVICE_MODE: Hindrance.SERVICE_MODE,
    TroubleKind.CLOCK_NOT_SET: Hindrance.TIME,
    TroubleKind.MODULE_MISSING: Hindrance.FAULT,
    TroubleKind.MODULE_UNKNOWN: Hindrance.FAULT,
    TroubleKind.SOUNDER_CIRCUIT: Hindrance.FAULT,
    TroubleKind.OUTPUT_OVERLOADED: Hindrance.FAULT,
}
_TOLD = frozenset({Hindrance.RIGHT, Hindrance.COMMON_AREA, Hindrance.SERVICE_MODE})
"""What the document and the situation answer for good; everything else may be so without their knowing."""


def wont_set(
    job: Job,
    area: str,
    expectation: Expectation,
    *,
    mode: str = FULL,
    user: str | None = None,
    open_zones: Collection[str] = (),
    shown: Collection[Shown] = (),
    denied: Collection[Hindrance] = (),
) -> tuple[Cause, ...]:
    """Return every cause that can keep ``area`` from being set in ``mode`` by ``user``: those that apply first, then what to ask.

    ``open_zones`` are zones somebody sees open, ``shown`` the troubles a keypad shows, ``denied`` what was asked and is not so. Raises
    KeyError for an area, a mode, a user or a zone that the job has not.
    """
    _known(job, area, mode, user, open_zones)
    told = _told(job, area, mode, user, expectation, open_zones, shown)
    high = job.region.ruleset in HIGH_GRADES
    settled = {*denied, *_TOLD} - ({Hindrance.RIGHT} if user is None and Hindrance.RIGHT not in denied else set())
    causes = [_cause(hindrance, told.get(hindrance, []), high=high, settled=hindrance in settled) for hindrance in Hindrance]
    order = {Applies.YES: 0, Applies.ASK: 1, Applies.NO: 2}
    return tuple(sorted(causes, key=lambda cause: order[cause.applies]))


def _known(job: Job, area: str, mode: str, user: str | None, open_zones: Collection[str]) -> None:
    """Raise KeyError for the first name the job has not."""
    wanted = ((area, job.areas), (mode, (FULL, *job.programme.part_sets)), *((zone, job.zones) for zone in open_zones))
    for name, names in (*wanted, *(((user, job.users),) if user is not None else ())):
        if name not in names:
            raise KeyError(name)


def _told(
    job: Job,
    area: str,
    mode: str,
    user: str | None,
    expectation: Expectation,
    open_zones: Collection[str],
    shown: Collection[Shown],
) -> dict[Hindrance, list[str]]:
    """Return the sentences of what is known to apply, by hindrance."""
    told: dict[Hindrance, list[str]] = {}
    for hindrance, sentence in (
        *_rights(job, area, user),
        *_zones(job, area, mode, open_zones),
        *_troubles(job, area, mode, expectation, shown),
    ):
        told.setdefault(hindrance, []).append(sentence)
    return told


def _rights(job: Job, area: str, user: str | None) -> Iterator[tuple[Hindrance, str]]:
    served = [job.areas[name].name for name in job.areas[area].common_to]
    if served:
        yield Hindrance.COMMON_AREA, f"{job.areas[area].name} is shared by {' and '.join(served)} and is set with the last of them."
    elif user is not None and job.users[user].areas.get(area, "none") not in ("set", "both"):
        yield Hindrance.RIGHT, f"{user} has no right to set {job.areas[area].name}."


def _zones(job: Job, area: str, mode: str, open_zones: Collection[str]) -> Iterator[tuple[Hindrance, str]]:
    for name in open_zones:
        zone = job.zones[name]
        if area in zone.areas and zone.response.get(mode, "immediate") not in QUIET_RESPONSES:
            yield Hindrance.ZONE_OPEN, f"Zone {zone.number} ({zone.text}) is open."


def _troubles(job: Job, area: str, mode: str, expectation: Expectation, shown: Collection[Shown]) -> Iterator[tuple[Hindrance, str]]:
    """Yield what hinders of the troubles that surely show, and of those somebody reads off the keypad."""
    for trouble in expectation.troubles:
        hindrance = _BY_TROUBLE.get(trouble.kind)
        if hindrance is not None and (trouble.sure or trouble.kind is TroubleKind.SERVICE_MODE):
            if _concerns(job, area, mode, trouble.place, hindrance):
                yield hindrance, trouble.sentence
    for each in shown:
        hindrance = _BY_TROUBLE.get(each.kind)
        if hindrance is not None and _concerns(job, area, mode, each.place, hindrance):
            words = (row_words(job, each.place) or each.place) if each.place else ""
            yield hindrance, f"The keypad shows: {each.kind}{f', {words}' if words else ''}."


def _concerns(job: Job, area: str, mode: str, place: str, hindrance: Hindrance) -> bool:
    """Return whether a trouble at a place keeps this area from being set: circuits count for the areas of their zones only."""
    part, _, name = place.partition("/")
    if part == "circuits":
        zones = [zone for zone in job.zones.values() if zone.circuit == name and area in zone.areas]
        if hindrance is Hindrance.ZONE_OPEN:
            return any(zone.response.get(mode, "immediate") not in QUIET_RESPONSES for zone in zones)
        return bool(zones)
    return True


def _cause(hindrance: Hindrance, sentences: list[str], *, high: bool, settled: bool) -> Cause:
    row = _table()[hindrance]
    if sentences:
        applies, sentence = Applies.YES, " ".join(sentences)
    else:
        applies = Applies.NO if settled else Applies.ASK
        sentence = f"Not so: {row['title']}." if settled else f"It may be that {row['title']}."
    suffix = "_high" if high else ""
    return Cause(
        hindrance=hindrance,
        applies=applies,
        sentence=sentence,
        check=str(row["check"]),
        log=str(row["log"]),
        override_by=tuple(row[f"override{suffix}"]),
        clear_by=tuple(row[f"reset{suffix}"]),
        source="en-50131-1-setting",
    )


@cache
def _table() -> Mapping[str, Mapping[str, str | list[str]]]:
    text = files("loopwright.explain.expected").joinpath("set_prevention.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
