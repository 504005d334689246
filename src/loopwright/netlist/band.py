"""Networks whose points lie in a row, each joined to a few before and behind it, many of them solved at once.

A point is taken out by joining its neighbours to each other in its stead (star to mesh: A. Rosen, J. Inst. Elec. Eng. 62 (1924), 916: from
memory). Nothing is ever subtracted, so a leak of a picosiemens keeps all its digits beside a joint of ten kilosiemens, where equations
solved by elimination lose it.
"""

from __future__ import annotations

from collections.abc import Iterable

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


def solve_row(joined: Floats, amps: Floats, met: Iterable[tuple[int, int]] | None = None) -> Floats:
    """Return the (points, networks) volts against the common point when ``amps`` (networks,) are driven into point 0.

    ``joined`` is that of :func:`in_rows`, and is used up; to the common point every point must conduct more than nothing. ``met`` are the
    places in it where anything stands, a point and how far before it; all of them when nothing is said.
    """
    size, most = joined.shape[0], joined.shape[1] - 1
    near = _neighbours(size, [(p, before) for p in range(size) for before in range(1, most + 1)] if met is None else met)
    common = joined[:, 0]
    whole = np.empty((size, joined.shape[2]))
    # The last point first: the driven one is 0, so that no current is met on the way.
    for point in range(size - 1, 0, -1):
        own = [(before, joined[point, before]) for before in near[point]]
        whole[point] = sum((siemens for _, siemens in own[1:]), own[0][1]) + common[point] if own else common[point]
        for number, (before, siemens) in enumerate(own):
            share = siemens / whole[point]
            common[point - before] += share * common[point]
            for further, other in own[number + 1 :]:
                joined[point - before, further - before] += share * other
    volts = np.empty((size, joined.shape[2]))
    volts[0] = amps / common[0]
    for point in range(1, size):
        volts[point] = sum((joined[point, before] * volts[point - before] for before in near[point]), np.zeros(1)) / whole[point]
    return volts


def _neighbours(size: int, met: Iterable[tuple[int, int]]) -> list[list[int]]:
    """Return how far before each point those lie that it is joined to once the points behind it are taken out, nearest first."""
    near: list[set[int]] = [set() for _ in range(size)]
    for point, before in met:
        if 0 < before <= point:
            near[point].add(before)
    for point in range(size - 1, 0, -1):
        for before in near[point]:
            near[point - before] |= {further - before for further in near[point] if further > before}
    return [sorted(each) for each in near]
