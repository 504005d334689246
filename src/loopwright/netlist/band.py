"""Networks whose points lie in a row, each joined to a few before and behind it, many of them solved at once.

A point is taken out by joining its neighbours to each other in its stead (star to mesh: A. Rosen, J. Inst. Elec. Eng. 62 (1924), 916: from
memory). Nothing is ever subtracted, so a leak of a picosiemens keeps all its digits beside a joint of ten kilosiemens, where equations
solved by elimination lose it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
MOST_WIDTH = 8
"""A network whose points are joined across more than so many others is no row."""


def width(a: NDArray[np.int64], b: NDArray[np.int64]) -> int:
    """Return the greatest distance between two joined points; a point of -1 is the common one, which stands beside the row."""
    both = (a >= 0) & (b >= 0)
    return int(np.abs(a - b)[both].max(initial=0))


def in_rows(a: NDArray[np.int64], b: NDArray[np.int64], siemens: Floats, size: int, most: int) -> Floats:
    """Return what stands between points as (points, most + 1, networks): first what joins each to the common point, then to the point so
    many before it. ``a`` and ``b`` are the ends of each element, ``siemens`` (elements, networks) what it conducts."""
    low, high = np.minimum(a, b), np.maximum(a, b)
    key = np.where(low == high, -1, high * (most + 1) + np.where(low < 0, 0, high - low))
    order = np.argsort(key, kind="stable")
    order = order[key[order] >= 0]
    cells, first = np.unique(key[order], return_index=True)
    out = np.zeros((size * (most + 1), siemens.shape[1]))
    out[cells] = np.add.reduceat(siemens[order], first, axis=0)
    return out.reshape(size, most + 1, -1)


def solve_row(joined: Floats, amps: Floats) -> Floats:
    """Return the (points, networks) volts against the common point when ``amps`` (networks,) are driven into point 0.

    ``joined`` is that of :func:`in_rows`, and is used up; to the common point every point must conduct more than nothing.
    """
    size, most = joined.shape[0], joined.shape[1] - 1
    common, beside = joined[:, 0], joined[:, 1:]
    whole = np.empty((size, joined.shape[2]))
    # The last point first: the driven one is 0, so that no current is met on the way.
    for point in range(size - 1, 0, -1):
        near = min(most, point)
        own = beside[point, :near]
        whole[point] = own.sum(axis=0) + common[point]
        share = own / whole[point]
        common[point - near : point][::-1] += share * common[point]
        for step in range(near - 1):
            beside[point - 1 - step, : near - step - 1] += share[step] * own[step + 1 :]
    volts = np.empty((size, joined.shape[2]))
    volts[0] = amps / common[0]
    for point in range(1, size):
        near = min(most, point)
        volts[point] = (beside[point, :near] * volts[point - near : point][::-1]).sum(axis=0) / whole[point]
    return volts
