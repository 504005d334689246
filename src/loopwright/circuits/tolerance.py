"""How likely a circuit is to be read in each band when every part has its tolerance, and how far it is from misreading.

A control unit feeds its input with ``V_pu`` through a pull-up ``R_pu`` and decides the band by ``V / V_pu``. With
the loop a sum of independent resistances, ``V / V_pu <= t`` is ``(R_1 + ... + R_n) (1 - t) - t R_pu <= 0``: linear in
the resistances and the pull-up together. So the probability of a band is exact (``half_space``); only what is not
linear, a leakage across the loop or a distribution that is not uniform, is drawn (``monte_carlo``).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from loopwright.circuits.half_space import Array, Extremes, half_space_fraction, half_space_tails, spans, worst_case

__all__ = [
    "Extremes",
    "Frequencies",
    "Margin",
    "Shape",
    "Spread",
    "band_probabilities",
    "extra_ohm_at_misread",
    "half_space_fraction",
    "leak_at_misread",
    "leak_to_edge",
    "length_at_misread",
    "monte_carlo",
    "ohm_from_thresholds",
    "thresholds_from_ohm",
    "worst_case",
]

NORMAL_BOUND_SIGMA = 3.0
"""Where a truncated normal distribution is cut: bounds on a data sheet taken as three standard deviations, common practice, no source."""

CLEAR = 1e-9
"""Share by which an edge must lie outside all readings to be called outside: far more than what rounding can do."""
BLOCK_READINGS = 32_768
"""Sampled readings worked on at a time: 256 kB of floats, which stays in a core's second-level cache."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Spread:
    """A circuit in one state: its series resistances and its pull-up, each between bounds.

    A resistance that is infinite at both ends is an open circuit. Raises ValueError when the three rows differ in
    length, a bound is negative or turned inside out, or the pull-up can be nought.
    """

    names: tuple[str, ...]
    low_ohm: tuple[float, ...]
    high_ohm: tuple[float, ...]
    pull_up_low_ohm: float
    pull_up_high_ohm: float

    def __post_init__(self) -> None:
        """Refuse bounds that are no bounds."""
        if not len(self.names) == len(self.low_ohm) == len(self.high_ohm):
            raise ValueError(f"{len(self.names)} names, {len(self.low_ohm)} lower and {len(self.high_ohm)} upper bounds")
        for name, low, high in zip(self.names, self.low_ohm, self.high_ohm, strict=True):
            if not 0 <= low <= high:
                raise ValueError(f"{name}: {low} to {high} ohm is no spread of a resistance")
        if not 0 < self.pull_up_low_ohm <= self.pull_up_high_ohm < math.inf:
            raise ValueError(f"pull-up: {self.pull_up_low_ohm} to {self.pull_up_high_ohm} ohm is no spread of a pull-up")

    @property
    def loop_low_ohm(self) -> float:
        """Return the least the loop can be."""
        return math.fsum(self.low_ohm)

    @property
    def loop_high_ohm(self) -> float:
        """Return the most the loop can be."""
        return math.fsum(self.high_ohm)

    @property
    def loop_ohm(self) -> float:
        """Return the loop with every resistance at its middle."""
        return (self.loop_low_ohm + self.loop_high_ohm) / 2

    @property
    def pull_up_ohm(self) -> float:
        """Return the pull-up's middle."""
        return (self.pull_up_low_ohm + self.pull_up_high_ohm) / 2


class Margin(NamedTuple):
    """How far a reading is from its band's edge: every part at its middle, and every part at its worst corner."""

    nominal: float
    worst: float


class Shape(Enum):
    """How a value is spread between its bounds."""

    UNIFORM = "uniform"
    TRUNCATED_NORMAL = "normal, cut at the bounds"


class Frequencies(NamedTuple):
    """How often each band was read, and the standard error of that; both shaped (cases, bands).

    The standard error counts one extra hit and one extra miss, so that a band never read does not claim certainty.
    """

    frequency: Array
    standard_error: Array


def thresholds_from_ohm(edge_ohm: ArrayLike, pull_up_ohm: ArrayLike) -> Array:
    """Return the share of the pull-up's voltage at which a loop of ``edge_ohm`` is read.

    Equation: V / V_pu = R / (R + R_pu).

    Args:
        edge_ohm: loop resistances at the bands' edges; infinity is a share of one [ohm].
        pull_up_ohm: pull-up's nominal value, above nought [ohm].

    Returns:
        Shares within 0 and 1 [1].

    >>> (5.0 * thresholds_from_ohm([120, 190, 3000, 7800], 680)).round(2)  # printed: 0.75, 1.1, 4.1, 4.6 V
    array([0.75, 1.09, 4.08, 4.6 ])

    Source: Ohm's law; numbers of ANSI/SIA CP-01-2009 draft, p. 49, whose 680 ohm pull-up is inferred, not printed.
    """
    edge = np.asarray(edge_ohm, dtype=float)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(np.isinf(edge), 1.0, edge / (edge + pull_up_ohm)))[()]


def ohm_from_thresholds(edges_ratio: ArrayLike, pull_up_ohm: ArrayLike) -> Array:
    """Return the loop resistance [ohm] read at a share of the pull-up's voltage: R_pu t / (1 - t), infinite at t = 1.

    >>> ohm_from_thresholds(0.15, 680.0).round(6)
    np.float64(120.0)
    """
    ratio = np.asarray(edges_ratio, dtype=float)
    return np.asarray(pull_up_ohm * np.divide(ratio, 1 - ratio, out=np.full(ratio.shape, np.inf), where=ratio < 1))[()]


def band_probabilities(spreads: Sequence[Spread], edges_ratio: ArrayLike) -> Array:
    """Return the exact probability that each circuit is read in each band.

    Equation: P(V / V_pu <= t) = P((R_1 + ... + R_n) (1 - t) - t R_pu <= 0); a band is the difference of two.

    Args:
        spreads: the circuits, resistances and pull-up uniform between their bounds and independent [ohm].
        edges_ratio: ordered thresholds of V / V_pu, shaped (edges,) or (cases, edges) [1].

    Returns:
        Probabilities shaped (cases, edges + 1), lowest band first; a row sums to one [1].

    Raises:
        ValueError: when the thresholds are not in order or not within 0 and 1.

    >>> eol = Spread(names=("end resistor",), low_ohm=(900.0,), high_ohm=(1100.0,), pull_up_low_ohm=1000.0, pull_up_high_ohm=1000.0)
    >>> band_probabilities([eol], thresholds_from_ohm([950.0, 1050.0], 1000.0)).round(6)
    array([[0.25, 0.5 , 0.25]])

    Source: Ohm's law and the volume of ``half_space_fraction``.
    """
    low, high = _bounds(spreads)
    edges = _ordered(edges_ratio, len(spreads))
    weights = np.repeat((1.0 - edges)[..., None], low.shape[1], axis=-1)
    weights[..., -1] = -edges
    tails = half_space_tails(weights, low[:, None, :], high[:, None, :], 0.0)
    ends = ((0, 0), (1, 1))
    below = np.pad(tails.below, ends, constant_values=((0, 0), (0, 1)))
    above = np.pad(tails.above, ends, constant_values=((0, 0), (1, 0)))
    # Above the middle the upper tails are the small numbers, and their difference keeps the digits.
    return np.maximum(np.where(below[:, :-1] < 0.5, np.diff(below), -np.diff(above)), 0.0)


def _bounds(spreads: Sequence[Spread]) -> tuple[Array, Array]:
    """Return lower and upper bounds, shaped (cases, most resistances + 1): padding of no width, the pull-up last."""
    wide = max((len(spread.names) for spread in spreads), default=0)
    low = [(*spread.low_ohm, *(0.0,) * (wide - len(spread.names)), spread.pull_up_low_ohm) for spread in spreads]
    high = [(*spread.high_ohm, *(0.0,) * (wide - len(spread.names)), spread.pull_up_high_ohm) for spread in spreads]
    return np.array(low, dtype=float).reshape(-1, wide + 1), np.array(high, dtype=float).reshape(-1, wide + 1)


def _ordered(edges_ratio: ArrayLike, cases: int) -> Array:
    """Return thresholds shaped (cases, edges). Raises ValueError when out of order or not within 0 and 1."""
    edges = np.asarray(edges_ratio, dtype=float)
    if not (np.all(edges >= 0) and np.all(edges <= 1) and np.all(np.diff(edges) >= 0)):
        raise ValueError("thresholds must rise from 0 to 1 at most")
    return np.broadcast_to(edges, (cases, edges.shape[-1]))


def extra_ohm_at_misread(spread: Spread, *, upper_ratio: float) -> Margin:
    """Return the series resistance [ohm] that lifts a state out of its band; nought when it is out already.

    Equation: R_extra = R_pu t / (1 - t) - (R_1 + ... + R_n); worst with the pull-up low and the loop high.

    >>> rest = Spread(names=("end resistor",), low_ohm=(950.0,), high_ohm=(1050.0,), pull_up_low_ohm=950.0, pull_up_high_ohm=1050.0)
    >>> extra_ohm_at_misread(rest, upper_ratio=0.75)
    Margin(nominal=2000.0, worst=1800.0)
    """
    nominal = float(ohm_from_thresholds(upper_ratio, spread.pull_up_ohm))
    worst = float(ohm_from_thresholds(upper_ratio, spread.pull_up_low_ohm))
    return Margin(_room(nominal, spread.loop_ohm), _room(worst, spread.loop_high_ohm))


def _room(edge_ohm: float, loop_ohm: float) -> float:
    """Return how far a loop is below its upper edge; an open circuit under no edge at all has no room to lose."""
    return math.inf if math.isinf(edge_ohm) else max(edge_ohm - loop_ohm, 0.0)


def length_at_misread(spread: Spread, *, upper_ratio: float, loop_ohm_per_m: float) -> Margin:
    """Return the further metres of cable that lift a state out of its band.

    ``loop_ohm_per_m`` is of the run, out and back (two cores). Raises ValueError unless it is above nought.
    """
    if not loop_ohm_per_m > 0:
        raise ValueError(f"{loop_ohm_per_m} ohm per metre is no cable")
    nominal, worst = extra_ohm_at_misread(spread, upper_ratio=upper_ratio)
    return Margin(nominal / loop_ohm_per_m, worst / loop_ohm_per_m)


def leak_to_edge(loop_ohm: float, edge_ohm: float) -> float:
    """Return the resistance across a loop that pulls it down to an edge; any smaller leak takes it below.

    Equation: R_leak = 1 / (1 / edge - 1 / R).

    Args:
        loop_ohm: R, the loop; infinite when open [ohm].
        edge_ohm: lower edge of the band the loop is read in [ohm].

    Returns:
        The leak [ohm]: infinite when the loop is at or under its edge without any leak, nought when the edge is nought.

    >>> round(leak_to_edge(9416.0, 7000.0))
    27281

    Source: Kirchhoff's laws, worked by hand.
    """
    if edge_ohm >= loop_ohm:
        return math.inf
    return 0.0 if edge_ohm == 0 else 1.0 / (1.0 / edge_ohm - 1.0 / loop_ohm)


def leak_at_misread(spread: Spread, *, lower_ratio: float) -> Margin:
    """Return the leak [ohm] at the terminals that pulls a state out of its band; worst with the loop low and the pull-up high."""
    nominal = float(ohm_from_thresholds(lower_ratio, spread.pull_up_ohm))
    worst = float(ohm_from_thresholds(lower_ratio, spread.pull_up_high_ohm))
    return Margin(leak_to_edge(spread.loop_ohm, nominal), leak_to_edge(spread.loop_low_ohm, worst))


def monte_carlo(
    low: ArrayLike,
    high: ArrayLike,
    pull_up_low: ArrayLike,
    pull_up_high: ArrayLike,
    edges_ratio: ArrayLike,
    *,
    samples: int,
    generator: np.random.Generator,
    leak_ohm: ArrayLike | None = None,
    leak_from: int = 0,
    shape: Shape | Sequence[Shape] = Shape.UNIFORM,
) -> Frequencies:
    """Return how often each circuit is read in each band when its parts are drawn at random.

    Args:
        low: lower bounds, from the terminals outwards, shaped (cases, n) or (n,) [ohm].
        high: upper bounds, shaped alike; infinite at both ends is an open circuit [ohm].
        pull_up_low: lower bound of the pull-up, shaped (cases,) or () [ohm].
        pull_up_high: upper bound of the pull-up, shaped alike [ohm].
        edges_ratio: ordered thresholds of V / V_pu, shaped (edges,) or (cases, edges) [1].
        samples: how many readings are drawn of each circuit.
        generator: where the random numbers come from. The circuits share them, so that two states, or a circuit before and
            after an edit, differ by the edit alone; each circuit's own frequencies are as good as with numbers of its own.
        leak_ohm: leakage across the loop, shaped (cases,) or (); None for none [ohm].
        leak_from: how many resistances stand between the terminals and the leak; 0 is a leak at the terminals.
        shape: how values are spread between their bounds: one for all, or one for each resistance and the pull-up last.

    Returns:
        Frequencies shaped (cases, edges + 1), lowest band first, and their standard errors [1].

    Raises:
        ValueError: when the thresholds are not in order or not within 0 and 1, or a leak is not above nought.
    """
    least, most = np.broadcast_arrays(np.atleast_2d(np.asarray(low, dtype=float)), np.atleast_2d(np.asarray(high, dtype=float)))
    cases, count = least.shape
    edge_ratios = ohm_from_thresholds(_ordered(edges_ratio, cases), 1.0)
    pull_up = np.stack([np.broadcast_to(np.asarray(end, dtype=float), (cases,)) for end in (pull_up_low, pull_up_high)])
    leak = None if leak_ohm is None else np.broadcast_to(np.asarray(leak_ohm, dtype=float), (cases,))
    if leak is not None and not np.all(leak > 0):
        raise ValueError("a leak must be above nought; a dead short is a resistance of the loop")
    bounds = _Bounds(least=least, width=spans(least, most), pull_up=pull_up, leak_ohm=leak, leak_from=leak_from)
    shapes = (shape,) * (count + 1) if isinstance(shape, Shape) else tuple(shape)
    always, never = bounds.certain(edge_ratios)
    hits = np.where(always, float(samples), 0.0)
    step = max(256, BLOCK_READINGS // max(cases, 1))
    blocks = list(_blocks(bounds, edge_ratios, ~(always | never), max(1, BLOCK_READINGS // step)))
    for start in range(0, samples, step):
        units = _draw(shapes, min(step, samples - start), generator)
        for block, asked in blocks:
            ratio = block.readings(units)
            for item in asked:
                item.count += np.count_nonzero(ratio[item.rows] <= item.ratio, axis=1)
    for _, asked in blocks:
        for item in asked:
            hits[item.cases, item.edge] = item.count
    return _frequencies(hits, samples)


@dataclass(slots=True, eq=False)
class _Asked:
    """An edge that some circuits of a block can meet: which rows of the block and cases of the whole these are, and how often each did."""

    edge: int
    rows: slice | NDArray[np.intp]
    cases: NDArray[np.intp]
    ratio: Array
    count: NDArray[np.intp]


def _blocks(bounds: _Bounds, edge_ratios: Array, open_edges: NDArray[np.bool_], most: int) -> Iterator[tuple[_Bounds, list[_Asked]]]:
    """Yield the circuits that can meet an edge, so many at a time, with the edges that are asked about."""
    cases = np.flatnonzero(open_edges.any(axis=1))
    for first in range(0, cases.size, most):
        here = cases[first : first + most]
        asked = []
        for edge in range(edge_ratios.shape[1]):
            rows = np.flatnonzero(open_edges[here, edge])
            if rows.size:
                pick = slice(None) if rows.size == here.size else rows
                asked.append(_Asked(edge, pick, here[rows], edge_ratios[here[rows], edge, None], np.zeros(rows.size, dtype=np.intp)))
        yield bounds.only(here), asked


class _Bounds(NamedTuple):
    """What a circuit's parts are drawn between."""

    least: Array
    width: Array
    pull_up: Array
    leak_ohm: Array | None
    leak_from: int

    def only(self, cases: NDArray[np.intp]) -> _Bounds:
        """Return the bounds of some of the circuits."""
        leak = None if self.leak_ohm is None else self.leak_ohm[cases]
        return _Bounds(self.least[cases], self.width[cases], self.pull_up[:, cases], leak, self.leak_from)

    def certain(self, edge_ratios: Array) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Return which edges every draw lies at or below, and which no draw does.

        A reading rises with every resistance and falls with the pull-up, so it lies between those of two corners; an edge clearly outside
        them is not worth a draw.
        """
        corner = np.zeros((self.least.shape[1] + 1, 2))
        corner[:-1, 1] = corner[-1, 0] = 1.0
        low, high = np.moveaxis(self.readings(corner), 1, 0)[..., None]
        return high * (1 + CLEAR) <= edge_ratios, low * (1 - CLEAR) > edge_ratios

    def readings(self, units: Array) -> Array:
        """Return the loop over the pull-up, shaped (cases, samples), from units drawn on [0, 1]."""
        low, high = self.pull_up[..., None]
        pull_up: Array = (high - low) * units[-1]
        pull_up += low
        if self.leak_ohm is None:
            loop = self._series(units, 0, units.shape[0] - 1)
            return np.asarray(np.divide(loop, pull_up, out=loop))
        far = self._series(units, self.leak_from, units.shape[0] - 1)
        leak = self.leak_ohm[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            # Written so that an open circuit leaves the leak and a dead short leaves nought.
            across = np.where(np.isinf(leak), far, leak / (1.0 + leak / far))
        return np.asarray((self._series(units, 0, self.leak_from) + across) / pull_up)

    def _series(self, units: Array, first: int, last: int) -> Array:
        """Return the sum of the drawn resistances from ``first`` up to, not including, ``last``."""
        drawn: Array = self.width[:, first:last] @ units[first:last]
        drawn += self.least[:, first:last].sum(axis=1)[:, None]
        return drawn


def _draw(shapes: Sequence[Shape], samples: int, generator: np.random.Generator) -> Array:
    """Return draws on [0, 1], one row for each value."""
    units: Array = generator.random((len(shapes), samples))
    normal = [row for row, shape in enumerate(shapes) if shape is Shape.TRUNCATED_NORMAL]
    if normal:
        # Imported here: only Monte Carlo draws need it, and it is a third of the time the exact forecast takes to start.
        from scipy.special import ndtr, ndtri

        foot = ndtr(-NORMAL_BOUND_SIGMA)
        units[normal] = (ndtri(foot + units[normal] * (1 - 2 * foot)) / NORMAL_BOUND_SIGMA + 1) / 2
    return np.asarray(units)


def _frequencies(hits: Array, samples: int) -> Frequencies:
    """Return band frequencies from the counts at or below each edge."""
    counts = np.diff(np.pad(hits, ((0, 0), (1, 1)), constant_values=((0, 0), (0, samples))))
    share: Array = (counts + 1) / (samples + 2)
    return Frequencies(np.asarray(counts / samples), np.asarray(np.sqrt(share * (1 - share) / samples)))
