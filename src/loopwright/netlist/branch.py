"""The laws of all elements that are not resistances, as one table of straight pieces the solver looks up.

For branch ``j`` in scenario ``s`` piece ``p`` (0, 1, 2) holds below ``edge[p]`` and gives ``i = slope[p] v + offset[p]``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopwright.job.sheet import LoadLaw
from loopwright.netlist.element import LEAK_S, NO_LIMIT_A, Battery, Charger, Diode, Load, Netlist, PullUp, Scenario, Source

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

END_OF_DISCHARGE_OHM = 1e-6
"""Least path resistance [Ω] behind a battery held at its cut-out: an ideal source would have no branch law."""


class Lines(NamedTuple):
    """The laws of one scenario as increasing lines: ``edge`` (2, branches), ``slope`` and ``offset`` (3, branches)."""

    edge: Floats
    slope: Floats
    offset: Floats

    def locate(self, across: Floats) -> Ints:
        """Return the piece that the volts across each branch fall on."""
        return np.asarray((across >= self.edge[0]).astype(np.int64) + (across >= self.edge[1]))

    def pick(self, piece: Ints) -> tuple[Floats, Floats]:
        """Return slope [S] and offset [A] of the chosen pieces."""
        branch = np.arange(piece.size)
        return self.slope[piece, branch], self.offset[piece, branch]

    def lowest_along(self, across: Floats, moved: Floats, *, level: float, bend: float) -> float:
        """Return the share of a step, 0 to 1, at which the content is least.

        ``level`` and ``bend`` [W] are what the resistances add to the content's slope along the step, at its start and per share. The
        slope is a rising broken line in the share: the break where it turns is found by halving, the zero inside by proportion.
        """

        def slope_at(share: float) -> float:
            volts = across + share * moved
            slope, offset = self.pick(self.locate(volts))
            return level + bend * share + float((slope * volts + offset) @ moved)

        if slope_at(1.0) <= 0.0:
            return 1.0
        with np.errstate(divide="ignore", invalid="ignore"):
            breaks = ((self.edge - across) / moved).ravel()
        shares = np.concatenate(([0.0], np.sort(breaks[(breaks > 0.0) & (breaks < 1.0)]), [1.0]))
        low, high = 0, shares.size - 1
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if slope_at(float(shares[middle])) <= 0.0 else (low, middle)
        start, end = float(shares[low]), float(shares[high])
        here, there = slope_at(start), slope_at(end)
        return start + (end - start) * (-here / (there - here)) if there > here else end


@dataclass(frozen=True, kw_only=True, slots=True)
class Branches:
    """The table. Arrays are (branches, scenarios) unless said otherwise.

    ``edge`` is (2, branches, scenarios); ``slope`` and ``offset`` (3, branches, scenarios); ``power_w`` is the constant power of a
    curved branch, 0 elsewhere; ``joins`` says whether the branch holds its two points in one island, ``gives`` whether it is a live source;
    ``start`` is the piece to try first, ``guess`` the volts to try constant power at.
    """

    names: tuple[str, ...]
    position: dict[str, int]
    elements: tuple[Any, ...]
    a: Ints
    b: Ints
    edge: Floats
    slope: Floats
    offset: Floats
    power_w: Floats
    joins: NDArray[np.bool_]
    gives: NDArray[np.bool_]
    start: Ints
    guess: Floats
    curved: Ints

    def linear(self, piece: Ints, across: Floats) -> tuple[Floats, Floats]:
        """Return slope [S] and offset [A] of the chosen pieces; constant power on its curved piece stands as its current at ``across``."""
        slope = np.take_along_axis(self.slope, piece[None], axis=0)[0]
        offset = np.take_along_axis(self.offset, piece[None], axis=0)[0]
        rows = self.curved
        if rows.size:
            on = piece[rows] == 1
            volts = np.maximum(across[rows], self.edge[0, rows])
            slope[rows] = np.where(on, LEAK_S, slope[rows])
            offset[rows] = np.where(on, self.power_w[rows] / volts, offset[rows])
        return slope, offset

    def tangent(self, column: int, across: Floats) -> tuple[Ints, Floats, Floats]:
        """Return the pieces one scenario's volts ``across`` (branches) fall on, and their slope [S] and offset [A].

        Constant power on its curved piece brings its (negative) slope there.
        """
        lines = Lines(self.edge[:, :, column], self.slope[:, :, column], self.offset[:, :, column])
        piece = lines.locate(across)
        slope, offset = lines.pick(piece)
        rows = self.curved
        if rows.size:
            on = piece[rows] == 1
            volts = np.maximum(across[rows], lines.edge[0, rows])
            current = self.power_w[rows, column] / volts
            slope[rows] = np.where(on, LEAK_S - current / volts, slope[rows])
            offset[rows] = np.where(on, 2 * current, offset[rows])
        return piece, slope, offset

    def frozen(self, column: int, before: Floats) -> Lines:
        """Return the laws of one scenario as increasing lines, constant power drawing the steady current it had at ``before`` (branches).

        Below its knee it then turns ohmic as a constant-current load does.
        """
        edge, slope, offset = self.edge[:, :, column].copy(), self.slope[:, :, column].copy(), self.offset[:, :, column].copy()
        rows = self.curved
        if rows.size:
            knee = edge[0, rows]
            current = self.power_w[rows, column] / np.maximum(before[rows], knee)
            slope[0, rows], offset[1, rows] = LEAK_S + current / knee, current
        return Lines(edge, slope, offset)

    def locate(self, across: Floats) -> Ints:
        """Return the piece that the volts across each branch fall on."""
        return np.asarray((across >= self.edge[0]).astype(np.int64) + (across >= self.edge[1]))

    def curve_settled(self, before: Floats, after: Floats, columns: Ints, settled_v: float) -> NDArray[np.bool_]:
        """Return, for each of ``columns``, whether no curved branch with power in it moved more than ``settled_v`` [V]."""
        rows = self.curved
        if not rows.size:
            return np.ones(columns.size, dtype=np.bool_)
        still = np.abs(before[rows] - after[rows]) <= settled_v
        return np.asarray(np.all(still | (self.power_w[np.ix_(rows, columns)] == 0.0), axis=0))

    def current(self, across: Floats) -> Floats:
        """Return the true current [A] of every branch at the volts across it."""
        piece = self.locate(across)
        out = np.take_along_axis(self.slope, piece[None], axis=0)[0] * across + np.take_along_axis(self.offset, piece[None], axis=0)[0]
        rows = self.curved
        if rows.size:
            volts = np.maximum(across[rows], self.edge[0, rows])
            out[rows] = np.where(piece[rows] == 1, self.power_w[rows] / volts + LEAK_S * across[rows], out[rows])
        return np.asarray(out)

    def current_columns(self, across: Floats, column: int) -> Floats:
        """Return the true currents [A] in one scenario for many sets of branch volts, (branches, sets)."""
        edge, slope, offset = self.edge[:, :, column, None], self.slope[:, :, column, None], self.offset[:, :, column, None]
        low, high = across < edge[0], across >= edge[1]
        out = np.where(low, slope[0] * across + offset[0], slope[1] * across + offset[1])
        out = np.where(high, slope[2] * across + offset[2], out)
        rows = self.curved
        if rows.size:
            volts = np.maximum(across[rows], edge[0][rows])
            curve = self.power_w[rows, column, None] / volts + LEAK_S * across[rows]
            out[rows] = np.where(low[rows], out[rows], curve)
        return np.asarray(out)

    def rest_volts(self) -> Floats:
        """Return the volts each branch may have before any load has drawn: the highest of the live sources' volts."""
        highest = np.max(np.where(self.gives, np.max(np.where(np.isfinite(self.edge), self.edge, 0.0), axis=0), 0.0), axis=0)
        return np.broadcast_to(highest, self.a.shape + highest.shape).copy()


class _Table:
    """The arrays under construction, filled one kind of element at a time."""

    def __init__(self, count: int, scenarios: int) -> None:
        shape = (count, scenarios)
        self.edge = np.full((2, *shape), np.inf)
        self.slope = np.full((3, *shape), LEAK_S)
        self.offset = np.zeros((3, *shape))
        self.power_w = np.zeros(shape)
        self.joins = np.ones(shape, dtype=np.bool_)
        self.gives = np.zeros(shape, dtype=np.bool_)
        self.start = np.zeros(shape, dtype=np.int64)
        # Far above any real volts, so that constant power is approached from no load downwards: the highest solution.
        self.guess = np.full(shape, 1000.0)


def branches(netlist: Netlist, scenarios: tuple[Scenario, ...], index: dict[str, int]) -> Branches:
    """Return the table of laws of ``netlist`` for ``scenarios``; ``index`` gives a node's row."""
    elements = [e for kind in _FILL for e in netlist.elements if type(e) is kind]
    table = _Table(len(elements), len(scenarios))
    at = 0
    for kind, fill in _FILL.items():
        members: list[Any] = [e for e in elements if type(e) is kind]
        if members:
            fill(table, slice(at, at + len(members)), members, scenarios)
            at += len(members)
    names = tuple(e.name for e in elements)
    return Branches(
        names=names,
        position={name: row for row, name in enumerate(names)},
        elements=tuple(elements),
        a=np.array([index[e.a] for e in elements], dtype=np.int64),
        b=np.array([index[e.b] for e in elements], dtype=np.int64),
        edge=table.edge,
        slope=table.slope,
        offset=table.offset,
        power_w=table.power_w,
        joins=table.joins,
        gives=table.gives,
        start=table.start,
        guess=table.guess,
        curved=np.flatnonzero(np.any(table.power_w > 0.0, axis=1)),
    )


def _column(members: list[Any], field: str) -> Floats:
    return np.array([getattr(e, field) for e in members], dtype=float).reshape(-1, 1)


def _fill_loads(table: _Table, rows: slice, members: list[Load], scenarios: tuple[Scenario, ...]) -> None:
    states = np.array([s.state for s in scenarios])
    amps = np.array([e.amps for e in members], dtype=float)[:, states]
    knee, nominal = _column(members, "knee_v"), _column(members, "nominal_v")
    law = np.array([{LoadLaw.RESISTIVE: 0, LoadLaw.CURRENT: 1, LoadLaw.POWER: 2}[e.law] for e in members]).reshape(-1, 1)
    power = np.where(law == 2, amps * nominal, 0.0)
    below = np.select([law == 0, law == 1], [amps / nominal, amps / knee], power / knee**2)
    table.edge[0, rows] = np.where(law == 0, np.inf, knee)
    table.slope[0, rows] += below
    table.offset[1, rows] = np.where(law == 1, amps, 0.0)
    table.power_w[rows] = power
    table.start[rows] = np.where(law == 0, 0, 1)


def _fill_sources(table: _Table, rows: slice, members: list[Source], scenarios: tuple[Scenario, ...]) -> None:
    live = np.array([s.mains for s in scenarios])
    open_v, ohm, limit = _column(members, "open_v"), _column(members, "ohm"), _column(members, "limit_a")
    table.edge[0, rows] = np.where(live, open_v - ohm * limit, np.inf)
    table.edge[1, rows] = np.where(live, open_v, np.inf)
    table.offset[0, rows] = np.where(live, -limit, 0.0)
    table.slope[1, rows] += np.where(live, 1.0 / ohm, 0.0)
    table.offset[1, rows] = np.where(live, -open_v / ohm, 0.0)
    table.gives[rows] = live
    table.start[rows] = np.where(live, 1, 0)


def _fill_batteries(table: _Table, rows: slice, members: list[Battery], scenarios: tuple[Scenario, ...]) -> None:
    present = np.array([s.battery.present and not s.recharging for s in scenarios])
    ends = np.array([s.battery.at_cut_out for s in scenarios])
    forced = np.array([np.nan if s.battery.emf_v is None else s.battery.emf_v for s in scenarios])
    path = np.maximum(_column(members, "path_ohm"), END_OF_DISCHARGE_OHM)
    emf = np.where(ends, _column(members, "cut_out_v"), np.where(np.isnan(forced), _column(members, "emf_v"), forced))
    ohm = np.where(ends, path, path + _column(members, "inner_ohm"))
    table.edge[0, rows] = np.where(present, emf, np.inf)
    table.slope[0, rows] += np.where(present, 1.0 / ohm, 0.0)
    table.offset[0, rows] = np.where(present, -emf / ohm, 0.0)
    table.gives[rows] = present
    on_mains = np.array([s.mains for s in scenarios])
    table.start[rows] = np.where(present & on_mains, 1, 0)


def _fill_chargers(table: _Table, rows: slice, members: list[Charger], scenarios: tuple[Scenario, ...]) -> None:
    live = np.array([s.recharging for s in scenarios])
    emf, ohm, limit = _column(members, "emf_v"), _column(members, "ohm"), _column(members, "limit_a")
    table.edge[0, rows] = np.where(live, emf, np.inf)
    table.edge[1, rows] = np.where(live, emf + ohm * limit, np.inf)
    table.slope[1, rows] += np.where(live, 1.0 / ohm, 0.0)
    table.offset[1, rows] = np.where(live, -emf / ohm, 0.0)
    table.offset[2, rows] = np.where(live, limit, 0.0)
    # A flat battery takes all a charger gives, where that has a limit of its own.
    table.start[rows] = np.where(live, np.where(limit < NO_LIMIT_A, 2, 1), 0)


def _fill_diodes(table: _Table, rows: slice, members: list[Diode], scenarios: tuple[Scenario, ...]) -> None:
    drop, ohm = _column(members, "drop_v"), _column(members, "ohm")
    table.edge[0, rows] = np.broadcast_to(drop, (len(members), len(scenarios)))
    table.slope[1, rows] += 1.0 / ohm
    table.offset[1, rows] = -drop / ohm
    table.start[rows] = 1


def _fill_pull_ups(table: _Table, rows: slice, members: list[PullUp], scenarios: tuple[Scenario, ...]) -> None:
    open_v, ohm = _column(members, "open_v"), _column(members, "ohm")
    table.slope[0, rows] += np.broadcast_to(1.0 / ohm, (len(members), len(scenarios)))
    table.offset[0, rows] = -open_v / ohm
    table.gives[rows] = True


_FILL: dict[type, Any] = {
    Load: _fill_loads,
    Source: _fill_sources,
    Battery: _fill_batteries,
    Charger: _fill_chargers,
    Diode: _fill_diodes,
    PullUp: _fill_pull_ups,
}
