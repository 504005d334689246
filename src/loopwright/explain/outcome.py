"""What each check could show next: the predictive distribution of displayed readings, one set of cells a check.

Two readings that no meter tells apart lie in one cell: cells end midway between readings further apart than their spreads together.
Over range is a cell of its own. All checks are worked out as one array.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from loopwright.explain.check import Check
from loopwright.explain.hypothesis import Floats
from loopwright.explain.likelihood import COMES_AND_GOES, Rows
from loopwright.explain.meter import METER_MISTAKES, WORD_MISTAKE, Instrument

BEYOND = 1e12
"""Over every reading and under over range: the edge between the last cell and over range."""
APART = 0.3
"""Readings further apart than this many spreads of both together lie in cells of their own."""
BLUNDER = sum(METER_MISTAKES.values())


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


def outcomes(rows: Rows, keep: NDArray[np.int64], checks: Sequence[Check], meter: Instrument) -> Outcomes:
    """Return the cells of ``checks`` and their chances under the rows ``keep``, which must hold row 0, and under none of these."""
    mean, sd = np.full((len(checks), keep.size), np.nan), np.full((len(checks), keep.size), np.nan)
    words: dict[int, Floats] = {}
    for number, check in enumerate(checks):
        found = rows.column(check)
        if found is None:
            raise KeyError(check)
        known = rows.parts[found[0]].predicted
        if check.unit:
            mean[number] = rows.spread(found[0], known.mean[:, found[1]])[keep]
            spread = rows.spread(found[0], known.sd[:, found[1]])[keep]
            sd[number] = np.hypot(spread, meter.spread(mean[number], check.unit))
        else:
            words[number] = rows.spread(found[0], known.chances[found[1]])[keep]
    cells = max(keep.size + 1, max((values.shape[1] for values in words.values()), default=0))
    edges = _edges(mean, sd)
    chance = np.zeros((len(checks), keep.size + 1, cells))
    chance[:, :-1, : keep.size + 1] = _metered(mean, sd, edges)
    for number, values in words.items():
        chance[number] = 0.0
        chance[number, :-1, : values.shape[1]] = values
    mixed = np.array([check.kind in COMES_AND_GOES for check in checks], dtype=np.bool_)
    present, sound = rows.present[keep][None, :, None], chance[:, :1, :]
    chance[mixed, :-1] = (present * chance[:, :-1] + (1 - present) * sound)[mixed]
    return Outcomes(checks=tuple(checks), rows=keep, chance=_with_mistakes(chance, words), reads=mean, edges=edges)


def _edges(mean: Floats, sd: Floats) -> Floats:
    """Return the (checks, rows) edges between cells, rising; an edge that parts nothing stands on the one before it."""
    order = np.argsort(mean, axis=1)
    sorted_mean, sorted_sd = np.take_along_axis(mean, order, axis=1), np.take_along_axis(sd, order, axis=1)
    low, high = sorted_mean[:, :-1], sorted_mean[:, 1:]
    with np.errstate(invalid="ignore"):
        apart = np.isfinite(high) & (high - low > APART * (sorted_sd[:, :-1] + sorted_sd[:, 1:]))
        weight = sorted_sd[:, :-1] / (sorted_sd[:, :-1] + sorted_sd[:, 1:])
        middle = low + (high - low) * weight
    found = np.maximum.accumulate(np.where(apart, middle, -np.inf), axis=1)
    return np.concatenate((found, np.full((len(mean), 1), BEYOND)), axis=1)


def _metered(mean: Floats, sd: Floats, edges: Floats) -> Floats:
    """Return the (checks, rows, cells) chances of metered checks; zero for those with words."""
    with np.errstate(invalid="ignore"):
        below = ndtr((edges[:, None, :] - mean[:, :, None]) / sd[:, :, None])
    below = np.where(np.isinf(mean)[:, :, None], 0.0, np.nan_to_num(below))
    ends = np.zeros((*mean.shape, 1))
    known = ~np.isnan(mean)[:, :, None]
    return np.asarray(np.where(known, np.diff(np.concatenate((ends, below, ends + 1), axis=2), axis=2), 0.0))


def _with_mistakes(chance: Floats, words: dict[int, Floats]) -> Floats:
    """Return the chances with mistakes of measurement mixed in, and with none of these as the last row."""
    used = chance.max(axis=1, keepdims=True) > 1e-9
    even = used / np.maximum(used.sum(axis=2, keepdims=True), 1)
    blunder = np.full((chance.shape[0], 1, 1), BLUNDER)
    blunder[list(words)] = WORD_MISTAKE
    out = (1 - blunder) * chance + blunder * even
    out[:, -1:] = even
    return np.asarray(out)
