"""Many variants of one circuit read at once: the same points and elements but for a few, in the same acts.

The variants share one table of elements; each says only where it differs, by other ohms, an element between other points or one more.
All are solved along the row of points together, a few thousand systems at a time so that they stay in the processor's cache. A
variant that does not fit the row of the first (its points run in another order) is read by itself with
:func:`loopwright.netlist.loop.read_loops`, which is also what all of this is held against.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from loopwright.netlist.band import solve_row
from loopwright.netlist.loop import NODE_LEAK_S, LoopNetwork, LoopReading, Variable, field_ohm, read_loops
from loopwright.netlist.shared import Shared

Floats = NDArray[np.float64]

AT_ONCE = 8000
"""Systems solved together: some megabytes, whatever the circuit."""
LEAST_A = 1e-30
"""Below every current that flows [A]: a share of nothing is nothing."""


@dataclass(frozen=True, kw_only=True, slots=True)
class VariantReadings:
    """What each variant shows in each of its acts, (variants, acts): volts at the terminals, ohms of the pair, and the spread of those ohms
    that the circuit's uncertain factors make. ``ohm`` (variants, wanted) is what single elements are."""

    volts_v: Floats
    field_ohm: Floats
    spread_ohm: Floats
    ohm: Floats


def read_variants(networks: Sequence[LoopNetwork], wanted: Sequence[tuple[str, int]] = ()) -> VariantReadings:
    """Return the readings of ``networks``, all with the acts of the first, the one the others are variants of.

    ``wanted`` names elements whose ohms are told, each in one act, by its number. The same network given several times, as the same
    object, is solved once.
    """
    first: dict[int, int] = {}
    place = np.array([first.setdefault(id(network), len(first)) for network in networks])
    unique = [networks[row] for row in np.unique(place, return_index=True)[1].tolist()]
    shape = (len(unique), len(networks[0].acts))
    out = VariantReadings(
        volts_v=np.empty(shape), field_ohm=np.empty(shape), spread_ohm=np.empty(shape), ohm=np.empty((len(unique), len(wanted)))
    )
    shared = Shared(unique)
    step = max(AT_ONCE // max(shape[1], 1), 1)
    for begin in range(0, len(shared.fit), step):
        _Portion(shared, begin, min(begin + step, len(shared.fit))).read(out, wanted)
    for row, reading in zip(shared.alone, read_loops([unique[row] for row in shared.alone]), strict=True):
        out.volts_v[row], out.field_ohm[row] = reading.volts_v, reading.field_ohm
        out.spread_ohm[row] = spread_of(unique[row], reading)
        out.ohm[row] = [reading.ohm[act, reading.names.index(name)] for name, act in wanted]
    return VariantReadings(volts_v=out.volts_v[place], field_ohm=out.field_ohm[place], spread_ohm=out.spread_ohm[place], ohm=out.ohm[place])


def spread_of(network: LoopNetwork, reading: LoopReading) -> Floats:
    """Return the spread [Ω] of the loop in each act: each factor uniform, by its weight in the reading, root of the sum of squares."""
    counted = np.where(reading.weights > 0, reading.weights * np.where(np.isinf(reading.ohm), 0.0, reading.ohm), 0.0)
    return np.asarray(np.sqrt(((counted @ _moved_by(network.variables, reading.names)) ** 2).sum(axis=1)))


@lru_cache(maxsize=8)
def _moved_by(variables: tuple[Variable, ...], names: tuple[str, ...]) -> Floats:
    """Return by how much each uncertain factor spreads each resistance, (resistances, factors)."""
    row = {name: position for position, name in enumerate(names)}
    out = np.zeros((len(names), len(variables)))
    for column, variable in enumerate(variables):
        for name in variable.members:
            if name in row:
                out[row[name], column] = _share(variable)
    return out


def _share(variable: Variable) -> float:
    """Return the spread of a uniform factor: its width over the root of twelve."""
    return (variable.high - variable.low) / math.sqrt(12)


class _Portion:
    """Some of the variants that share a row, solved together."""

    def __init__(self, shared: Shared, begin: int, end: int) -> None:
        self.shared, self.begin, self.end = shared, begin, end
        self.rows = shared.fit[begin:end]
        self.shape = (end - begin, len(shared.base.acts))
        self.siemens: dict[int, Floats] = {}

    def read(self, out: VariantReadings, wanted: Sequence[tuple[str, int]]) -> None:
        """Write the readings of these variants into ``out``."""
        pull_ohm, pull_v = (
            np.repeat(values[self.begin : self.end], self.shape[1]) for values in (self.shared.pull_ohm, self.shared.pull_v)
        )
        joined = self._joined()
        joined[0, 0] += 1.0 / pull_ohm
        volts = solve_row(joined, pull_v / pull_ohm, {place for column, place in self.shared.cells if column in self.siemens})
        current, ohm = field_ohm(volts[0], pull_v, pull_ohm)
        out.volts_v[self.rows] = volts[0].reshape(self.shape)
        out.field_ohm[self.rows] = ohm.reshape(self.shape)
        out.spread_ohm[self.rows] = self._spread(volts, np.maximum(current, LEAST_A), ohm).reshape(self.shape)
        for position, (name, act) in enumerate(wanted):
            conducts = sum(self.siemens[column][:, act] for column in self.shared.named[name] if column in self.siemens)
            with np.errstate(divide="ignore"):
                out.ohm[self.rows, position] = 1.0 / conducts if np.ndim(conducts) else math.inf

    def _joined(self) -> Floats:
        """Return what stands between points, as :func:`loopwright.netlist.band.in_rows` does, and keep what each element conducts."""
        shared = self.shared
        joined = np.zeros((len(shared.index) - 1, shared.width + 1, self.shape[0] * self.shape[1]))
        joined[:, 0] = NODE_LEAK_S
        for column, (point, beside) in shared.cells:
            values = shared.conducts(column, self.begin, self.end)
            if values is not None:
                self.siemens[column] = values
                cell = joined[point, beside].reshape(self.shape)
                cell += values
        return joined

    def _spread(self, volts: Floats, current: Floats, ohm: Floats) -> Floats:
        """Return the spread of the loop's ohms: what each factor's resistances turn into heat, by the square of the current."""
        square = np.zeros(volts.shape[1])
        per_current = np.where(np.isinf(ohm), 0.0, 1.0 / current)
        for variable in self.shared.base.variables:
            counted = np.zeros(volts.shape[1])
            for column in (column for name in variable.members for column in self.shared.named.get(name, ()) if column in self.siemens):
                counted += self._counted(column, volts, per_current)
            counted *= _share(variable)
            counted *= counted
            square += counted
        return np.asarray(np.sqrt(square))

    def _counted(self, column: int, volts: Floats, per_current: Floats) -> Floats:
        """Return by how many ohms a resistance counts in the loop's (Cohn's theorem, :func:`loopwright.netlist.loop.read_loops`)."""
        a, b = self.shared.ends[column]
        across = volts[a] - volts[b] if min(a, b) >= 0 else volts[max(a, b)].copy()
        across *= per_current
        across *= across
        counted = across.reshape(self.shape)
        counted *= self.siemens[column]
        return np.asarray(across)
