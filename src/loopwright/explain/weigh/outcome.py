"""What each check could show next: the predictive distribution of displayed readings, one set of cells a check.

What the rows still likely make every check show with one meter comes first (:class:`Forecast`). Two readings that no meter tells apart
lie in one cell: cells end midway between readings further apart than their spreads together, the widest gaps first. Over range is a
cell of its own. All checks are worked out as one array.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.hypothesis import Floats
from loopwright.explain.meter import METER_MISTAKES, WORD_MISTAKE, Instrument
from loopwright.explain.weigh.likelihood import COMES_AND_GOES, EVERY, UNKNOWN_MOVES, Rows

BEYOND = 1e12
"""Over every reading and under over range: the edge between the last cell and over range."""
APART = 0.3
"""Readings further apart than this many spreads of both together lie in cells of their own."""
MOST_EDGES = 12
"""Edges a check has at most: more tell hardly more, and each costs time."""
BLUNDER = sum(METER_MISTAKES.values())


@dataclass(frozen=True, kw_only=True, slots=True)
class Forecast:
    """What a meter would show at each check under some rows.

    ``mean`` and ``sd`` are (metered checks, rows), the meter's own spread included; ``words`` (worded checks, rows, outcomes). ``place``
    says where in its array each check stands, ``metered`` in which. ``mixed`` tells which checks read a fault only while it shows,
    ``told`` which are told by people and logs.
    """

    checks: tuple[Check, ...]
    metered: NDArray[np.bool_]
    place: NDArray[np.int64]
    mixed: NDArray[np.bool_]
    told: NDArray[np.bool_]
    mean: Floats
    sd: Floats
    words: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class Outcomes:
    """The cells of every check. ``chance`` is (checks, rows, cells); the last row is none of these.

    ``reads`` (checks, rows) is what a meter would show, infinite over range, NaN for words; ``edges`` (checks, cells - 1) part the cells.
    """

    checks: tuple[Check, ...]
    rows: NDArray[np.int64]
    chance: Floats
    reads: Floats
    edges: Floats

    def only(self, may: Callable[[Check], bool]) -> Outcomes:
        """Return those of the checks that ``may`` be done."""
        chosen = np.array([number for number, check in enumerate(self.checks) if may(check)], dtype=np.int64)
        return Outcomes(
            checks=tuple(self.checks[number] for number in chosen),
            rows=self.rows,
            chance=self.chance[chosen],
            reads=self.reads[chosen],
            edges=self.edges[chosen],
        )


def forecast(rows: Rows, meter: Instrument, some: NDArray[np.int64] | slice = EVERY) -> Forecast:
    """Return what every check of ``rows`` would show with a meter, under ``some`` of them."""
    checks = tuple(check for part in rows.parts for check in part.predicted.checks)
    metered = np.array([bool(check.unit) for check in checks], dtype=np.bool_)
    words = max((len(check.outcomes) for check in checks), default=0)
    means, spreads, told = [], [], []
    for number, part in enumerate(rows.parts):
        known = part.predicted
        own = np.array([bool(check.unit) for check in known.checks], dtype=np.bool_)
        means.append(rows.spread(number, known.mean[:, own], some))
        spreads.append(rows.spread(number, known.sd[:, own], some))
        padded = np.zeros((len(known.owner), int((~own).sum()), words))
        for position, column in enumerate(np.flatnonzero(~own).tolist()):
            padded[:, position, : known.chances[column].shape[1]] = known.chances[column]
        told.append(rows.spread(number, padded, some))
    mean = np.concatenate(means, axis=1).T
    sd = np.concatenate(spreads, axis=1).T
    units = np.array([check.unit for check in checks if check.unit])
    for unit in set(units.tolist()):
        own = units == unit
        sd[own] = np.hypot(sd[own], meter.spread(mean[own], unit))
    return Forecast(
        checks=checks,
        metered=metered,
        place=np.where(metered, np.cumsum(metered), np.cumsum(~metered)) - 1,
        mixed=np.array([check.kind in COMES_AND_GOES for check in checks], dtype=np.bool_),
        told=np.array([check.kind is CheckKind.TOLD for check in checks], dtype=np.bool_),
        mean=np.ascontiguousarray(mean),
        sd=np.ascontiguousarray(sd),
        words=np.ascontiguousarray(np.moveaxis(np.concatenate(told, axis=1), 0, 1)),
    )


def outcomes(known: Forecast, rows: Rows, keep: NDArray[np.int64], left: NDArray[np.int64]) -> Outcomes:
    """Return the cells of the checks numbered ``left`` and their chances under the rows ``keep``, which must hold row 0 and be those
    ``known`` is of, and under none of these."""
    metered, place = known.metered[left], known.place[left]
    at, told = np.flatnonzero(metered), np.flatnonzero(~metered)
    mean, sd = known.mean[place[at]], known.sd[place[at]]
    edges = _edges(mean, sd)
    cells = max(edges.shape[1] + 1, known.words.shape[2] if told.size else 0)
    chance = np.zeros((left.size, keep.size + 1, cells))
    chance[at, :-1, : edges.shape[1]], chance[at, :-1, -1] = _metered(mean, sd, edges)
    chance[told, :-1, : known.words.shape[2]] = known.words[place[told]]
    mixed, present = known.mixed[left], rows.present[keep]
    some = np.flatnonzero(present < 1)
    if some.size:
        here = np.ix_(mixed, some)
        share = present[some][None, :, None]
        chance[here] = share * chance[here] + (1 - share) * chance[mixed, :1]
    reads = np.full((left.size, keep.size), np.nan)
    reads[at] = mean
    every = np.full((left.size, cells - 1), BEYOND)
    every[at, : edges.shape[1]] = edges
    blunder = np.where(metered, BLUNDER, WORD_MISTAKE)
    checks = tuple(known.checks[number] for number in left.tolist())
    return Outcomes(checks=checks, rows=keep, chance=_with_mistakes(chance, blunder, known.told[left]), reads=reads, edges=every)


def _edges(mean: Floats, sd: Floats) -> Floats:
    """Return the (checks, edges) edges between cells, rising, those not needed at the end with the one below over range."""
    if mean.shape[1] < 2 or not len(mean):
        return np.full((len(mean), 1), BEYOND)
    order = np.argsort(mean, axis=1)
    sorted_mean, sorted_sd = np.take_along_axis(mean, order, axis=1), np.take_along_axis(sd, order, axis=1)
    low, high, both = sorted_mean[:, :-1], sorted_mean[:, 1:], sorted_sd[:, :-1] + sorted_sd[:, 1:]
    with np.errstate(invalid="ignore"):
        gap = np.where(np.isfinite(high), (high - low) / both, 0.0)
        middle = low + (high - low) * (sorted_sd[:, :-1] / both)
    least = np.full((len(mean), 1), APART)
    if gap.shape[1] > MOST_EDGES:
        least = np.maximum(least, np.partition(gap, -MOST_EDGES - 1, axis=1)[:, -MOST_EDGES - 1 : -MOST_EDGES])
    apart = gap > least
    position = np.cumsum(apart, axis=1) - 1
    out = np.full((len(mean), int(position[:, -1].max()) + 2), BEYOND)
    check, gone = np.nonzero(apart)
    out[check, position[check, gone]] = middle[check, gone]
    return out


def _metered(mean: Floats, sd: Floats, edges: Floats) -> tuple[Floats, Floats]:
    """Return the (checks, rows, edges) chances of the cells below each edge, and the (checks, rows) chances of over range."""
    far = np.isinf(mean)
    below = ndtr((edges[:, None, :] - np.where(far, 0.0, mean)[:, :, None]) / sd[:, :, None])
    below[far] = 0.0
    over = 1 - below[:, :, -1]
    below[:, :, 1:] -= below[:, :, :-1].copy()
    return below, over


def _with_mistakes(chance: Floats, blunder: Floats, told: NDArray[np.bool_]) -> Floats:
    """Return the chances with mistakes of measurement mixed in, and with none of these as the last row."""
    used = chance.max(axis=1, keepdims=True) > 1e-9
    even = used / np.maximum(used.sum(axis=2, keepdims=True), 1)
    share = blunder[:, None, None]
    out = (1 - share) * chance + share * even
    out[:, -1:] = np.where(told[:, None, None], (1 - UNKNOWN_MOVES) * chance[:, :1] + UNKNOWN_MOVES * even, even)
    return np.asarray(out)
