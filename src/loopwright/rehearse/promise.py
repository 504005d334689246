"""The promises an area has to keep, each with its sentence; one that is broken comes with the shortest story."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from loopwright.job.document import Job
from loopwright.rehearse.plan import ANY_TIME, FULL, AreaPlan, NotCoveredError, plan_of
from loopwright.rehearse.search import Reached, leads_to, search
from loopwright.rehearse.step import SET, UNSET, Event, State, step
from loopwright.rehearse.table import Packing, table_of

PROMISES = {
    "watched": "Every zone raises an alarm, or starts entry at a declared door, wherever the customer expects it to.",
    "any-time": "A zone that answers at any time in one set state does so in every state.",
    "way-back": "From every state that can be reached, the area can be unset, and can be set again.",
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Broken:
    """A promise that is not kept: ``subject`` is a place in the document, ``story`` its shortest course, a line each."""

    promise: str
    subject: str
    sentence: str
    story: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Rehearsal:
    """What the search found, over how many states, and what it did not cover."""

    broken: tuple[Broken, ...]
    states: int
    searches: int
    not_covered: tuple[str, ...]


def rehearse(job: Job) -> Rehearsal:
    """Search every area that can be, one of its zones followed at a time.

    Raises TooManyStatesError for an area with more states than can be held.
    """
    broken: dict[tuple[str, str], Broken] = {}
    missing, states, searches = [], 0, 0
    for area_id, area in job.areas.items():
        for zone_id in (name for name, zone in job.zones.items() if area_id in zone.areas):
            try:
                plan = plan_of(job, area_id, zone_id)
            except NotCoveredError as reason:
                missing.append(f"{area.name}: {reason}.")
                break
            packing = Packing(plan)
            reached = search(table_of(plan, packing))
            states, searches = states + reached.states.size, searches + 1
            for each in (*_watched(job, area_id, zone_id, plan, packing, reached), *_way_back(job, area_id, plan, packing, reached)):
                broken.setdefault((each.promise, each.subject), each)
    for each in _any_time(job):
        broken.setdefault((each.promise, each.subject), each)
    return Rehearsal(broken=tuple(broken.values()), states=states, searches=searches, not_covered=(*missing, *_unsaid(job)))


def _unsaid(job: Job) -> list[str]:
    """Return what the customer's expectation leaves open."""
    found = []
    silent = [zone for zone in job.zones.values() if zone.watched is None]
    if silent:
        found.append(
            f"Nobody has said when {len(silent)} of {len(job.zones)} zones are to raise an alarm, so nothing is held against them."
        )
    return found


def _watched(job: Job, area_id: str, zone_id: str, plan: AreaPlan, packing: Packing, reached: Reached) -> list[Broken]:
    """Hold a zone against what the customer expects of it, in every set state."""
    zone, found = job.zones[zone_id], []
    if zone.watched is None:
        return []
    act = Event("open" if plan.zone.contact else "move")
    for part, name in enumerate(plan.states):
        if name != FULL and zone.watched == "full":
            continue
        for packed in (int(each) for layer in reached.layers for each in layer):
            state = packing.unpack(packed)
            if state.mode != SET or state.part != part:
                continue
            after = step(plan, state, act)
            if after is None or _answered(after[1], zone_id in job.areas[area_id].entry_doors):
                continue
            words = f"zone {zone.number} ({zone.text})"
            sentence = f"{words[0].upper()}{words[1:]} is expected to raise an alarm in {name}, and {_instead(after[1])}."
            story = (*story_to(plan, packing, reached, packed, words), f"{words} is activated: {_instead(after[1])}.")
            found.append(Broken(promise="watched", subject=f"zones/{zone_id}/response/{name}", sentence=sentence, story=story))
            break
    return found


def _answered(outputs: tuple[str, ...], entry_door: bool) -> bool:
    """Return whether a zone has answered: an alarm, entry at a declared door, or a quiet reason that has a name."""
    named = {"alarm", "hold-up", "inhibited", "locked-out", "soak-test"} | ({"entry"} if entry_door else set())
    return bool(named & set(outputs))


def _instead(outputs: tuple[str, ...]) -> str:
    return "it starts the entry time, though it is no declared entry door" if "entry" in outputs else "nothing happens"


def _way_back(job: Job, area_id: str, plan: AreaPlan, packing: Packing, reached: Reached) -> list[Broken]:
    """Hold an area against being set or unset for good."""
    area, found, states = job.areas[area_id], [], reached.states
    at, mask = packing.place["mode"]
    mode = (states & np.uint64(mask)) >> np.uint64(at)
    for goal, words in ((UNSET, "unset"), (SET, "set")):
        good = leads_to(reached, mode == goal)
        if bool(good.all()):
            continue
        stuck = {int(each) for each in states[~good]}
        packed = next(int(each) for layer in reached.layers for each in layer if int(each) in stuck)
        sentence = f"{area.name} can come to where nobody can have it {words} again."
        story = story_to(plan, packing, reached, packed, "the zone that is followed")
        found.append(Broken(promise="way-back", subject=f"areas/{area_id}#{words}", sentence=sentence, story=story))
    return found


def _any_time(job: Job) -> list[Broken]:
    """Hold every hold-up, tamper and 24-hour zone against answering in every state."""
    found = []
    for name, zone in job.zones.items():
        does = set(zone.response.values())
        if does & ANY_TIME and len(does) > 1:
            words = ", ".join(f"{state}: {word}" for state, word in zone.response.items())
            sentence = f"Zone {zone.number} ({zone.text}) answers at any time in some states only ({words})."
            found.append(Broken(promise="any-time", subject=f"zones/{name}/response", sentence=sentence))
    return found


def story_to(plan: AreaPlan, packing: Packing, reached: Reached, packed: int, words: str) -> tuple[str, ...]:
    """Return the shortest course of events to a state, a line each, with the seconds since the start."""
    lines, spent_s = [], 0.0
    for row, after in reached.way_to(packed):
        spent_s += plan.tick_s if row.event.kind == "tick" else 0.0
        if row.event.kind != "tick":
            lines.append(f"{spent_s:g} s: {_told(plan, row.event, packing.unpack(after), row.outputs, words)}")
    return tuple(lines)


def _told(plan: AreaPlan, event: Event, after: State, outputs: tuple[str, ...], words: str) -> str:
    which = plan.rest[event.which].does[1 + after.part] if event.kind.startswith("other") else ""
    told = {
        "set": f"a user sets {plan.states[event.which]}",
        "unset": "a user unsets",
        "clear": "the alarm is cleared",
        "end": "the time is over",
        "open": f"{words} opens",
        "shut": f"{words} shuts",
        "move": f"{words} sees movement",
        "other": f"another zone ({which}) is activated",
        "other-open": "the time is over with another door open",
        "other-shut": "another door shuts",
    }[event.kind]
    return f"{told}{': ' + ', '.join(outputs) if outputs else ''}."
