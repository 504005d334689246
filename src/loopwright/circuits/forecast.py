"""What every detection circuit should read in every act, what the control unit takes it for, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import numpy as np

from loopwright.circuits.said import part_words
from loopwright.circuits.tolerance import Margin, Spread, band_probabilities, extra_ohm_at_misread, leak_to_edge
from loopwright.job.document import Job
from loopwright.job.sheet import Band, InputsSheet, Reads, RestPosition, Topology
from loopwright.netlist.compile import PowerNetwork
from loopwright.netlist.loop import Act, ActKind, LoopNetwork, LoopReading, compile_loop, read_loops
from loopwright.netlist.watch import compile_watches
from loopwright.values.figure import Figure, Input, Origin, Working
from loopwright.values.recent import Recent


@dataclass(frozen=True, kw_only=True, slots=True)
class BandTable:
    """The bands of one input for one topology as rising edges and what is read between them; None is a gap where nothing is promised."""

    edges_ohm: tuple[float, ...]
    reads: tuple[Reads | None, ...]

    def taken_for(self, ohm: float) -> Reads | None:
        """Return what a loop of ``ohm`` is taken for; an edge belongs to the band above it."""
        return self.reads[sum(1 for edge in self.edges_ohm if ohm >= edge)]


@dataclass(frozen=True, kw_only=True, slots=True)
class ActForecast:
    """One act on one circuit: the readings, what is read as nominal, what it is meant to be read as, and the probability that it is not.

    ``low_ohm`` and ``high_ohm`` are the worst-case corners. ``misread`` is None when the input has no bands for the topology.
    """

    act: Act
    field_ohm: float
    volts_v: float
    low_ohm: float
    high_ohm: float
    taken_for: Reads | None
    meant: frozenset[Reads]
    misread: float | None

    @property
    def right(self) -> bool:
        """Return whether the nominal reading is taken for what it is meant to be."""
        return self.taken_for in self.meant


@dataclass(frozen=True, kw_only=True, slots=True)
class CircuitForecast:
    """One detection circuit in all its acts."""

    circuit: str
    network: LoopNetwork
    reading: LoopReading
    bands: BandTable | None
    acts: tuple[ActForecast, ...]
    spreads: tuple[Spread, ...]

    @property
    def rest(self) -> ActForecast:
        """Return the circuit at rest."""
        return self.acts[0]

    def act(self, kind: ActKind, device: str | None = None) -> ActForecast:
        """Return one act's forecast. Raises KeyError when the circuit has no such act."""
        for item in self.acts:
            if item.act.kind is kind and (device is None or item.act.device == device):
                return item
        raise KeyError(kind)


KEPT: Recent[CircuitForecast] = Recent(most_names=1000)
"""Circuits as they were forecast last: an edit concerns one or two of them."""


class _Case(NamedTuple):
    """Everything a circuit's forecast comes from: its network, its bands, the tolerance of its pull-up as a share, what each act means."""

    network: LoopNetwork
    table: BandTable | None
    share: float
    meanings: tuple[frozenset[Reads], ...]


CASES: Recent[_Case] = Recent(most_names=1000)
"""What circuits were forecast from last, with the parts of the document that was made of."""


def forecast_circuits(job: Job) -> tuple[CircuitForecast, ...]:
    """Return the forecast of every detection circuit of ``job``."""
    return _forecast([_case(job, name) for name in job.circuits])


def _case(job: Job, name: str) -> _Case:
    """Return what a circuit is forecast from; it depends on the circuit, its runs and their cables, and the sheets of its devices."""
    circuit, inputs = job.circuits[name], _inputs_of(job, name)
    runs = [job.cables[hop.cable] for hop in circuit.path]
    sheets = [job.sheet_of(hop.device) for hop in circuit.path if hop.device is not None]
    arguments = (circuit, inputs, runs, [job.sheets.cables[run.sheet] for run in runs], sheets)
    known = CASES.find(name, arguments)
    if known is None:
        network = compile_loop(job, name)
        meanings = tuple(meant_for(job, network, act) for act in network.acts)
        known = _Case(network, band_table(inputs, circuit.topology), _pull_up_share(inputs), meanings)
        CASES.put(name, arguments, known)
    return known


def forecast_watches(job: Job, power: PowerNetwork) -> tuple[CircuitForecast, ...]:
    """Return what every supervised output sees of its cable while it is off, and what each cable fault does there."""
    networks = compile_watches(job, power)
    return _forecast(
        [
            _Case(network, _watch_bands(job, network.circuit), 0.0, tuple(_meant_for_watch(act) for act in network.acts))
            for network in networks
        ]
    )


def _forecast(cases: Sequence[_Case]) -> tuple[CircuitForecast, ...]:
    """Return the forecast of each case; those not forecast just before are solved together."""
    found = [KEPT.find(case.network.circuit, case) for case in cases]
    fresh = [case for case, known in zip(cases, found, strict=True) if known is None]
    made = _computed(fresh)
    for case, item in zip(fresh, made, strict=True):
        KEPT.put(case.network.circuit, case, item)
    rest = iter(made)
    return tuple(next(rest) if known is None else known for known in found)


def _computed(cases: Sequence[_Case]) -> list[CircuitForecast]:
    readings = read_loops([case.network for case in cases])
    spreads = [_spreads(case.network, reading, case.share) for case, reading in zip(cases, readings, strict=True)]
    chances = _probabilities(cases, spreads)
    return [_circuit(case, reading, rows, chance) for case, reading, rows, chance in zip(cases, readings, spreads, chances, strict=True)]


def _watch_bands(job: Job, output: str) -> BandTable:
    unit, _, terminal = output.partition(".")
    watch = job.sheet_of(unit).outputs[terminal].supervision
    assert watch is not None
    return BandTable(edges_ohm=(watch.short_below_ohm, watch.open_above_ohm), reads=(Reads.SHORT, Reads.REST, Reads.OPEN))


def _meant_for_watch(act: Act) -> frozenset[Reads]:
    meant = {ActKind.REST: Reads.REST, ActKind.SHORTED: Reads.SHORT}
    return frozenset({meant.get(act.kind, Reads.OPEN)})


def band_table(inputs: InputsSheet | None, topology: Topology) -> BandTable | None:
    """Return the bands of an input for a topology as edges with gaps between; None when the sheet has none for it."""
    bands: tuple[Band, ...] = inputs.bands.get(topology, ()) if inputs is not None else ()
    if not bands:
        return None
    edges: list[float] = []
    reads: list[Reads | None] = [None]
    for band in sorted(bands, key=lambda item: item.from_ohm):
        if band.from_ohm <= 0:
            reads[-1] = band.reads
        elif edges and band.from_ohm <= edges[-1]:
            reads[-1] = band.reads
        else:
            edges.append(band.from_ohm)
            reads.append(band.reads)
        if band.to_ohm is not None:
            edges.append(band.to_ohm)
            reads.append(None)
    return BandTable(edges_ohm=tuple(edges), reads=tuple(reads))


def _inputs_of(job: Job, circuit: str) -> InputsSheet | None:
    landed = job.circuits[circuit].input
    return job.sheet_of(landed.split(".")[0]).inputs if landed else None


def _pull_up_share(inputs: InputsSheet | None) -> float:
    """Return the tolerance of an input's pull-up as a share; 1 per cent where the circuit is not landed yet."""
    return (inputs.pull_up_tolerance_pct if inputs else 1.0) / 100


def _spreads(network: LoopNetwork, reading: LoopReading, share: float) -> tuple[Spread, ...]:
    """Return each act's loop as a sum of independent resistances between bounds, weighted by the share of the current in each.

    ``share`` is the tolerance of the pull-up.
    """
    pull, variables = network.pull_up.ohm, network.variables
    row = {name: position for position, name in enumerate(reading.names)}
    member = np.zeros((len(reading.names), len(variables)))
    for column, variable in enumerate(variables):
        member[[row[name] for name in variable.members], column] = 1.0
    counted = np.where(reading.weights > 0, reading.weights, 0.0)
    ohm = (counted * np.where(counted > 0, reading.ohm, 0.0)) @ member
    low, high = (ohm * [v.low for v in variables]).tolist(), (ohm * [v.high for v in variables]).tolist()
    names, ends = tuple(v.name for v in variables), (pull * (1 - share), pull * (1 + share))
    out = []
    for act, field_ohm in enumerate(reading.field_ohm.tolist()):
        parts = (("open",), (math.inf,), (math.inf,)) if math.isinf(field_ohm) else (names, tuple(low[act]), tuple(high[act]))
        out.append(Spread(names=parts[0], low_ohm=parts[1], high_ohm=parts[2], pull_up_low_ohm=ends[0], pull_up_high_ohm=ends[1]))
    return tuple(out)


def _probabilities(cases: Sequence[_Case], spreads: Sequence[tuple[Spread, ...]]) -> list[np.ndarray | None]:
    """Return per circuit the (acts, bands) probabilities, all circuits with equally many edges in one call."""
    out: list[np.ndarray | None] = [None] * len(cases)
    by_count: dict[int, list[int]] = {}
    for position, case in enumerate(cases):
        if case.table is not None:
            by_count.setdefault(len(case.table.edges_ohm), []).append(position)
    for members in by_count.values():
        rows: list[Spread] = []
        ratios: list[list[float]] = []
        for position in members:
            table, pull = cases[position].table, cases[position].network.pull_up.ohm
            assert table is not None
            rows += spreads[position]
            ratios += [[edge / (edge + pull) for edge in table.edges_ohm]] * len(spreads[position])
        found = band_probabilities(rows, np.array(ratios))
        at = 0
        for position in members:
            count = len(spreads[position])
            out[position] = found[at : at + count]
            at += count
    return out


def meant_for(job: Job, network: LoopNetwork, act: Act) -> frozenset[Reads]:
    """Return what an act is meant to be taken for. Common practice of each topology; no single standard lists it."""
    circuit = job.circuits[network.circuit]
    topology = circuit.topology
    if act.kind is ActKind.REST:
        return frozenset({Reads.REST, Reads.SHORT} if topology is Topology.NONE else {Reads.REST})
    if act.kind is ActKind.SHORTED:
        return frozenset({Reads.REST, Reads.SHORT} if topology is Topology.NONE else {Reads.SHORT})
    if act.kind in (ActKind.CUT, ActKind.LID_OPEN):
        return frozenset({Reads.OPEN, Reads.ACTIVE} if topology is Topology.NONE else {Reads.OPEN})
    if act.kind is ActKind.FAULT:
        return frozenset({Reads.FAULT, Reads.BOTH} if topology is Topology.TRIPLE else {Reads.OPEN})
    if topology in (Topology.NONE, Topology.SINGLE):
        closes = _closes(job, network.circuit, act.device)
        return frozenset({Reads.SHORT} if closes else {Reads.OPEN, Reads.ACTIVE})
    if topology is Topology.PAIR:
        return frozenset({Reads.BOTH}) if act.kind is ActKind.ALL_ACTIVATED else _pair(job, network.circuit, act.device)
    # Two devices active together add their resistors: an alarm or a tamper, but never rest.
    return frozenset({Reads.ACTIVE, Reads.OPEN, Reads.BOTH} if act.kind is ActKind.ALL_ACTIVATED else {Reads.ACTIVE})


def _closes(job: Job, circuit: str, device: str | None) -> bool:
    """Return whether the alarm contact of a device (of any device when None) stands open at rest."""
    devices = [hop.device for hop in job.circuits[circuit].path if hop.device is not None and device in (None, hop.device)]
    sheets = [job.sheet_of(name).contacts.get("alarm") for name in devices]
    return any(sheet is not None and sheet.rest is RestPosition.OPEN for sheet in sheets)


def _pair(job: Job, circuit: str, device: str | None) -> frozenset[Reads]:
    part = next((hop.part for hop in job.circuits[circuit].path if hop.device == device), "a")
    return frozenset({Reads.FAULT if part == "b" else Reads.ACTIVE})


def _circuit(case: _Case, reading: LoopReading, spreads: tuple[Spread, ...], chance: np.ndarray | None) -> CircuitForecast:
    network, table = case.network, case.table
    acts = []
    for position, (act, meant) in enumerate(zip(network.acts, case.meanings, strict=True)):
        ohm = float(reading.field_ohm[position])
        misread = None
        if table is not None and chance is not None:
            wrong = [p for read, p in zip(table.reads, chance[position], strict=True) if read not in meant]
            misread = float(min(max(sum(wrong), 0.0), 1.0))
        acts.append(
            ActForecast(
                act=act,
                field_ohm=ohm,
                volts_v=float(reading.volts_v[position]),
                low_ohm=spreads[position].loop_low_ohm,
                high_ohm=spreads[position].loop_high_ohm,
                taken_for=table.taken_for(ohm) if table is not None else None,
                meant=meant,
                misread=misread,
            )
        )
    return CircuitForecast(circuit=network.circuit, network=network, reading=reading, bands=table, acts=tuple(acts), spreads=spreads)


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """How far a circuit at rest is from misreading: extra loop ohms, the same as metres of its cable, and leakage across the pair."""

    extra_ohm: Margin | None
    extra_m: Margin | None
    leak_rest_ohm: float | None
    leak_alarm_ohm: float | None


def limits(job: Job, item: CircuitForecast) -> Limits:
    """Return the cable length and the leakage at which a circuit starts to misread; None where no edge lies that way."""
    if item.bands is None or math.isinf(item.rest.field_ohm):
        return Limits(extra_ohm=None, extra_m=None, leak_rest_ohm=None, leak_alarm_ohm=None)
    rest, pull = item.rest.field_ohm, item.network.pull_up.ohm
    above = [edge for edge in item.bands.edges_ohm if edge > rest]
    below = [edge for edge in item.bands.edges_ohm if edge <= rest]
    extra = extra_ohm_at_misread(item.spreads[0], upper_ratio=above[0] / (above[0] + pull)) if above and item.rest.right else None
    per_m = _loop_ohm_per_m(job, item)
    metres = None if extra is None or per_m is None else Margin(nominal=extra.nominal / per_m, worst=extra.worst / per_m)
    return Limits(
        extra_ohm=extra,
        extra_m=metres,
        leak_rest_ohm=leak_to_edge(rest, below[-1]) if below and item.rest.right else None,
        leak_alarm_ohm=_leak_alarm(item),
    )


def _leak_alarm(item: CircuitForecast) -> float | None:
    """Return the largest leakage [Ω] that makes an activated device read as something else; None when no act can be hidden so."""
    assert item.bands is not None
    found = []
    for act in item.acts:
        if act.act.kind not in (ActKind.ACTIVATED, ActKind.ALL_ACTIVATED) or not act.right:
            continue
        # With every part at its least: the leak has then least to do.
        below = [edge for edge in item.bands.edges_ohm if edge <= act.low_ohm]
        if below:
            found.append(below[-1] if math.isinf(act.low_ohm) else leak_to_edge(act.low_ohm, below[-1]))
    return max(found) if found else None


def _loop_ohm_per_m(job: Job, item: CircuitForecast) -> float | None:
    """Return the loop ohms that one metre of the circuit's cable brings, out and back."""
    length = sum(job.cables[hop.cable].length_m + job.cables[hop.cable].slack_m for hop in job.circuits[item.circuit].path)
    ohm = sum(float(o) for name, o in zip(item.reading.names, item.reading.ohm[0], strict=True) if ".core-" in name and math.isfinite(o))
    return ohm / length if length > 0 else None


def act_words(job: Job, item: CircuitForecast, act: ActForecast) -> str:
    """Return an act in words: which circuit or output, what is done, to which device."""
    where = f" ({act.act.device})" if act.act.device else ""
    return f"{'circuit' if item.circuit in job.circuits else 'output'} {item.circuit}, {act.act.kind}{where}"


def ohm_figure(job: Job, item: CircuitForecast, act: ActForecast) -> Figure:
    """Return the ohms of the pair with both wires out, in one act, with its working."""
    return Figure(
        key=f"ohm/{item.circuit}/{act.act.kind}/{act.act.device or ''}",
        label=f"{act_words(job, item, act)}, both wires out",
        value=act.field_ohm,
        unit="Ω",
        probes=(f"{item.circuit} core out", f"{item.circuit} core back"),
        working=partial(ohm_working, job, item, act),
    )


def volts_figure(job: Job, item: CircuitForecast, act: ActForecast) -> Figure:
    """Return the volts at the input's terminals, wires in place, in one act, with its working."""
    pull = item.network.pull_up

    def working() -> Working:
        return Working(
            formula="V = V_pu R / (R + R_pu)",
            inputs=(
                Input(name="pull-up volts V_pu", value=pull.open_v, unit="V", origin=Origin.SHEET),
                Input(name="pull-up R_pu", value=pull.ohm, unit="Ω", origin=Origin.SHEET if item.network.landed else Origin.DEFAULT),
                Input(name="loop R", value=act.field_ohm, unit="Ω", origin=Origin.COMPUTED),
            ),
            substituted="the loop is interrupted: nothing flows, and V is V_pu"
            if math.isinf(act.field_ohm)
            else f"{pull.open_v:g} × {act.field_ohm:.5g} / ({act.field_ohm:.5g} + {pull.ohm:g})",
            result=f"{act.volts_v:.3f} V",
        )

    landed = f"input {job.circuits[item.circuit].input or item.circuit}" if item.circuit in job.circuits else f"output {item.circuit}"
    return Figure(
        key=f"circuit-volts/{item.circuit}/{act.act.kind}/{act.act.device or ''}",
        label=f"{act_words(job, item, act)}, in place",
        value=act.volts_v,
        unit="V",
        probes=(landed, f"{item.network.common.split('.')[0]} 0 V"),
        working=working,
    )


def ohm_working(job: Job, item: CircuitForecast, act: ActForecast) -> Working:
    """Return how the loop's ohms come about: every resistance by the share of the loop's current that flows in it."""
    position = next(n for n, a in enumerate(item.network.acts) if a is act.act)
    inputs, terms = [], []
    for name, ohm, weight in zip(item.reading.names, item.reading.ohm[position], item.reading.weights[position], strict=True):
        if weight < 1e-9 or math.isinf(ohm):
            continue
        path = _resistor_path(item.circuit, name)
        origin = Origin.DOCUMENT if path or ".core-" in name else Origin.SHEET
        inputs.append(Input(name=part_words(job, item.circuit, name), value=float(ohm), unit="Ω", origin=origin, path=path))
        terms.append(f"{ohm:.4g}" if weight > 0.999 else f"{weight:.4f} × {ohm:.4g}")
    if math.isinf(act.field_ohm):
        return Working(formula="R = Σ w R", inputs=tuple(inputs), substituted="the loop is interrupted", result="OL")
    return Working(
        formula="R = Σ w R, w the square of the share of the loop's current",
        inputs=tuple(inputs),
        substituted=" + ".join(terms),
        result=f"{act.field_ohm:.1f} Ω",
        notes=(f"worst-case corners {act.low_ohm:.0f} to {act.high_ohm:.0f} Ω",),
    )


def _resistor_path(circuit: str, name: str) -> str:
    """Return the document path of a resistor named in a circuit's or an output's network; empty for what is not a resistor."""
    if "." in circuit:
        unit, _, output = circuit.partition(".")
        return f"equipment/{unit}/end_resistors/{output}/ohm" if name.endswith(".end") else ""
    if name.endswith(".end"):
        return f"circuits/{circuit}/resistors/end_ohm"
    if name.endswith("-resistor"):
        return f"circuits/{circuit}/resistors/{'fault_ohm' if name.endswith('.fault-resistor') else 'alarm_ohm'}"
    return ""
