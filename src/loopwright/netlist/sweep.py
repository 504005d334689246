"""Many single wiring faults on one solved network, without solving it anew for each.

Theory. A fault that opens, bridges or changes one resistance adds ``dg (e_a - e_b)(e_a - e_b)'`` to the node equations, so by the
Sherman–Morrison formula its effect needs one column of the inverse. The network is first reduced to what matters: the branches that are
not resistances, the pairs where a fault may sit, and the watched pairs. Loads stand in the matrix with their steepest slope,
``I / knee``, and what their true law draws less is iterated on the right-hand side, for all faults at once; the steepest slope makes
that iteration contract. A fault that makes a supply change its piece (a short that brings the limit into play) does not settle so and is
solved by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

from loopwright.netlist.element import Contact, Load, Resistance
from loopwright.netlist.fault import Bridge, ChangeOhm, Fault, Leak, OpenCore, apply
from loopwright.netlist.solve import Solution, solve

Floats = NDArray[np.float64]

SETTLED_V = 1e-8
MOST_ROUNDS = 60


@dataclass(frozen=True, kw_only=True, slots=True)
class Sweep:
    """The volts of each watched pair under each fault, (pairs, faults); ``alone`` says which faults were solved by themselves."""

    volts_v: Floats
    alone: NDArray[np.bool_]


def sweep(solution: Solution, scenario: int, faults: Sequence[Fault], watch: Sequence[tuple[str, str]]) -> Sweep:
    """Return the watched volts under each of ``faults``, one at a time, in one scenario of a solved network.

    Watched pairs must lie in one island before the fault. Raises KeyError for a fault or a pair that names nothing in the network.
    """
    reduced = _Reduced(solution, scenario, faults, watch)
    volts, settled = reduced.settle()
    for position in np.flatnonzero(~settled).tolist():
        again = solve(apply(solution.netlist, faults[position]), (solution.scenarios[scenario],))
        volts[:, position] = [float(again.across(plus, minus)[0]) for plus, minus in watch]
    return Sweep(volts_v=volts, alone=~settled)


class _Reduced:
    """The network as seen from its branches (b), its fault pairs (f) and its watched pairs (w)."""

    def __init__(self, solution: Solution, scenario: int, faults: Sequence[Fault], watch: Sequence[tuple[str, str]]) -> None:
        self.solution, self.scenario = solution, scenario
        law = solution.branches
        self.slope, self.offset = self._slopes()
        size, count = len(solution.index), law.a.size
        wires = [e for e in solution.netlist.elements if isinstance(e, Resistance | Contact)]
        index = solution.index
        wire_a = np.array([index[e.a] for e in wires], dtype=np.int64)
        wire_b = np.array([index[e.b] for e in wires], dtype=np.int64)
        conductance = np.concatenate((solution.conductance_s[:, scenario], self.slope))
        a, b = np.concatenate((wire_a, law.a)), np.concatenate((wire_b, law.b))
        node = np.arange(size)
        rows, cols = np.concatenate((a, b, a, b, node)), np.concatenate((a, b, b, a, node))
        data = np.concatenate((conductance, conductance, -conductance, -conductance, solution.grounds[:, scenario]))
        factor = splu(coo_matrix((data, (rows, cols)), shape=(size, size)).tocsc(), permc_spec="MMD_AT_PLUS_A")
        f_a, f_b, self.dg = self._fault_pairs(faults, {e.name: position for position, e in enumerate(wires)}, wires)
        w_a = np.array([index[plus] for plus, _ in watch])
        w_b = np.array([index[minus] for _, minus in watch])
        from_b = factor.solve(_pairs(law.a, law.b, size))
        from_f = factor.solve(_pairs(f_a, f_b, size))
        right = np.zeros(size)
        np.add.at(right, law.a, -self.offset)
        np.add.at(right, law.b, self.offset)
        base = factor.solve(right)
        self.z_bb, self.z_bf = from_b[law.a] - from_b[law.b], from_f[law.a] - from_f[law.b]
        self.z_wb, self.z_wf = from_b[w_a] - from_b[w_b], from_f[w_a] - from_f[w_b]
        self.zeta = (from_f[f_a] - from_f[f_b])[np.arange(f_a.size), np.arange(f_a.size)] if f_a.size else np.zeros(0)
        self.base_b, self.base_f, self.base_w = base[law.a] - base[law.b], base[f_a] - base[f_b], base[w_a] - base[w_b]
        self.count = count

    def _slopes(self) -> tuple[Floats, Floats]:
        """Return slope and offset of every branch: sources on the piece they work on, loads on their steepest line through nothing."""
        law, column = self.solution.branches, self.scenario
        piece = self.solution.piece[:, column]
        pick = np.arange(piece.size)
        slope, offset = law.slope[piece, pick, column].copy(), law.offset[piece, pick, column].copy()
        loads = np.array([isinstance(e, Load) for e in law.elements])
        slope[loads], offset[loads] = law.slope[0, loads, column], law.offset[0, loads, column]
        return slope, offset

    def _fault_pairs(
        self, faults: Sequence[Fault], row: dict[str, int], wires: Sequence[Resistance | Contact]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
        """Return each fault's two nodes and the conductance [S] it adds between them."""
        index, column = self.solution.index, self.scenario
        a, b, dg = [], [], []
        for fault in faults:
            if isinstance(fault, Bridge | Leak):
                a.append(index[fault.a])
                b.append(index[fault.b])
                dg.append(1.0 / fault.ohm)
                continue
            if not isinstance(fault, OpenCore | ChangeOhm):
                raise KeyError(f"{type(fault).__name__} is not a change of one resistance")
            wire = wires[row[fault.name]]
            now = float(self.solution.conductance_s[row[fault.name], column])
            then = 0.0 if isinstance(fault, OpenCore) else (1.0 / fault.ohm if now > 0 else 0.0)
            a.append(index[wire.a])
            b.append(index[wire.b])
            dg.append(then - now)
        return np.array(a, dtype=np.int64), np.array(b, dtype=np.int64), np.array(dg)

    def settle(self) -> tuple[Floats, NDArray[np.bool_]]:
        """Return the watched volts (pairs, faults) and which faults settled on the shared factorisation."""
        law, column = self.solution.branches, self.scenario
        faults = self.dg.size
        sound = self.solution.branch_volts()[:, column : column + 1]
        before = law.current_columns(sound, column) - self._straight(sound)
        extra = np.repeat(before, faults, axis=1)
        across = np.repeat(sound, faults, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            gain = self.dg / (1.0 + self.dg * self.zeta)
        open_faults = np.flatnonzero(np.isfinite(gain) & (np.abs(1.0 + self.dg * self.zeta) > 1e-6))
        settled = np.zeros(faults, dtype=np.bool_)
        for _ in range(MOST_ROUNDS):
            drive = extra[:, open_faults]
            z = self.z_bf[:, open_faults]
            pair = self.base_f[open_faults] - np.einsum("bf,bf->f", z, drive)
            found = self.base_b[:, None] - self.z_bb @ drive - z * (gain[open_faults] * pair)
            done = np.max(np.abs(found - across[:, open_faults]), axis=0) < SETTLED_V
            across[:, open_faults] = found
            extra[:, open_faults] = law.current_columns(found, column) - self._straight(found)
            settled[open_faults[done]] = True
            open_faults = open_faults[~done]
            if not open_faults.size:
                break
        pair = self.base_f - np.einsum("bf,bf->f", self.z_bf, extra)
        volts = self.base_w[:, None] - self.z_wb @ extra - self.z_wf * (gain * pair)
        return volts, settled & np.all(np.isfinite(volts), axis=0)

    def _straight(self, across: Floats) -> Floats:
        """Return the currents of the straight lines that stand in the matrix."""
        return np.asarray(self.slope[:, None] * across + self.offset[:, None])


def _pairs(a: NDArray[np.int64], b: NDArray[np.int64], size: int) -> Floats:
    """Return one column a pair: a current in at ``a`` and out at ``b``."""
    out = np.zeros((size, a.size))
    pick = np.arange(a.size)
    np.add.at(out, (a, pick), 1.0)
    np.add.at(out, (b, pick), -1.0)
    return out
