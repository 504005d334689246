"""Amounts between the ones that were solved: each stands for all that lie nearer to it than to its neighbours."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.hypothesis import Floats

ALONE = -1
"""The series of a variant whose amount is no number, or that has none."""


def widened(value: Floats, sd: Floats, series: NDArray[np.int64]) -> Floats:
    """Return ``sd`` with what the amounts in between make of ``value``; both (variants, columns), rising amounts of a series in order.

    A variant's cell reaches half-way to its neighbours, and an amount is anywhere in it: uniform, so its spread is the cell's width over
    the root of twelve.
    """
    out = np.array(sd, dtype=float)
    order = np.argsort(series, kind="stable")
    named = series[order]
    beside = (named[1:] == named[:-1]) & (named[1:] != ALONE)
    row = np.arange(order.size)
    before, after = row - np.append(False, beside), row + np.append(beside, False)
    inside = after > before
    rows, lower, upper = order[inside], order[before[inside]], order[after[inside]]
    with np.errstate(invalid="ignore"):
        width = np.abs(value[upper] - value[lower]) / (after - before)[inside][:, None]
    width[~np.isfinite(width)] = 0.0
    out[rows] = np.hypot(out[rows], width / math.sqrt(12))
    return out
