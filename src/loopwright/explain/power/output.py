"""A watched output as a part that can be at fault: its cable, its resistor and its sounders, read while it is off."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from loopwright.explain.catalogue import Fault, of_group
from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.circuit.check import ACT_MINUTES, at_height, label
from loopwright.explain.circuit.edit import edited
from loopwright.explain.circuit.place import Spot
from loopwright.explain.circuit.reading import LEAST_SD_OHM, LEAST_SHARE
from loopwright.explain.hypothesis import Floats, Hypothesis, Part, Predicted
from loopwright.explain.look import LADDER_MINUTES, looks_of
from loopwright.job.document import Job
from loopwright.job.sheet import Supervision
from loopwright.netlist.compile import PowerNetwork, cores_through
from loopwright.netlist.element import Resistance
from loopwright.netlist.loop import ActKind, LoopNetwork
from loopwright.netlist.variants import read_variants
from loopwright.netlist.watch import compile_watches

SILENT = "silent"
NOT_SILENT = 0.02
"""How often a sounder is silent in alarm for no reason that is here (judgement)."""
OHM_MINUTES, SHOWN_MINUTES, SOUND_MINUTES = 4.0, 0.5, 6.0
"""To sound costs what goes round it: people and the receiving centre told, an alarm set off, silenced, cleared, and told (judgement)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputVariant:
    """One hypothesis in one amount."""

    owner: int
    share: float
    present: float
    network: LoopNetwork
    silent: float


def output_part(job: Job, power: PowerNetwork, output: str) -> Part:
    """Return the watched output with all its hypotheses. Raises KeyError when it is not watched."""
    network = next((each for each in compile_watches(job, power) if each.circuit == output), None)
    if network is None:
        raise KeyError(output)
    hypotheses, variants = output_variants(job, power, network)
    owner = np.array([v.owner for v in variants])
    looks, look_chances = looks_of(f"outputs/{output}", hypotheses, owner)
    checks = _checks(job, network)
    every = (*checks, *looks)
    readings = read_variants([v.network for v in variants])
    spread = np.hypot(readings.spread_ohm, LEAST_SD_OHM)
    mean, sd = np.full((len(variants), len(every)), np.nan), np.full((len(variants), len(every)), np.nan)
    chances = {len(checks) + number: values for number, values in look_chances.items()}
    acts = {(act.kind, act.device or ""): column for column, act in enumerate(network.acts)}
    watch = _watch(job, output)
    for column, check in enumerate(checks):
        if check.scenario == SILENT:
            chances[column] = _yes(np.array([v.silent for v in variants]))
        elif check.kind is CheckKind.TROUBLE:
            act = acts[check.act, check.device]
            chances[column] = _yes(_trouble(readings.volts_v[:, act], readings.field_ohm[:, act], spread[:, act], watch))
        else:
            act = acts[check.act, check.device]
            mean[:, column], sd[:, column] = readings.field_ohm[:, act], spread[:, act]
    share, present = np.array([v.share for v in variants]), np.array([v.present for v in variants])
    known = Predicted(checks=every, mean=mean, sd=sd, chances=chances, owner=owner, share=share, present=present)
    return Part(name=f"outputs/{output}", hypotheses=tuple(hypotheses), predicted=known, hidden={})


def output_variants(job: Job, power: PowerNetwork, network: LoopNetwork) -> tuple[list[Hypothesis], list[OutputVariant]]:
    """Return every hypothesis of a watched output and every variant of its network, the sound one first."""
    variants = [OutputVariant(owner=-1, share=1.0, present=1.0, network=network, silent=NOT_SILENT)]
    hypotheses: list[Hypothesis] = []
    places = _places(job, power, network)
    for fault in of_group("sounder"):
        spots = [spot for spot in places[fault.at] if spot.has(fault.needs)]
        for spot in spots:
            made = _variants(job, network, fault, spot, len(hypotheses))
            part, weight = f"outputs/{network.circuit}", fault.weight / len(spots)
            hypotheses.append(Hypothesis(fault=fault, part=part, place=spot.place, words=spot.words, weight=weight))
            variants += made
    return hypotheses, variants


def _variants(job: Job, network: LoopNetwork, fault: Fault, spot: Spot, owner: int) -> list[OutputVariant]:
    found = []
    for way in fault.ways:
        used = any("{x}" in argument for edit in way for argument in edit)
        amounts = [f"{number!r}" for number in fault.amount.numbers()] if fault.amount and used else [""]
        found += [(edited(job, network, way, spot.names | {"x": amount}), 1.0 / len(amounts)) for amount in amounts]
    silent = fault.trouble.get(SILENT, NOT_SILENT)
    return [
        OutputVariant(owner=owner, share=share / len(fault.ways), present=fault.present, network=changed, silent=silent)
        for changed, share in found
    ]


def _places(job: Job, power: PowerNetwork, network: LoopNetwork) -> dict[str, list[Spot]]:
    """Return the places of an output by kind: the output, its runs, its sounders."""
    output = network.circuit
    elements = {e.name: e for e in network.netlist.elements if isinstance(e, Resistance)}
    whole = {"o": output, "z": network.common, "end": f"{output}.end"}
    facts = {"end"} if math.isfinite(elements[f"{output}.end"].ohm) else set()
    facts |= {"used"} if network.landed else set()
    unit, _, terminal = output.partition(".")
    lead = f"output {terminal} of {label(job, unit)}"
    places = {"output": [Spot(place="", words=lead, names=whole, facts=frozenset(facts))], "run": list[Spot](), "sounder": list[Spot]()}
    for landing in (m for m in power.landings if m.output == output and m.runs):
        for run in landing.runs:
            cores = cores_through(job, run, output)
            if len(cores) < 2 or any(core not in elements for core in cores):
                continue
            plus, minus = elements[cores[0]], elements[cores[1]]
            names = whole | {"plus": plus.name, "minus": minus.name, "far": plus.b, "far_back": minus.b}
            if all(spot.place != run for spot in places["run"]):
                places["run"].append(Spot(place=run, words=f"run {run}, {lead}", names=names, facts=frozenset(facts)))
        named = names | {"short": f"{output}.{landing.equipment}.short"}
        more = {"self-powered"} if job.sheet_of(landing.equipment).self_powered else set()
        words = f"{label(job, landing.equipment)}, {lead}"
        places["sounder"].append(Spot(place=landing.equipment, words=words, names=named, facts=frozenset(facts | more)))
    return places


def _checks(job: Job, network: LoopNetwork) -> tuple[Check, ...]:
    output = network.circuit
    unit, _, terminal = output.partition(".")
    lead = f"output {terminal} of {label(job, unit)}"
    out = []
    for act in network.acts:
        if act.kind is ActKind.NO_RESISTOR:
            continue
        device = act.device or ""
        named = label(job, device)
        done = {ActKind.REST: "at rest", ActKind.SHORTED: f"shorted at {named}", ActKind.CUT: f"a wire lifted at {named}"}
        climbed = act.kind is not ActKind.REST and at_height(job, device)
        words, minutes = done[act.kind], ACT_MINUTES[act.kind] + (LADDER_MINUTES if climbed else 0.0)
        lidded, needs = ("ladder", ("ladder",)) if climbed else ("lid", ())
        ohm = Check(
            kind=CheckKind.OHM,
            where=output,
            act=act.kind,
            device=device,
            minutes=OHM_MINUTES + minutes,
            needs=("meter", "control unit's lid", *needs),
            words=f"Ohms of the pair of {lead}, both wires out, {words}",
            pull_ohm=network.pull_up.ohm,
            by=lidded,
        )
        shown = replace(ohm, kind=CheckKind.TROUBLE, minutes=SHOWN_MINUTES + minutes, needs=needs, outcomes=YES_NO, pull_ohm=math.inf)
        shown = replace(shown, by="caller" if act.kind is ActKind.REST else lidded)
        out += [ohm, replace(shown, words=f"Does the keypad show a trouble of {lead}, {words}?")]
    silent = f"In alarm, does what hangs on {lead} stay silent (warn people, protect ears)"
    told = ("the centre told",)
    out.append(
        Check(
            kind=CheckKind.TROUBLE,
            where=output,
            scenario=SILENT,
            minutes=SOUND_MINUTES,
            needs=told,
            words=silent,
            outcomes=YES_NO,
        )
    )
    return tuple(out)


def _watch(job: Job, output: str) -> Supervision:
    unit, _, terminal = output.partition(".")
    watch = job.sheet_of(unit).outputs[terminal].supervision
    assert watch is not None
    return watch


def _trouble(volts: Floats, ohm: Floats, spread: Floats, watch: Supervision) -> Floats:
    """Return the chance that the unit takes the pair for cut or shorted, one a variant."""
    edges = [edge / (edge + watch.pull_up_ohm) for edge in (watch.short_below_ohm, watch.open_above_ohm)]
    ratio = volts / watch.pull_up_v
    relative = np.where(np.isfinite(ohm) & (ohm > 0), spread / np.where(ohm > 0, ohm, 1.0), 0.0)
    sd = np.maximum(ratio * (1 - ratio) * np.hypot(np.minimum(relative, 1.0), 0.01), LEAST_SHARE)
    return np.asarray(ndtr((edges[0] - ratio) / sd) + ndtr((ratio - edges[1]) / sd))


def _yes(chance: NDArray[np.float64]) -> Floats:
    return np.stack((chance, 1 - chance), axis=1)
