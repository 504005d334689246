"""Troubles of detection circuits that should show in a situation: the same forecast of ohms, read with the bands the unit has now."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from loopwright.circuits.forecast import CircuitForecast, band_table
from loopwright.explain.expected.situation import Situation, Step
from loopwright.explain.expected.trouble import Trouble, TroubleKind, for_want_of
from loopwright.job.document import Job
from loopwright.job.sheet import EquipmentSheet, Kind, Reads, Topology
from loopwright.netlist.loop import ActKind
from loopwright.power.forecast import label_of
from loopwright.values.figure import show

CIRCUITS_SETTING = "circuits"
"""The name under which a data sheet's factory setting of the circuits stands; its value begins with the kind of circuit."""


class _Seen(NamedTuple):
    """What an input sees of its circuit now: the ohms, the step missing and where, the words for why, how long it lasts by itself [s]."""

    ohm: float
    step: Step | None
    words: str
    wait_s: float | None = None
    at: str = ""


def factory_topology(sheet: EquipmentSheet) -> Topology | None:
    """Return the kind of circuit the inputs expect from the factory, as the sheet's setting says; None when it does not say."""
    setting = sheet.settings.get(CIRCUITS_SETTING)
    words = setting.default.casefold().replace(",", " ").split() if setting is not None else []
    return next((topology for topology in Topology if words and words[0] == topology), None)


def circuits(job: Job, situation: Situation, items: Sequence[CircuitForecast], reached: frozenset[str]) -> Iterator[Trouble]:
    """Yield what shows of every landed circuit whose unit is ``reached``: has supply, and is on the control unit's list."""
    for item in items:
        if item.network.landed and item.network.common.split(".")[0] in reached:
            yield from _circuit(job, situation, item)


def unused_inputs(job: Job, situation: Situation, reached: frozenset[str]) -> Iterator[Trouble]:
    """Yield inputs with nothing on them: as long as nobody has switched them off they read open."""
    landed = {circuit.input for circuit in job.circuits.values() if circuit.input}
    for unit in job.equipment:
        inputs = job.sheet_of(unit).inputs
        if inputs is None or unit not in reached or situation.done(Step.INPUTS, unit):
            continue
        free = [number for number in range(1, inputs.count + 1) if f"{unit}.{number}" not in landed]
        if free:
            kind = _kind(_topology_now(job, unit, None) or Topology.SINGLE, Reads.OPEN)
            words = f"{label_of(job, unit)}, {_inputs(free)} with nothing on: open until switched off, or ended as the sheet says."
            yield for_want_of(situation, Step.INPUTS, kind, words, unit=unit)


def _circuit(job: Job, situation: Situation, item: CircuitForecast) -> Iterator[Trouble]:
    circuit = job.circuits[item.circuit]
    unit = item.network.common.split(".")[0]
    programmed = situation.done(Step.INPUTS, item.circuit)
    topology = circuit.topology if programmed else _topology_now(job, unit, circuit.topology)
    table = band_table(job.sheet_of(unit).inputs, topology or circuit.topology)
    seen = _seen(job, situation, item)
    if table is None:
        return
    taken = table.taken_for(seen.ohm)
    if taken is Reads.REST or (seen.step is None and seen.wait_s is None and programmed and item.rest.right):
        return
    kind = TroubleKind.WARMING_UP if seen.wait_s is not None else _kind(topology or circuit.topology, taken)
    unlike = not programmed and topology is not circuit.topology
    step = seen.step or (Step.INPUTS if not programmed and seen.wait_s is None else None)
    yield Trouble(
        kind=kind,
        place=f"circuits/{item.circuit}",
        sentence=_sentence(job, item, seen, taken, topology if unlike else None),
        normal=seen.wait_s is not None or (step is not None and not situation.usual(step)),
        step=step,
        at=seen.at or item.circuit,
        defect=step is None and seen.wait_s is None,
        wait_s=None if seen.wait_s is None else (seen.wait_s, seen.wait_s),
    )


def _topology_now(job: Job, unit: str, designed: Topology | None) -> Topology | None:
    """Return the kind of circuit an input expects before it is programmed; as designed where no sheet says."""
    controls = [name for name in job.equipment if job.sheet_of(name).kind is Kind.CONTROL]
    for name in (unit, *controls):
        if (found := factory_topology(job.sheet_of(name))) is not None:
            return found
    return designed


def _seen(job: Job, situation: Situation, item: CircuitForecast) -> _Seen:
    """Return what the input sees: nothing wired, a lid off, a detector warming up, or the circuit at rest."""
    if not situation.done(Step.WIRED, item.circuit):
        return _Seen(math.inf, Step.WIRED, "nothing is wired to it yet", at=item.circuit)
    path = [hop for hop in job.circuits[item.circuit].path if hop.device is not None]
    for hop in path:
        if hop.device is not None and "tamper" in hop.contacts and not situation.done(Step.LIDS, hop.device):
            return _Seen(
                item.act(ActKind.LID_OPEN, hop.device).field_ohm, Step.LIDS, f"the lid of {label_of(job, hop.device)} is off", at=hop.device
            )
    waits = [(_warm_up_s(job, situation, hop.device), hop.device) for hop in path if hop.device and "alarm" in hop.contacts]
    left_s, slowest = max(waits, default=(0.0, None))
    if left_s > 0 and slowest is not None:
        return _Seen(item.act(ActKind.ACTIVATED, slowest).field_ohm, None, f"{label_of(job, slowest)} is warming up", left_s)
    return _Seen(item.rest.field_ohm, None, "")


def _warm_up_s(job: Job, situation: Situation, device: str) -> float:
    """Return how much longer [s] a device warms up."""
    warm_up_s = job.sheet_of(device).warm_up_s
    if warm_up_s is None or situation.since_mains_s is None:
        return 0.0
    return max(warm_up_s - situation.since_mains_s, 0.0)


def _kind(topology: Topology, taken: Reads | None) -> TroubleKind:
    """Return what a control unit calls what it reads: with one resistor an open loop is the zone open, with two it is its tamper."""
    if taken is None:
        return TroubleKind.ZONE_UNCERTAIN
    if taken is Reads.OPEN:
        return TroubleKind.ZONE_OPEN if topology in (Topology.NONE, Topology.SINGLE) else TroubleKind.ZONE_TAMPER
    if taken is Reads.SHORT:
        return TroubleKind.ZONE_OPEN if topology is Topology.NONE else TroubleKind.ZONE_SHORTED
    if taken is Reads.FAULT:
        return TroubleKind.ZONE_OPEN if topology is Topology.PAIR else TroubleKind.ZONE_FAULT
    return TroubleKind.ZONE_OPEN


def _sentence(job: Job, item: CircuitForecast, seen: _Seen, taken: Reads | None, factory: Topology | None) -> str:
    zones = [f"zone {zone.number} ({zone.text})" for zone in job.zones.values() if zone.circuit == item.circuit]
    who = " and ".join(zones) or f"circuit {item.circuit}"
    ohm = "over range" if math.isinf(seen.ohm) else show(seen.ohm, "Ω")
    reads = f"reads {taken}" if taken is not None else "lies between two bands"
    why = f"{seen.words}; " if seen.words else ""
    factory_words = f", the input still being set for circuits of the kind ‘{factory}’" if factory is not None else ""
    return f"{who[0].upper()}{who[1:]}: {why}{ohm} {reads}{factory_words}."


def _inputs(numbers: Sequence[int]) -> str:
    """Return numbers of inputs in words, runs of them folded.

    >>> _inputs([3]), _inputs([1, 2, 3, 7])
    ('input 3', 'inputs 1 to 3, 7')
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    folded = [f"{run[0]} to {run[-1]}" if len(run) > 1 else str(run[0]) for run in runs]
    return f"input{'s' if len(numbers) > 1 else ''} {', '.join(folded)}"
