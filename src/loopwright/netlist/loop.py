"""Detection circuits as networks: the loop of one input, with every act a technician can do to it.

A detection circuit touches the rest of the system at one point only, the 0 V of the unit whose input it lands on. A part that hangs
on one point can be solved by itself without changing anything (a test solves both together and compares), so circuits are
small dense systems, hundreds at a time, and an edit of the supply tree never re-solves them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from loopwright.job.document import Circuit, EndPlace, Hop, Job
from loopwright.job.sheet import ContactSheet, InputsSheet, RestPosition, Topology
from loopwright.netlist.band import MOST_WIDTH, in_rows, solve_row, width
from loopwright.netlist.compile import LEAST_OHM
from loopwright.netlist.conductor import Basis, conductor_of, ohm_per_m
from loopwright.netlist.element import Element, Netlist, PullUp, Resistance
from loopwright.netlist.fault import ChangeOhm, Fault, OpenCore, StuckContact, apply

Floats = NDArray[np.float64]

NODE_LEAK_S = 1e-12
"""Leak [S] from every point of a circuit to its 0 V: a point behind two open contacts has volts, and a meter sees no end of ohms."""
ISLAND_LEAK_S = 1e-9
"""The same [S] where points are cut off and their equations would be singular."""
LEAST_ROW = 16
"""From so many points on a circuit whose points lie in a row is solved along it."""
OVER_RANGE_OHM = 5e7
"""Above this [Ω] a common meter shows over range."""
ASSUMED_PULL_UP = (5.0, 4700.0)
"""Volts and ohms assumed behind a circuit that is not landed on an input yet."""
CABLE_BEST = 0.97
"""Best cable of its kind against its table value: about 3 % (common practice, no source)."""


class ActKind(StrEnum):
    """What is done to a circuit when it is read."""

    REST = "rest"
    ACTIVATED = "activated"
    LID_OPEN = "lid open"
    FAULT = "fault shown"
    SHORTED = "shorted at the device"
    CUT = "cut before the device"
    ALL_ACTIVATED = "all activated"
    NO_RESISTOR = "end resistor missing"
    LIFTED = "pair lifted at the device"


@dataclass(frozen=True, kw_only=True, slots=True)
class Act:
    """One act: its kind, the device it is done to, and the resistances [Ω] that change by it."""

    kind: ActKind
    device: str | None
    changes: tuple[tuple[str, float], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Variable:
    """One independent uncertain factor of a circuit: the resistances called ``members`` are all multiplied by it."""

    name: str
    members: tuple[str, ...]
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class LoopNetwork:
    """The network of one detection circuit, the acts it can be read in, and what about it is uncertain."""

    circuit: str
    netlist: Netlist
    terminal: str
    common: str
    pull_up: PullUp
    landed: bool
    acts: tuple[Act, ...]
    variables: tuple[Variable, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class LoopReading:
    """What one circuit shows in each of its acts, (acts,) each.

    ``volts_v`` [V] at the terminals in place; ``field_ohm`` [Ω] of the pair with both wires out, infinite when over range;
    ``weights`` (acts, resistances) is by how much each resistance counts in it, ``ohm`` (acts, resistances) what each is.
    """

    volts_v: Floats
    field_ohm: Floats
    weights: Floats
    ohm: Floats
    names: tuple[str, ...]


def compile_loops(job: Job) -> tuple[LoopNetwork, ...]:
    """Return the network of every detection circuit of ``job``."""
    return tuple(compile_loop(job, name) for name in job.circuits)


def compile_loop(job: Job, name: str) -> LoopNetwork:
    """Return the network of the circuit called ``name``. Raises KeyError when there is none."""
    return _LoopCompiler(job, name).run()


def with_faults(network: LoopNetwork, *faults: Fault) -> LoopNetwork:
    """Return ``network`` with wiring faults in it and the same acts to be done to it.

    What a fault has opened or stuck stays so whatever is done: acts no longer change it. Raises KeyError when a fault names no
    element or point.
    """
    held = {fault.name for fault in faults if isinstance(fault, OpenCore | StuckContact)}
    netlist = apply(network.netlist, *(_stuck(network, fault) if isinstance(fault, StuckContact) else fault for fault in faults))
    acts = tuple(replace(act, changes=tuple(change for change in act.changes if change[0] not in held)) for act in network.acts)
    pull_up = netlist.named(network.pull_up.name)
    assert isinstance(pull_up, PullUp)
    return replace(network, netlist=netlist, acts=acts, pull_up=pull_up)


def _stuck(network: LoopNetwork, fault: StuckContact) -> Fault:
    """Return the fault as a change of the contact's resistance [Ω]. Raises KeyError when it names no contact of the circuit."""
    moved = [
        ohm for act in network.acts for name, ohm in act.changes if name == fault.name and act.kind not in (ActKind.SHORTED, ActKind.CUT)
    ]
    if not moved:
        raise KeyError(fault.name)
    if not fault.closed:
        return ChangeOhm(fault.name, math.inf)
    at_rest = [element.ohm for element in network.netlist.of(Resistance) if isinstance(element, Resistance) and element.name == fault.name]
    return ChangeOhm(fault.name, min(*at_rest, *moved))


class _LoopCompiler:
    """Follows one circuit out along its path and appends elements, acts and variables."""

    def __init__(self, job: Job, name: str) -> None:
        self.job, self.name = job, name
        self.circuit: Circuit = job.circuits[name]
        self.elements: list[Element] = []
        self.acts: list[Act] = []
        self.variables: list[Variable] = []
        self.activations: list[tuple[str, float]] = []
        self.cable: dict[str, list[str]] = {}
        unit = self.circuit.input.split(".")[0] if self.circuit.input else None
        self.common = f"{unit}.0v" if unit else f"{name}.0v"
        self.inputs: InputsSheet | None = job.sheet_of(unit).inputs if unit else None

    def run(self) -> LoopNetwork:
        volts, ohm = (self.inputs.pull_up_v, self.inputs.pull_up_ohm) if self.inputs else ASSUMED_PULL_UP
        terminal = f"{self.name}.in"
        pull_up = PullUp(f"{self.name}.pull-up", terminal, self.common, volts, ohm)
        self.elements.append(pull_up)
        self.acts.append(Act(kind=ActKind.REST, device=None, changes=()))
        out, back = terminal, self.common
        end_ohm = self.circuit.resistors.end_ohm
        at_unit = self.circuit.end_at is EndPlace.CONTROL_UNIT
        if at_unit and end_ohm is not None and self.circuit.topology is not Topology.NONE:
            out = self._resistor("end", out, f"{self.name}.e", end_ohm)
        for number, hop in enumerate(self.circuit.path):
            out, back = self._hop(number, hop, out, back)
        if end_ohm is not None and not at_unit and self.circuit.topology is not Topology.NONE:
            self._resistor("end", out, back, end_ohm)
        else:
            self.elements.append(Resistance(f"{self.name}.link", out, back, LEAST_OHM))
        if self.circuit.leak_ohm:
            self.elements.append(Resistance(f"{self.name}.leak", terminal, self.common, self.circuit.leak_ohm))
        if len(self.activations) > 1:
            self.acts.append(Act(kind=ActKind.ALL_ACTIVATED, device=None, changes=tuple(self.activations)))
        self.variables += self._cable_variables()
        netlist = Netlist(elements=tuple(self.elements), references=(self.common,), title=f"circuit {self.name}")
        return LoopNetwork(
            circuit=self.name,
            netlist=netlist,
            terminal=terminal,
            common=self.common,
            pull_up=pull_up,
            landed=self.circuit.input is not None,
            acts=tuple(self.acts),
            variables=tuple(self.variables),
        )

    def _resistor(self, word: str, a: str, b: str, ohm: float) -> str:
        name = f"{self.name}.{word}"
        self.elements.append(Resistance(name, a, b, ohm))
        share = self.circuit.resistor_tolerance_pct / 100
        self.variables.append(Variable(name=name, members=(name,), low=1 - share, high=1 + share))
        return b

    def _hop(self, number: int, hop: Hop, out: str, back: str) -> tuple[str, str]:
        cable = self.job.cables[hop.cable]
        conductor = conductor_of(self.job.sheets.cables[cable.sheet])
        ohm = max(ohm_per_m(conductor, cable.temperature_c, Basis.NOMINAL) * (cable.length_m + cable.slack_m), LEAST_OHM)
        far, far_back = f"{self.name}.{number}", f"{self.name}.{number}.back"
        out_name, back_name = f"{self.name}.{number}.core-out", f"{self.name}.{number}.core-back"
        self.elements += [Resistance(out_name, out, far, ohm), Resistance(back_name, back, far_back, ohm)]
        self.cable.setdefault(cable.sheet, []).extend((out_name, back_name))
        if hop.device is None:
            return far, far_back
        short = f"{self.name}.{number}.short"
        self.elements.append(Resistance(short, far, far_back, math.inf))
        out = self._contacts(number, hop, far, far_back)
        self.acts += [
            Act(kind=ActKind.SHORTED, device=hop.device, changes=((short, LEAST_OHM),)),
            Act(kind=ActKind.CUT, device=hop.device, changes=((out_name, math.inf),)),
        ]
        return out, far_back

    def _contacts(self, number: int, hop: Hop, out: str, back: str) -> str:
        """Append the contacts of a device in their order; each resistor of the topology stands across its contact."""
        assert hop.device is not None
        sheet = self.job.sheet_of(hop.device)
        kinds = {"alarm": ActKind.ACTIVATED, "tamper": ActKind.LID_OPEN, "fault": ActKind.FAULT}
        for word in hop.contacts:
            contact = sheet.contacts.get(word, ContactSheet())
            name = f"{self.name}.{number}.{word}"
            closed = max(contact.closed_ohm, LEAST_OHM)
            resting_open = contact.rest is RestPosition.OPEN
            a, b = (out, back) if resting_open else (out, f"{self.name}.{number}.{word}.far")
            self.elements.append(Resistance(name, a, b, math.inf if resting_open else closed))
            share = contact.closed_tolerance_ohm / closed
            self.variables.append(Variable(name=name, members=(name,), low=max(1 - share, 0.0), high=1 + share))
            across = None if resting_open else self._across(word, hop)
            if across is not None:
                self._resistor(f"{number}.{word}-resistor", a, b, across)
            change = (name, closed if resting_open else math.inf)
            self.acts.append(Act(kind=kinds.get(word, ActKind.ACTIVATED), device=hop.device, changes=(change,)))
            if word == "alarm":
                self.activations.append(change)
            out = out if resting_open else b
        return out

    def _across(self, word: str, hop: Hop) -> float | None:
        """Return the resistor [Ω] that the topology puts across a contact, None when it puts none."""
        resistors, topology = self.circuit.resistors, self.circuit.topology
        if word == "alarm" and topology in (Topology.DOUBLE, Topology.TRIPLE):
            return resistors.alarm_ohm
        if word == "fault" and topology is Topology.TRIPLE:
            return resistors.fault_ohm
        if word == "alarm" and topology is Topology.PAIR:
            return resistors.fault_ohm if hop.part == "b" else resistors.alarm_ohm
        return None

    def _cable_variables(self) -> list[Variable]:
        """Return one factor a kind of cable: all its metres come from the same drum and differ together."""
        out = []
        for sheet, members in self.cable.items():
            conductor = conductor_of(self.job.sheets.cables[sheet])
            most = ohm_per_m(conductor, 20.0, Basis.MAXIMUM) / ohm_per_m(conductor, 20.0, Basis.NOMINAL)
            out.append(Variable(name=f"{self.name}.cable.{sheet}", members=tuple(members), low=CABLE_BEST, high=max(most, 1.0)))
        return out


def read_loops(networks: Sequence[LoopNetwork]) -> tuple[LoopReading, ...]:
    """Return what every circuit shows in every one of its acts.

    Circuits with the same number of points are solved together as one stack of small dense systems.
    """
    built = [_LoopArrays(network) for network in networks]
    by_size: dict[int, list[_LoopArrays]] = {}
    for arrays in built:
        by_size.setdefault(arrays.size, []).append(arrays)
    for size, members in by_size.items():
        volts = (
            _in_a_row(members) if size >= LEAST_ROW and max(arrays.width for arrays in members) <= MOST_WIDTH else _as_equations(members)
        )
        at = 0
        for arrays in members:
            arrays.volts = volts[at : at + arrays.conductance.shape[0]]
            at += arrays.conductance.shape[0]
    return tuple(arrays.reading() for arrays in built)


def _as_equations(members: list[_LoopArrays]) -> Floats:
    """Return the (acts of all, points) volts of circuits with the same number of points, from their node equations."""
    matrix = np.concatenate([arrays.matrices() for arrays in members])
    right = np.concatenate([arrays.right() for arrays in members])
    return _volts(matrix, right) if members[0].size else np.zeros((len(matrix), 0))


def _in_a_row(members: list[_LoopArrays]) -> Floats:
    """Return the same where the points lie in a row, as those of a chain of devices do."""
    most = max(1, *(arrays.width for arrays in members))
    joined = np.concatenate([in_rows(m.a, m.b, m.conductance.T, m.size, most) for m in members], axis=2)
    joined[:, 0] += NODE_LEAK_S
    pulls = [(m.network.pull_up, m.conductance.shape[0]) for m in members]
    joined[0, 0] += np.concatenate([np.full(acts, 1.0 / pull.ohm) for pull, acts in pulls])
    return solve_row(joined, np.concatenate([np.full(acts, pull.open_v / pull.ohm) for pull, acts in pulls])).T


def _volts(matrix: Floats, right: Floats) -> Floats:
    """Return the node volts of a stack of systems.

    Points cut off altogether and joined by next to no ohms are held by leaks too small to be told beside that: a larger leak then holds
    that system's points. It moves nothing that is read, since no current comes to them.
    """
    try:
        return np.asarray(np.linalg.solve(matrix, right[..., None])[..., 0])
    except np.linalg.LinAlgError:
        if len(matrix) == 1:
            size = matrix.shape[-1]
            return np.asarray(np.linalg.solve(matrix + ISLAND_LEAK_S * np.eye(size), right[..., None])[..., 0])
        return np.concatenate([_volts(matrix[row : row + 1], right[row : row + 1]) for row in range(len(matrix))])


def field_ohm(terminal_v: Floats, pull_v: Floats, pull_ohm: Floats) -> tuple[Floats, Floats]:
    """Return the current [A] into a circuit and its ohms, infinite over range, from the volts at its terminals and its pull-up."""
    current = (pull_v - terminal_v) / pull_ohm
    with np.errstate(divide="ignore", invalid="ignore"):
        ohm = np.where(current > 0, terminal_v / current, math.inf)
    return np.asarray(current), np.where(ohm > OVER_RANGE_OHM, math.inf, ohm)


class _LoopArrays:
    """One circuit's equations in all its acts; the 0 V point is left out of them."""

    def __init__(self, network: LoopNetwork) -> None:
        self.network = network
        resistances = [e for e in network.netlist.elements if isinstance(e, Resistance)]
        self.names = tuple(e.name for e in resistances)
        index = {network.common: -1, network.terminal: 0}
        for element in resistances:
            index.setdefault(element.a, len(index) - 1)
            index.setdefault(element.b, len(index) - 1)
        self.size = len(index) - 1
        self.a = np.array([index[e.a] for e in resistances])
        self.b = np.array([index[e.b] for e in resistances])
        self.width = width(self.a, self.b)
        row = {name: position for position, name in enumerate(self.names)}
        self.ohm = np.tile(np.array([e.ohm for e in resistances]), (len(network.acts), 1))
        for position, act in enumerate(network.acts):
            for name, ohm in act.changes:
                self.ohm[position, row[name]] = ohm
        self.conductance = 1.0 / self.ohm
        self.volts: Floats = np.zeros((0, 0))

    def matrices(self) -> Floats:
        """Return the (acts, points, points) node equations."""
        acts = self.conductance.shape[0]
        full = np.zeros((self.size + 1, self.size + 1, acts))
        g = self.conductance.T
        np.add.at(full, (self.a, self.a), g)
        np.add.at(full, (self.b, self.b), g)
        np.add.at(full, (self.a, self.b), -g)
        np.add.at(full, (self.b, self.a), -g)
        out = np.ascontiguousarray(np.moveaxis(full[:-1, :-1], 2, 0))
        diagonal = np.arange(self.size)
        out[:, diagonal, diagonal] += NODE_LEAK_S
        out[:, 0, 0] += 1.0 / self.network.pull_up.ohm
        return out

    def right(self) -> Floats:
        """Return the (acts, points) currents the pull-up drives in."""
        out = np.zeros((self.conductance.shape[0], self.size))
        out[:, 0] = self.network.pull_up.open_v / self.network.pull_up.ohm
        return out

    def reading(self) -> LoopReading:
        """Return terminal volts, field ohms and the weight of each resistance in them.

        The weight of a resistance in the resistance of the whole pair is the square of its share of the current: Cohn's theorem
        (S. Cohn, Proc. Am. Math. Soc. 1 (1950), 316: from memory), which is 1 for what stands in series.
        """
        pull = self.network.pull_up
        terminal = self.volts[:, 0]
        current, ohm = field_ohm(terminal, np.array(pull.open_v), np.array(pull.ohm))
        padded = np.concatenate((self.volts, np.zeros((self.volts.shape[0], 1))), axis=1)
        through = (padded[:, self.a] - padded[:, self.b]) * self.conductance
        weights = np.where(np.isinf(ohm)[:, None], 0.0, (through / np.maximum(current, 1e-30)[:, None]) ** 2)
        return LoopReading(volts_v=terminal, field_ohm=ohm, weights=weights, ohm=self.ohm, names=self.names)
