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
    for name in np.unique(series[series != ALONE]).tolist():
        rows = np.flatnonzero(series == name)
        if rows.size < 2:
            continue
        some = value[rows]
        with np.errstate(invalid="ignore"):
            width = np.abs(np.gradient(some, axis=0))
        width = np.where(np.isfinite(width), width, 0.0)
        out[rows] = np.hypot(out[rows], width / math.sqrt(12))
    return out
