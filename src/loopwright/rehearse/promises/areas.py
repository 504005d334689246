"""What an area owes: a way back from everywhere, setting that looks at what is in the way, and the shared area's rule."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from loopwright.programme.response import ON_THE_WAY, QUIET
from loopwright.rehearse.part import OTHERS
from loopwright.rehearse.plan import CONDITIONS, Walk
from loopwright.rehearse.promise import Broken, Trial, Tried
from loopwright.rehearse.search import Reached, Taken
from loopwright.rehearse.state import ARRIVED, ENTRY, SET, UNSET
from loopwright.rehearse.table import Row
from loopwright.rehearse.words import CONDITIONS as CONDITION_WORDS

LAWFUL_NEVER = {"alarm", "exit-error", "setting-fails", "setting-stops"}
NEVER_SENT = {"alarm", "exit-error", "confirmed-alarm"}


def way_back(trial: Trial) -> Iterator[Broken]:
    """Hold every area against being unset, set or alarmed for good."""
    for area, plan in trial.whole.areas.items():
        found = trial.search((area,), openable(trial, area), tracks=("conditions",))
        trial.tried.add("way-back")
        goals: list[tuple[str, str, str, Goal]] = [("unset", f"have {plan.name} unset", f"{area}.mode", (UNSET, None))]
        for number, state in enumerate(trial.whole.states):
            if not plan.serves:
                goals.append((f"set-{state}", f"have {plan.name} set, {state}", f"{area}.mode", (SET, number)))
        goals.append(("clear", f"clear an alarm of {plan.name}", f"{area}.memory", (0, None)))
        goals += [(f"clear-{each}", f"clear a {each}", each, (0, None)) for each in ("tamper", "hold-up")]
        for goal, words, name, wanted in goals:
            told = found.told(("stuck", area, name, wanted), partial(_stuck, found.reached, area, name, wanted))
            if told:
                sentence = f"It can come to where nobody can {words}{'' if told.story else ': from the start'}."
                yield told.breaks("way-back", f"areas/{area}#{goal}", sentence)


Goal = tuple[int, int | None]
"""What a field has to come to, and with it the number of the set state where one is meant."""


def _stuck(found: Reached, area: str, name: str, goal: Goal) -> list[Taken]:
    """Return the state reached soonest from which nothing leads to a goal."""
    value, part = goal
    there = found.field(name) == value
    if part is not None:
        there &= found.field(f"{area}.part") == part
    stuck = found.first(~found.leads_to(there))
    return [] if stuck is None else [Taken(stuck)]


def setting(trial: Trial) -> Iterator[Broken]:
    """Hold every way of setting against what was in the way and was not told."""
    for area in trial.whole.areas:
        opens = openable(trial, area)
        found = trial.search((area,), opens, tracks=("conditions",))
        open_zone = found.known_as[opens[0]] if opens else ""
        for name in CONDITIONS:
            if name == "open" and not open_zone:
                continue
            field = {"open": f"{open_zone}.open", "memory": f"{area}.memory"}.get(name, name)
            if found.once(("met", area, name), partial(_meets, found, area, field)):
                trial.tried.add("setting")
            told = found.told(("untold", area, name), partial(_sets_untold, found, area, name, field))
            if told:
                words = f"{trial.whole.areas[area].name} is set although {CONDITION_WORDS[name]}, and nobody is told."
                yield told.breaks("setting", f"programme/prevents/{name}", words)


def openable(trial: Trial, area: str) -> list[str]:
    """Return one zone of an area that can stand open and would be watched, or none."""
    return [name for name in trial.whole.zones_of(area) if _watched_contact(trial, name)][:1]


def _watched_contact(trial: Trial, name: str) -> bool:
    zone = trial.whole.zones[name]
    return zone.contact and any(does not in ON_THE_WAY | QUIET for does in zone.does[1:])


def _sets_untold(tried: Tried, area: str, condition: str, field: str) -> list[Taken]:
    """Return the rows that take an area out of unset, a condition being there, and say nothing of it."""
    found = tried.reached
    leaving = _leaving(tried, area)

    def untold(row: Row) -> bool:
        if any((each.word, each.about) == ("override", condition) for each in row.outputs):
            return False
        return condition != "open" or _opens_in(found, area, row)

    present = np.equal(found.field(field), np.uint64(1))
    return found.taken(untold, present & (found.field(f"{area}.mode") == UNSET), leaving)


def _leaving(tried: Tried, area: str) -> list[Row]:
    """Return the rows that take an area out of unset."""
    mask = tried.reached.table.packing.place[f"{area}.mode"][1]
    return tried.once(("leaving", area), lambda: [row for row in tried.reached.table.rows if row.set & mask and not row.keep & mask])


def _meets(tried: Tried, area: str, field: str) -> bool:
    """Return whether somebody comes to set an area, or to be kept from it, with a condition there."""
    found = tried.reached
    present = np.equal(found.field(field), np.uint64(1)) & (found.field(f"{area}.mode") == UNSET)
    return bool(present.any()) and any(row.event.kind == "set" and row.event.place == area for row in found.table.rows)


def _opens_in(found: Reached, area: str, row: Row) -> bool:
    """Return whether the followed zone is watched in the set state a row sets."""
    at, mask = found.table.packing.place[f"{area}.part"]
    state = (row.set & mask) >> at
    zone = next(iter(found.table.programme.followed))
    return found.table.programme.zones[zone].does[1 + state] not in ON_THE_WAY | QUIET


def shared(trial: Trial) -> Iterator[Broken]:
    """Hold every shared area against the areas that share it."""
    for lobby, plan in trial.whole.areas.items():
        for each in plan.serves:
            found = trial.search((lobby, each))
            served = (each, *([OTHERS] if len(plan.serves) > 1 else []))
            if bool((found.reached.field(f"{lobby}.mode") == SET).any()):
                trial.tried.add("shared")
            for goal, words in (
                ("left-unset", "is left unset with all of its areas set"),
                ("left-set", "is left set with one of its areas unset"),
            ):
                told = found.told((goal, lobby, served), partial(_out_of_step, found.reached, lobby, served, goal))
                if told:
                    sentence = f"{plan.name} {words}."
                    yield told.breaks("shared", f"areas/{lobby}#{goal}", sentence)


def _out_of_step(found: Reached, lobby: str, served: tuple[str, ...], goal: str) -> list[Taken]:
    """Return the state reached soonest in which a shared area is unset with all of its areas set, or set with one of them unset."""
    counted = np.ones(found.states.size, dtype=np.bool_)
    unset = np.zeros(found.states.size, dtype=np.bool_)
    for name in served:
        mode = found.field(f"{name}.mode")
        counted &= (mode == SET) | (mode == ENTRY)
        unset |= mode == UNSET
    stands = found.field(f"{lobby}.mode")
    first = found.first(counted & (stands == UNSET) if goal == "left-unset" else unset & (stands != UNSET))
    return [] if first is None else [Taken(first)]


def walk(trial: Trial) -> Iterator[Broken]:
    """Let somebody walk in by every declared door, and out again, past what is passed, as slowly as is said."""
    for name, area in trial.job.areas.items():
        if name not in trial.whole.areas or not area.entry_doors:
            continue
        if area.walk_s is None:
            trial.missing[f"{area.name}: nobody has said how long the slowest walk between door and keypad takes."] = None
            continue
        states = 1 if area.entered == "full" else len(trial.whole.states)
        if states > 1 and area.entered is None:
            trial.missing[f"{area.name}: nobody has said whether people come in while it is set in part; a walk is tried all the same."] = (
                None
            )
        for door in area.entry_doors:
            # Nobody sets a shared area: whoever goes out through it has set one of those that share it.
            for out in (False,) if area.common_to else (False, True):
                route = Walk(area=name, door=door, past=area.walked_past, lasts_s=area.walk_s, out=out, states=states)
                yield from _walked(trial, name, route)


def _walked(trial: Trial, name: str, route: Walk) -> Iterator[Broken]:
    unknown = [zone for zone in (route.door, *route.past) if zone not in trial.whole.zones]
    if unknown:
        names = ", ".join(f"zone {trial.job.zones[each].number}" if each in trial.job.zones else each for each in unknown)
        trial.missing[f"{trial.whole.areas[name].name}: a walk past {names} is not tried, since that is not searched."] = None
        return
    areas = dict.fromkeys((name, *(area for zone in (route.door, *route.past) for area in trial.whole.zones[zone].areas)))
    found = trial.walked(areas, route)
    if bool((found.reached.field("walk") == ARRIVED).any()):
        trial.tried.add("walk")
    else:
        way = "out of" if route.out else "in to"
        trial.missing[f"{trial.whole.areas[name].name}: nobody comes to walk {way} it, since nobody can set it, or unset it."] = None
    told = found.told(("unlawful",), lambda: found.reached.taken(_unlawful))
    if told:
        door = trial.whole.zones[route.door].text
        way = f"out of {trial.whole.areas[name].name} by {door}" if route.out else f"in by {door} to {trial.whole.areas[name].name}"
        which = "out" if route.out else "in"
        sentence = f"Walking {way} in {route.lasts_s:g} s ends in trouble."
        yield told.breaks("walk", f"areas/{name}/entry_doors#{route.door}-{which}", sentence)


def _unlawful(row: Row) -> bool:
    return any(each.word in LAWFUL_NEVER or (each.word == "sent" and each.about in NEVER_SENT) for each in row.outputs)
