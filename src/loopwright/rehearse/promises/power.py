"""What is owed when all power is lost and comes back: word of it, the set state it was in, and no alarm of its own."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from loopwright.job.sheet import Kind
from loopwright.rehearse.promise import Broken, Trial, Tried
from loopwright.rehearse.search import Taken
from loopwright.rehearse.state import GONE, SET, UNSET, Event
from loopwright.rehearse.table import Row

WARNINGS = ("mains-failure", "low-battery")
"""What is sent of a supply that is going, before it is gone."""


def power(trial: Trial) -> Iterator[Broken]:
    """Hold every area against what becomes of it when mains and battery are gone, and come back."""
    for area in trial.whole.areas:
        yield from _comes_back_unset(trial, area)
        yield from _warms_up(trial, area)
        if trial.whole.told.centre:
            yield from _goes_untold(trial, area)


def _comes_back_unset(trial: Trial, area: str) -> Iterator[Broken]:
    """SIA CP-01 4.4.3 draft: the same set state and what was left out come back."""
    sheets = {each.sheet: trial.job.sheets.equipment[each.sheet] for each in trial.job.equipment.values()}
    units = {key: sheet for key, sheet in sheets.items() if sheet.kind is Kind.CONTROL}
    if not any(sheet.after_power for sheet in units.values()):
        trial.missing["The control unit's data sheet does not say in which set state it comes back when all power was gone."] = None
        return
    found = trial.search((area,), tracks=("power",))
    there = (found.reached.field("power") == GONE) & (found.reached.field(f"{area}.mode") != UNSET)
    if not there.any():
        return
    trial.tried.add("power")
    told = found.told(("comes back unset", area), lambda: found.reached.taken(partial(_unsets, area), there))
    if told:
        unit = next(key for key, sheet in units.items() if sheet.after_power)
        sentence = f"{trial.whole.areas[area].name} was set when all power was lost, and comes back unset."
        subject = f"sheets/equipment/{unit}/after_power"
        yield told.breaks("power", subject, sentence)


def _unsets(area: str, row: Row) -> bool:
    return row.event.kind == "power-back" and any((each.word, each.place) == ("unset", area) for each in row.outputs)


def _warms_up(trial: Trial, area: str) -> Iterator[Broken]:
    """A detector sees what is not there while it warms up: inputs are to be ignored for as long (common practice, no source)."""
    blind_s = trial.job.programme.blind_s
    if blind_s is None:
        trial.missing["How long inputs are ignored when power comes back is not entered, so no alarm is looked for then."] = None
        return
    for name in trial.whole.zones_of(area):
        warm_up_s = _warm_up_s(trial, name)
        if not warm_up_s:
            continue
        trial.tried.add("power")
        found = trial.search((area,), (name,), tracks=("power",)) if warm_up_s > blind_s else None
        told = found and found.told(("warms up", area, blind_s > 0), partial(_alarms, found, area, found.known_as[name], blind_s > 0))
        if told:
            zone = trial.whole.zones[name].text
            sentence = (
                f"Power comes back, inputs are ignored for {blind_s:g} s, and {zone} warms up for {warm_up_s:g} s: it raises an alarm."
            )
            yield told.breaks("power", f"zones/{name}#warm-up", sentence)


def _warm_up_s(trial: Trial, zone: str) -> float:
    """Return how long a zone's detectors warm up at most [s]."""
    job = trial.job
    circuit = job.zones[zone].circuit
    hops = job.circuits[circuit].path if circuit is not None else ()
    return max((job.sheet_of(hop.device).warm_up_s or 0.0 for hop in hops if hop.device), default=0.0)


def _alarms(found: Tried, area: str, zone: str, blind: bool) -> list[Taken]:
    """Return the way on which an area is set, loses all power and has it back, and its detector, warming up, raises an alarm."""
    reached = found.reached
    start = reached.first((reached.field("power") == GONE) & (reached.field(f"{area}.mode") == SET))
    if start is None:
        return []
    state, rows = start, list[Row]()
    for event in (Event("power-back"), *([Event("awake")] if blind else []), Event("activated", zone)):
        row = next((row for row in reached.table.rows if row.event == event and state & row.mask == row.value), None)
        if row is None:
            return []
        rows.append(row)
        state = (state & row.keep) | row.set
    alarm = any(each.word == "alarm" and each.place == area for each in rows[-1].outputs)
    return [Taken(start, rows[0], None, tuple(rows[1:]))] if alarm else []


def _goes_untold(trial: Trial, area: str) -> Iterator[Broken]:
    """Hold a supply that is going against being gone with nothing sent of it."""
    trial.tried.add("power")
    if any(each in trial.whole.told.reports for each in WARNINGS):
        return
    found = trial.search((area,), tracks=("conditions", "power"))
    reached = found.reached
    there = np.ones(reached.states.size, dtype=np.bool_)
    for name in ("mains", "battery"):
        there &= reached.field(name) == 1
    told = found.told(("goes untold",), lambda: reached.taken(lambda row: row.event.kind == "power-lost", there))
    if told:
        sentence = "Mains fail, the battery runs flat, all power is gone, and nothing is sent of any of it."
        yield told.breaks("power", "signalling/reports/mains-failure", sentence)
