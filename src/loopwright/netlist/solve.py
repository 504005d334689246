"""The solver: node volts of a network in many scenarios at once.

Theory. Modified Newton on laws made of straight pieces: guess the piece every element works on, solve the linear network, look
which piece each element's volts now fall on, repeat until nothing moves. Scenarios that sit on the same pieces share one sparse
factorisation and differ in the right-hand side only, which is why twelve scenarios of a sound system cost about
as much as six factorisations. Constant power is curved: it stands on the right-hand side as ``P / v`` and is
iterated from the no-load volts downwards, which finds the highest (working) solution when there is more than one. What does not
settle so (a current limit, a supply near collapse) is let come down from no load by itself, each step a convex problem
with one answer.

A network may fall into islands: groups of points with no conducting path between them. Each island gets one
reference of its own; volts are compared inside an island only, and :meth:`Solution.across` has no figure between two.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from loopwright.netlist.branch import Branches, Lines, branches
from loopwright.netlist.element import Contact, Netlist, Resistance, Scenario

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SETTLED_V = 1e-11
"""A constant-power iteration is over when no volts moved more than this [V]."""
MOST_SHARED = 25
"""Iterations on shared factorisations before a scenario is finished by itself."""
MOST_STEPS = 400
"""Steps down from no load for one scenario by itself."""
MOST_TRIES = 100
"""Newton steps with line search within one of those steps."""
MOST_LAST = 40
"""Newton steps without, once near the solution; where two solutions fall together each only halves the way."""
DRAWING_A = 1e-6
"""A load that takes less [A] is not fed at all, rather than fed too low."""
SHORT_STEP_V = 0.02
"""A constant power that moves less [V] in one step has not jumped from one solution to another."""


class SolveError(Exception):
    """The network has no solution the solver could find; says in which scenario."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Solution:
    """Node volts, branch currents and islands of a network.

    ``volts`` is (nodes, scenarios) [V] against each island's own reference; ``island`` is (nodes, scenarios), the number of the
    island a node lies in; ``grounds`` is 1 where a node is its island's reference; ``currents`` is (branches, scenarios) [A] for
    the elements that are not resistances, in the order of ``branches.names``; ``piece`` says on which piece of its law each works.
    """

    netlist: Netlist
    scenarios: tuple[Scenario, ...]
    index: dict[str, int]
    volts: Floats
    island: Ints
    grounds: Floats = field(repr=False)
    energised: NDArray[np.bool_]
    branches: Branches
    piece: Ints
    currents: Floats
    conductance_s: Floats = field(repr=False)

    def across(self, plus: str, minus: str) -> Floats:
        """Return the volts a meter shows from ``plus`` to ``minus`` in each scenario; NaN between islands."""
        p, m = self.index[plus], self.index[minus]
        together = self.island[p] == self.island[m]
        return np.where(together, self.volts[p] - self.volts[m], np.nan)

    def branch_volts(self) -> Floats:
        """Return the volts across every branch that is not a resistance, (branches, scenarios) [V]."""
        return np.asarray(self.volts[self.branches.a] - self.volts[self.branches.b])

    def current(self, name: str) -> Floats:
        """Return the current [A] through the branch called ``name``, from its first point to its second, in each scenario."""
        return np.asarray(self.currents[self.branches.position[name]])

    def wire_current(self, name: str) -> Floats:
        """Return the current [A] through the resistance or contact called ``name`` in each scenario."""
        for position, element in enumerate(e for e in self.netlist.elements if isinstance(e, Resistance | Contact)):
            if element.name == name:
                drop = self.volts[self.index[element.a]] - self.volts[self.index[element.b]]
                return np.asarray(drop * self.conductance_s[position])
        raise KeyError(name)

    def references(self, scenario: int) -> tuple[str, ...]:
        """Return the reference point of every island in a scenario."""
        names = list(self.index)
        return tuple(names[node] for node in np.flatnonzero(self.grounds[:, scenario]).tolist())


def solve(netlist: Netlist, scenarios: tuple[Scenario, ...]) -> Solution:
    """Return the solution of ``netlist`` in every scenario.

    Raises SolveError when a scenario does not settle (which the laws, each continuous and leaking, should not allow).
    """
    return Work(netlist, scenarios).run()


@dataclass(frozen=True, kw_only=True, slots=True)
class Settled:
    """What came of solving all scenarios at once: node volts, the piece and the volts of every branch; ``left`` did not settle."""

    volts: Floats
    piece: Ints
    across: Floats
    left: tuple[int, ...]


class _Pattern:
    """The sparsity of the node equations, found once; every factorisation fills in numbers only."""

    def __init__(self, a: Ints, b: Ints, size: int) -> None:
        rows = np.concatenate((a, b, a, b, np.arange(size)))
        cols = np.concatenate((a, b, b, a, np.arange(size)))
        key = cols.astype(np.int64) * size + rows
        unique, self.slot = np.unique(key, return_inverse=True)
        indices = (unique % size).astype(np.int32)
        indptr = np.searchsorted(unique, np.arange(size + 1, dtype=np.int64) * size).astype(np.int32)
        self.matrix = csc_matrix((np.zeros(unique.size), indices, indptr), shape=(size, size))

    def factorise(self, conductance: Floats, ground: Floats) -> Any:  # noqa: ANN401 - scipy's SuperLU has no public type
        data = np.concatenate((conductance, conductance, -conductance, -conductance, ground))
        # A factorisation keeps its own copy, so the one matrix serves them all.
        self.matrix.data[:] = np.bincount(self.slot, weights=data, minlength=self.matrix.nnz)
        return splu(self.matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})


class Work:
    """One run of the solver: arrays made once, then pieces guessed, solved and corrected until nothing moves."""

    def __init__(self, netlist: Netlist, scenarios: tuple[Scenario, ...]) -> None:
        self.netlist, self.scenarios = netlist, scenarios
        nodes = netlist.nodes()
        self.index = {name: position for position, name in enumerate(nodes)}
        self.size = len(nodes)
        index = self.index
        wires = [e for e in netlist.elements if type(e) is Resistance or type(e) is Contact]
        self.wire_a = np.array([index[e.a] for e in wires], dtype=np.int64)
        self.wire_b = np.array([index[e.b] for e in wires], dtype=np.int64)
        self.wire_g = self._wire_conductance(wires)
        self.branches = self._laws()
        self.pattern = _Pattern(np.concatenate((self.wire_a, self.branches.a)), np.concatenate((self.wire_b, self.branches.b)), self.size)
        law, count = self.branches, self.branches.a.size
        ends = (np.concatenate((law.b, law.a)), np.concatenate((np.arange(count), np.arange(count))))
        # (nodes, branches): +1 where a branch's offset flows into a node, -1 where it flows out of one.
        self.into = csr_matrix((np.repeat([1.0, -1.0], count), ends), shape=(self.size, count))
        self.cache: dict[bytes, Any] = {}
        self._islands()

    def _laws(self) -> Branches:
        """Return the laws of all that is no resistance."""
        return branches(self.netlist, self.scenarios, self.index)

    def _wire_conductance(self, wires: list[Any]) -> Floats:
        """Return (wires, scenarios) [S]; contacts follow the scenario's system state."""
        ohm = np.array([e.ohm for e in wires], dtype=float).reshape(-1, 1)
        with np.errstate(divide="ignore"):
            conductance = np.repeat(1.0 / ohm, len(self.scenarios), axis=1)
        for position, element in enumerate(wires):
            if type(element) is Contact:
                conductance[position] *= [element.closed[s.state] for s in self.scenarios]
        return conductance

    def _islands(self) -> None:
        """Label islands, choose a reference for each, and say which a source reaches; scenarios alike share the work."""
        shape = (self.size, len(self.scenarios))
        self.island = np.empty(shape, dtype=np.int64)
        self.energised = np.zeros(shape, dtype=np.bool_)
        self.ground = np.zeros(shape)
        if not self.size:
            # A job that has just been begun: nothing is wired yet.
            return
        preferred = [self.index[name] for name in self.netlist.references]
        law = self.branches
        a, b = np.concatenate((self.wire_a, law.a)), np.concatenate((self.wire_b, law.b))
        # What matters is whether two points are joined, not by which of several elements between them.
        ends = np.minimum(a, b) * self.size + np.maximum(a, b)
        pairs, pair = np.unique(ends, return_inverse=True)
        live = np.concatenate((self.wire_g > 0, law.joins)).astype(float)
        joined = np.empty((len(self.scenarios), pairs.size), dtype=np.bool_)
        alike: dict[bytes, list[int]] = {}
        for column in range(len(self.scenarios)):
            joined[column] = np.bincount(pair, weights=live[:, column], minlength=pairs.size) > 0
            alike.setdefault(joined[column].tobytes() + law.gives[:, column].tobytes(), []).append(column)
        firsts = [columns[0] for columns in alike.values()]
        for first, columns, labels in zip(firsts, alike.values(), self._labels(pairs, joined[firsts]), strict=True):
            self._label(first, columns, preferred, labels)

    def _labels(self, pairs: Ints, joined: NDArray[np.bool_]) -> Ints:
        """Return the number of every node's island, (cases, nodes), counted from 0 in each case: one graph of all cases side by side."""
        size, (case, pair) = self.size, np.nonzero(joined)
        # Cases come in order and so do the pairs of each by their first point: the rows of the graph stand ready.
        row = case * size + pairs[pair] // size
        indptr = np.searchsorted(row, np.arange(joined.shape[0] * size + 1))
        indices = case * size + pairs[pair] % size
        shape = (joined.shape[0] * size,) * 2
        _, labels = connected_components(csr_matrix((np.ones(row.size), indices, indptr), shape=shape), directed=False)
        found = labels.reshape(-1, size).astype(np.int64)
        return np.asarray(found - found.min(axis=1, keepdims=True))

    def _label(self, first_column: int, columns: list[int], preferred: list[int], labels: Ints) -> None:
        """Note the islands of scenarios alike."""
        count = int(labels.max()) + 1
        reference = np.full(count, -1)
        first = np.full(count, self.size)
        np.minimum.at(first, labels, np.arange(self.size))
        for node in reversed(preferred):
            reference[labels[node]] = node
        reference = np.where(reference < 0, first, reference)
        sourced = np.zeros(count, dtype=np.bool_)
        sourced[labels[self.branches.a[self.branches.gives[:, first_column]]]] = True
        self.island[:, columns] = labels[:, None]
        self.energised[:, columns] = sourced[labels][:, None]
        # One siemens from the reference to nowhere: an island is closed, so no current can flow there and the reference is at 0 V.
        self.ground[np.ix_(reference, np.array(columns))] = 1.0

    def run(self) -> Solution:
        """Return the solution; what does not settle with the others is finished by itself. Raises SolveError as :func:`solve` does."""
        law, state = self.branches, self.settle_together()
        sound = [column for column in range(len(self.scenarios)) if column not in state.left]
        volts = state.volts
        for column in state.left:
            volts[:, column] = self._alone(column, self._near(column, sound, volts))
        found = volts[law.a] - volts[law.b]
        return Solution(
            netlist=self.netlist,
            scenarios=self.scenarios,
            index=self.index,
            volts=volts,
            island=self.island,
            grounds=self.ground,
            energised=self.energised,
            branches=law,
            piece=law.locate(found),
            currents=law.current(found),
            conductance_s=self.wire_g,
        )

    def settle_together(self) -> Settled:
        """Guess, solve and correct all scenarios at once, on shared factorisations; what does not settle so is left."""
        law = self.branches
        piece = law.start.copy()
        volts = np.zeros((self.size, len(self.scenarios)))
        across = law.guess.copy()
        open_columns = np.arange(len(self.scenarios))
        seen: list[set[bytes]] = [set() for _ in self.scenarios]
        going_round: list[int] = []
        for _ in range(MOST_SHARED):
            slope, offset = law.linear(piece, across)
            self._solve_columns(slope, offset, open_columns, volts)
            found = volts[law.a] - volts[law.b]
            moved = law.locate(found)
            still = np.all(moved[:, open_columns] == piece[:, open_columns], axis=0)
            for column in open_columns[~still].tolist():
                pattern = moved[:, column].tobytes()
                going_round += [column] if pattern in seen[column] else []
                seen[column].add(pattern)
            settled = still & law.curve_settled(across[:, open_columns], found[:, open_columns], open_columns, SETTLED_V)
            piece[:, open_columns] = moved[:, open_columns]
            across[:, open_columns] = found[:, open_columns]
            open_columns = np.setdiff1d(open_columns[~settled], going_round)
            if not open_columns.size:
                break
        left = np.unique(np.concatenate((open_columns, going_round, self._collapsed(piece, across)))).astype(int)
        return Settled(volts=volts, piece=piece, across=across, left=tuple(left.tolist()))

    def _near(self, column: int, sound: list[int], volts: Floats) -> Floats:
        """Return node volts to start a scenario from: those of a settled one in the same system state, mains alike; else nothing."""
        wanted = self.scenarios[column]
        alike = [c for c in sound if self.scenarios[c].state == wanted.state and self.scenarios[c].mains == wanted.mains]
        return volts[:, alike[-1]].copy() if alike else np.zeros(self.size)

    def _collapsed(self, piece: Ints, across: Floats) -> Ints:
        """Return the scenarios in which a constant power was found below its knee, drawing.

        Pieces guessed wrongly on the way (a current limit met with every load at full current, the battery not called on yet) can throw it
        below its knee although a working solution stands above; letting the volts droop from no load finds which it is.
        """
        rows = self.branches.curved
        drawing = self.branches.current(across)[rows] > DRAWING_A
        return np.flatnonzero(np.any((piece[rows] == 0) & (self.branches.power_w[rows] > 0.0) & drawing, axis=0))

    def _solve_columns(self, slope: Floats, offset: Floats, columns: Ints, volts: Floats) -> None:
        """Solve the linear network of the chosen pieces for ``columns``, one factorisation a distinct matrix."""
        groups: dict[bytes, list[int]] = {}
        matrices = np.concatenate((self.wire_g[:, columns], slope[:, columns], self.ground[:, columns])).T
        for place, matrix in enumerate(np.ascontiguousarray(matrices)):
            groups.setdefault(matrix.tobytes(), []).append(place)
        right = self.into @ offset[:, columns]
        for key, places in groups.items():
            members = columns[places]
            factor = self.cache.get(key)
            if factor is None:
                first = members[0]
                conductance = np.concatenate((self.wire_g[:, first], slope[:, first]))
                factor = self.cache[key] = self.pattern.factorise(conductance, self.ground[:, first])
            volts[:, members] = factor.solve(right[:, places])

    def _solve_one(self, column: int, slope: Floats, offset: Floats) -> Floats:
        """Return the node volts of one scenario with the chosen pieces, each (branches); no other comes by the same numbers again."""
        conductance = np.concatenate((self.wire_g[:, column], slope))
        return np.asarray(self.pattern.factorise(conductance, self.ground[:, column]).solve(self.into @ offset))

    def _alone(self, column: int, x: Floats) -> Floats:
        """Return the node volts of one scenario, finished as the real network would: let the volts come down from no load.

        With every constant power drawing the steady current it had at the volts before, all laws are increasing and the network has one
        solution, found by :meth:`_settle`; drawing more there, it comes down further, to the highest solution and never past it. Near
        that Newton takes the last steps. ``x`` is where to start looking: it shortens the way and does not change the end.
        """
        law = self.branches
        before = law.rest_volts()[:, column]
        for _ in range(MOST_STEPS):
            x = self._settle(column, law.frozen(column, before), x)
            found = x[law.a] - x[law.b]
            fall, fell = found - before, self._leap(column, before, found)
            before = found
            if fell > SHORT_STEP_V:
                continue
            last = self._finish(column, before)
            if last is not None and self._leap(column, before, last[law.a] - last[law.b]) <= SHORT_STEP_V:
                return last
            # Almost at rest, with no solution near: a narrow pass, gone through at a walking pace.
            before = before + fall * (SHORT_STEP_V / max(fell, SETTLED_V))
        raise SolveError(f"{self.netlist.title or 'network'}: no settled solution in scenario '{self.scenarios[column].name}'")

    def _leap(self, column: int, before: Floats, after: Floats) -> float:
        """Return how far [V] the constant power that moved most has moved."""
        rows = self.branches.curved[self.branches.power_w[self.branches.curved, column] > 0.0]
        return float(np.max(np.abs(after - before)[rows], initial=0.0))

    def _settle(self, column: int, lines: Lines, x: Floats) -> Floats:
        """Return the node volts of one scenario whose laws are all increasing lines, starting from ``x``.

        Such a network's volts are the least of a convex content made of parabolas (Millar 1951: from memory), so Newton with an exact line
        search comes down to it from anywhere.
        """
        law = self.branches
        for _ in range(MOST_TRIES):
            across = x[law.a] - x[law.b]
            piece = lines.locate(across)
            target = self._solve_one(column, *lines.pick(piece))
            step = target - x
            moved = step[law.a] - step[law.b]
            if np.array_equal(lines.locate(across + moved), piece):
                return target
            drop, rise = x[self.wire_a] - x[self.wire_b], step[self.wire_a] - step[self.wire_b]
            ground, conductance = self.ground[:, column], self.wire_g[:, column]
            level = float(conductance @ (drop * rise) + ground @ (x * step))
            bend = float(conductance @ (rise * rise) + ground @ (step * step))
            x = x + lines.lowest_along(across, moved, level=level, bend=bend) * step
        raise SolveError(f"{self.netlist.title or 'network'}: no settled solution in scenario '{self.scenarios[column].name}'")

    def _finish(self, column: int, before: Floats) -> Floats | None:
        """Return the node volts Newton's own steps come to from the branch volts ``before``; None when they do not settle."""
        law, across = self.branches, before
        piece, *lines = law.tangent(column, across)
        for _ in range(MOST_LAST):
            volts = self._solve_one(column, *lines)
            found = volts[law.a] - volts[law.b]
            moved = float(np.max(np.abs(found - across), initial=0.0))
            across, was = found, piece
            piece, *lines = law.tangent(column, across)
            if moved < SETTLED_V * 10 and np.array_equal(piece, was):
                return volts
        return None


def imbalance(solution: Solution) -> Floats:
    """Return the net current [A] leaving every node, (nodes, scenarios): Kirchhoff's current law asks for zero."""
    wires = [e for e in solution.netlist.elements if isinstance(e, Resistance | Contact)]
    a = np.array([solution.index[e.a] for e in wires], dtype=np.int64)
    b = np.array([solution.index[e.b] for e in wires], dtype=np.int64)
    flow = solution.conductance_s * (solution.volts[a] - solution.volts[b]) if wires else np.zeros((0, len(solution.scenarios)))
    out = np.zeros_like(solution.volts)
    np.add.at(out, a, flow)
    np.add.at(out, b, -flow)
    np.add.at(out, solution.branches.a, solution.currents)
    np.add.at(out, solution.branches.b, -solution.currents)
    return out
