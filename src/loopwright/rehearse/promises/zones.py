"""What a zone owes: an alarm where the customer expects one, at any time where it says so, and reports in silence."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np
from numpy.typing import NDArray

from loopwright.programme.response import ALSO_SAID, ANY_TIME, FULL, Response
from loopwright.rehearse.law import Cell
from loopwright.rehearse.promise import Broken, Trial, Tried
from loopwright.rehearse.state import SET, UNSET
from loopwright.rehearse.table import Row

MOST_AREAS = 3
CELLS = {Response.TAMPER: "tamper", Response.HOLD_UP: "hold-up", Response.ROUND_THE_CLOCK: "24-hour"}
NAMED = {"alarm", "hold-up", "tamper", "inhibited", "locked-out", "soak-test"}
"""What answers an expectation: an alarm of its kind, or a quiet reason that has a name."""


def watched(trial: Trial) -> Iterator[Broken]:
    """Hold every zone against what the customer expects of it, in every set state of every area it lies in."""
    for name, zone in trial.whole.zones.items():
        expected = trial.job.zones[name].watched
        if expected is None:
            continue
        if len(zone.areas) > MOST_AREAS:
            trial.missing[f"{zone.text} lies in {len(zone.areas)} areas; {MOST_AREAS} are searched together."] = None
            continue
        found = trial.search(zone.areas, (name,))
        for area in zone.areas:
            for part, state in enumerate(trial.whole.states):
                if expected != "full" or state == FULL:
                    yield from _silent(trial, found, name, area, part, state)
            if expected == "always":
                yield from _silent(trial, found, name, area, -1, "unset")


def _silent(trial: Trial, found: Tried, name: str, area: str, part: int, state: str) -> Iterator[Broken]:
    reached, place = found.reached, found.known_as[name]
    entry_door = part >= 0 and name in trial.job.areas[area].entry_doors

    def there() -> NDArray[np.bool_]:
        mode = reached.field(f"{area}.mode")
        here: NDArray[np.bool_] = mode == UNSET if part < 0 else (mode == SET) & (reached.field(f"{area}.part") == part)
        if trial.whole.told.shared_zones == "all":
            for other in trial.whole.zones[name].areas:
                here &= (reached.field(f"{other}.mode") != UNSET) | (part < 0)
        return here

    def silent(row: Row) -> bool:
        return row.event.kind == "activated" and row.event.place == place and not _answered(row, area, entry_door)

    def opens(row: Row) -> bool:
        return row.event.kind == "activated" and row.event.place == place

    if not found.meets(("silent", place, area, part), opens, there):
        if state != "unset":
            trial.missing[f"{trial.whole.areas[area].name} never comes to be set, {state}, so no zone of it is held to anything there."] = (
                None
            )
        return
    trial.tried.add("watched")
    told = found.told(("silent", place, area, part, entry_door), lambda: reached.taken(silent, there()))
    if told is None:
        return
    row = told.row
    zone = trial.whole.zones[name].text
    entry = row is not None and any(each.word == "entry" for each in row.outputs)
    instead = "it starts the entry time, though it is no declared entry door" if entry else "nothing happens"
    sentence = f"{zone[0].upper()}{zone[1:]} is expected to raise an alarm in {state}, and {instead}."
    yield told.breaks("watched", f"zones/{name}/response/{state}", sentence)


def _answered(row: Row, area: str, entry_door: bool) -> bool:
    """Return whether a zone has answered in an area: an alarm, entry at a declared door, or a quiet reason that has a name."""
    named = NAMED | ({"entry"} if entry_door else set())
    return any(each.word in named and each.place == area for each in row.outputs)


def any_time(trial: Trial) -> Iterator[Broken]:
    """Hold every hold-up, tamper and 24-hour zone against answering in every state."""
    for name, zone in trial.job.zones.items():
        does = {ALSO_SAID.get(word, word) for word in zone.response.values()}
        if does & ANY_TIME:
            trial.tried.add("any-time")
        if does & ANY_TIME and len(does) > 1:
            words = ", ".join(f"{state}: {word}" for state, word in zone.response.items())
            sentence = f"Zone {zone.number} ({zone.text}) answers at any time in some states only ({words})."
            yield Broken(promise="any-time", subject=f"zones/{name}/response", sentence=sentence)


def answers(trial: Trial) -> Iterator[Broken]:
    """Hold hold-up, tamper and duress against being signalled in every state, and against sound outside where there must be none."""
    for name, zone in trial.whole.zones.items():
        if CELLS.keys() & set(zone.does) and len(zone.areas) <= MOST_AREAS:
            found = trial.search(zone.areas, (name,), observers=("report",))
            for area in zone.areas:
                yield from _not_sent(trial, found, area, name)
                yield from _sounds_otherwise(trial, found, area, name)
    for area in trial.whole.areas:
        if any(person.duress for person in trial.whole.people):
            yield from _not_sent(trial, trial.search((area,), observers=("report",)), area, "")


def _not_sent(trial: Trial, found: Tried, area: str, zone: str) -> Iterator[Broken]:
    place = found.known_as.get(zone, "")
    for what in ("duress",) if not zone else ("hold-up", "tamper"):

        def unsent(row: Row, what: str = what) -> bool:
            words = {(each.word, each.about if each.word == "sent" else "") for each in row.outputs if each.place == area}
            return (not zone or row.event.place == place) and (what, "") in words and ("sent", what) not in words

        def given(row: Row, what: str = what) -> bool:
            return any((each.word, each.place) == (what, area) for each in row.outputs) and (not zone or row.event.place == place)

        if not trial.whole.told.centre or not found.meets(("unsent", what, place, area), given):
            continue
        trial.tried.add("answers")
        told = found.told(("unsent", what, place, area), partial(found.reached.taken, unsent))
        if told:
            by = f" of {trial.whole.zones[zone].text}" if zone else ""
            sentence = f"The {what}{by} in {trial.whole.areas[area].name} is not signalled."
            yield told.breaks("answers", f"signalling/reports/{what}", sentence)


def _sounds_otherwise(trial: Trial, found: Tried, area: str, zone: str) -> Iterator[Broken]:
    """Hold what a tamper, hold-up or 24-hour zone makes sound against the rules' cell for it, unset and set."""
    reached, place, does = found.reached, found.known_as[zone], trial.whole.zones[zone].does
    for what in {CELLS[each]: None for each in does if each in CELLS}:
        for when in ("unset", "set"):

            def there(when: str = when) -> NDArray[np.bool_]:
                unset: NDArray[np.bool_] = reached.field(f"{area}.mode") == UNSET
                return unset if when == "unset" else ~unset

            cells = trial.law.cells.get(f"{what}-{when}", ())
            if not cells:
                trial.missing[f"No rule the job is under says what may sound on {what} while {when}, so that is not held against it."] = (
                    None
                )
            for cell in cells:

                def sounds(row: Row, what: str = what, cell: Cell = cell) -> bool:
                    heard = {each.about for each in row.outputs if each[:2] == ("sound", area)} or {"silent"}
                    given = any(each.word == ("alarm" if what == "24-hour" else what) and each.place == area for each in row.outputs)
                    return row.event.place == place and given and not heard <= set(cell.allowed)

                told = found.told(("sounds", what, when, cell, place, area), lambda: reached.taken(sounds, there()))  # noqa: B023
                if told is None:
                    continue
                heard = next((each.about for each in told.story[-1].outputs if each.word == "sound"), "nothing")
                words, stands = trial.whole.zones[zone].text, f"while {trial.whole.areas[area].name} is {when}"
                sentence = f"{words[0].upper()}{words[1:]} sounds {heard} {stands}; {cell.words} has {' or '.join(cell.allowed)}."
                subject = f"zones/{zone}/response/{when if when == 'unset' else FULL}"
                yield told.breaks("answers", subject, sentence)
