"""The exact probability that a weighted sum of independent uniform values lies at or below an edge.

It is the volume a half-space cuts from a box, and needs no sampling.

Theory of operation. The textbook form of that volume is the inclusion-exclusion sum over the box's vertices,

    P(sum a_i U_i <= b) = 1 / (n! prod a_i)  *  sum over v in {0,1}^n of (-1)^|v| (b - a.v)_+^n

which is exact on paper and useless in floating point once widths differ: with total width A its terms reach
``A^n / (n! prod a_i)``, and a 0.1 ohm contact beside a 100 ohm spread costs every digit. So a dimension is summed over
vertices only while that amplification stays below ``AMPLIFICATION``; the narrow dimensions left over enter each
vertex as an expectation, ``E (z - sum a_i U_i)_+^q / q!``:

* z at or above the narrow total: a polynomial in z about the narrow middle, whose coefficients (the even central
  moments) are all positive, so nothing cancels;
* z at or below 0: nothing;
* z between, which few vertices are: the same question with fewer, narrower dimensions, answered by the same function.

No dimension is dropped or moved to its middle, so there is no folding error to bound; what is left is rounding,
about ``AMPLIFICATION`` times the machine's epsilon, below 1e-11 (held against exact rationals by the tests). The
smaller of the two tails is the one summed, so that a probability of 1e-12 still has four good digits.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

AMPLIFICATION = 1e4
"""How far the terms of a vertex sum may exceed its result before the next width is taken by moments instead."""

CHUNK_TERMS = 32_768
"""Terms worked on at a time: 256 kB of floats, which stays in a core's second-level cache."""


class Extremes(NamedTuple):
    """The least and the greatest value a sum can take, each an array over the cases."""

    least: Array
    greatest: Array


class Tails(NamedTuple):
    """The probability at or below an edge and above it, each accurate however small it is."""

    below: Array
    above: Array


def worst_case(weights: ArrayLike, low: ArrayLike, high: ArrayLike) -> Extremes:
    """Return the corners of ``sum w_i x_i`` over the box ``low <= x <= high``, along the last axis.

    >>> worst_case([1.0, 1.0, -2.0], [95.0, 0.0, 10.0], [105.0, 4.0, 12.0])
    Extremes(least=np.float64(71.0), greatest=np.float64(89.0))
    """
    ends = np.stack([_product(weights, low), _product(weights, high)])
    return Extremes(ends.min(axis=0).sum(axis=-1), ends.max(axis=0).sum(axis=-1))


def half_space_fraction(weights: ArrayLike, low: ArrayLike, high: ArrayLike, edge: ArrayLike) -> Array:
    """Return the probability that a weighted sum of independent uniform values is at or below an edge.

    Equation: P(sum w_i x_i <= edge), x_i uniform on [low_i, high_i]; see the head of this file.

    Args:
        weights: w, shaped (cases, n) or (n,) [any].
        low: lower ends, shaped alike [unit of x]; an infinite one (an open circuit) is a sum above every edge.
        high: upper ends, shaped alike [unit of x]; equal to ``low`` where there is no spread (padding included).
        edge: shaped (), (cases,) or (cases, edges) [unit of w x].

    Returns:
        The probability, shaped as ``edge`` broadcast over the cases [1], within 0 and 1.

    Valid: any widths, equal or not; time doubles with each dimension, ten are quick. Absolute error below 1e-9 while the
    least sum is within 10^6 of the widest spread (beyond it, forming ``edge - least`` costs the digits).

    Raises:
        ValueError: when a lower end is above its upper end, or only the upper end is infinite.

    >>> half_space_fraction([1.0, 1.0], [0.0, 0.0], [1.0, 1.0], 0.5).round(6)  # a triangle of half by half
    np.float64(0.125)

    Source: volume of a box cut by a half-space, Barrow and Smith, American Mathematical Monthly 86 (1979) 149 (from memory).
    """
    return half_space_tails(weights, low, high, edge).below


def half_space_tails(weights: ArrayLike, low: ArrayLike, high: ArrayLike, edge: ArrayLike) -> Tails:
    """Return both sides of ``half_space_fraction``; the smaller one is computed, the greater is its complement."""
    first, last = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    if not np.all(first <= last):
        raise ValueError("a lower end is above its upper end")
    if np.any(np.isinf(last) & (first != last)):
        raise ValueError("only the upper end is infinite: such a spread has no uniform distribution")
    least = worst_case(weights, first, last).least
    widths = np.abs(_product(weights, spans(first, last)))
    edges = np.asarray(edge, dtype=float)
    extra = (1,) * (edges.ndim - least.ndim)
    above_least = edges - least.reshape(least.shape + extra)
    widths = np.broadcast_to(widths.reshape(*least.shape, *extra, widths.shape[-1]), (*above_least.shape, widths.shape[-1]))
    tails = _tails(above_least.reshape(-1), widths.reshape(-1, widths.shape[-1]))
    return Tails(tails.below.reshape(above_least.shape)[()], tails.above.reshape(above_least.shape)[()])


def spans(low: Array, high: Array) -> Array:
    """Return high minus low, nought between two infinities."""
    least, most = np.broadcast_arrays(low, high)
    width: Array = np.zeros(least.shape)
    np.subtract(most, least, out=width, where=least != most)
    return width


def _product(weights: ArrayLike, values: ArrayLike) -> Array:
    """Return weights times values, a zero weight giving zero even of an open circuit's infinity."""
    w, x = np.broadcast_arrays(np.asarray(weights, dtype=float), np.asarray(values, dtype=float))
    result: Array = np.zeros(w.shape)
    np.multiply(w, x, out=result, where=w != 0)
    return result


def _tails(above_least: Array, widths: Array) -> Tails:
    """Return both tails of ``sum a_i U_i`` at each row's value."""
    total = widths.sum(axis=1)
    flip = above_least > total - above_least
    near = np.where(flip, total - above_least, above_least)
    # A sum with no spread is at or below its edge when equal to it; elsewhere an edge at a corner cuts off nothing.
    tail = np.where((total == 0) & (near >= 0), np.where(flip, 0.0, 1.0), 0.0)
    inside = np.flatnonzero((near > 0) & (total > 0))
    if inside.size:
        descending = -np.sort(-widths[inside], axis=1)
        tail[inside] = np.clip(_mean_power(near[inside], descending, 0), 0.0, 1.0)
    return Tails(np.where(flip, 1.0 - tail, tail), np.where(flip, tail, 1.0 - tail))


def _mean_power(z: Array, widths: Array, power: int) -> Array:
    """Return E (z - sum a_i U_i)_+^p / p! for each row; ``widths`` descend along a row."""
    total = widths.sum(axis=1)
    result = np.zeros(z.shape)
    beyond = z >= total
    if beyond.any():
        result[beyond] = _moment_sum(z[None, beyond] - total[beyond] / 2, widths[beyond], power)[0]
    between = np.flatnonzero((z > 0) & ~beyond)
    wide = _wide_count(widths[between], power)
    for count in np.unique(wide):
        rows = between[wide == count]
        step = max(1, CHUNK_TERMS >> int(count))
        for start in range(0, rows.size, step):
            some = rows[start : start + step]
            result[some] = _vertex_sum(z[some], widths[some], power, int(count))
    return result


def _wide_count(widths: Array, power: int) -> NDArray[np.int64]:
    """Return how many of each row's descending widths a vertex sum can take before its terms grow past AMPLIFICATION."""
    orders = power + np.arange(1, widths.shape[1] + 1)
    with np.errstate(divide="ignore", over="ignore"):
        growth = np.cumprod(widths.sum(axis=1, keepdims=True) / (orders * widths), axis=1)
    within = np.logical_and.accumulate(growth <= AMPLIFICATION, axis=1)
    return np.asarray(np.maximum(within.sum(axis=1), 1))


def _vertex_sum(z: Array, widths: Array, power: int, count: int) -> Array:
    """Return E (z - sum a_i U_i)_+^p / p! by the vertices of the first ``count`` widths, the rest by ``_mean_power``."""
    scale = widths[:, 0]
    a = (widths / scale[:, None]).T
    corners = np.empty((1 << count, z.size))
    corners[0] = z / scale
    for i in range(count):
        np.subtract(corners[: 1 << i], a[i], out=corners[1 << i : 2 << i])
    narrow = a[count:][(a[count:] > 0).any(axis=1)].T
    terms = _corner_terms(corners, narrow, power + count)
    return np.asarray(_signs(count) @ terms / a[:count].prod(axis=0) * scale**power)


def _corner_terms(corners: Array, narrow: Array, power: int) -> Array:
    """Return E (z - sum a_i U_i)_+^q / q! at every corner z, over the narrow widths of each column."""
    if narrow.shape[1] == 0:
        return _power(np.maximum(corners, 0.0), power) / math.factorial(power)
    rest = narrow.sum(axis=1)
    beyond = corners >= rest
    terms = np.where(beyond, _moment_sum(np.maximum(corners - rest / 2, 0.0), narrow, power), 0.0)
    vertex, column = np.nonzero((corners > 0) & ~beyond)
    if vertex.size:
        terms[vertex, column] = _mean_power(corners[vertex, column], narrow[column], power)
    return terms


def _moment_sum(y: Array, widths: Array, power: int) -> Array:
    """Return E (y + S)^q / q! for y >= 0, S the centred sum of one column's widths: every term is positive.

    Equation: sum over j of y^(q-2j) / (q-2j)! * c_2j, where sum c_2j s^2j = prod sinh(a_i s / 2) / (a_i s / 2).
    """
    orders = power // 2 + 1
    moments = np.zeros((orders, widths.shape[0]))
    moments[0] = 1.0
    for a in widths.T:
        one = [(a / 2) ** (2 * j) / math.factorial(2 * j + 1) for j in range(orders)]
        moments = np.stack([np.sum([moments[k - j] * one[j] for j in range(k + 1)], axis=0) for k in range(orders)])
    square, result = y * y, np.zeros_like(y)
    for j in range(orders):
        result = result * square + moments[j] / math.factorial(power - 2 * j)
    return result * y if power % 2 else result


def _power(base: Array, exponent: int) -> Array:
    """Return base to a whole power by squaring, some ten times faster than the general power."""
    result, square = np.ones_like(base), base
    while exponent:
        if exponent & 1:
            result = result * square
        exponent >>= 1
        if exponent:
            square = square * square
    return result


def _signs(count: int) -> Array:
    """Return (-1)^|v| for the 2^count vertices in binary order."""
    signs = np.ones(1)
    for _ in range(count):
        signs = np.concatenate([signs, -signs])
    return signs
