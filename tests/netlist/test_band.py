"""Points in a row against exact elimination in rational numbers, with leaks of picosiemens beside joints of ten kilosiemens."""

from __future__ import annotations

from fractions import Fraction
from random import Random

import numpy as np
import pytest

from loopwright.netlist.band import in_rows, solve_row, width

POINTS, ACROSS, LEAK_S, AMPS = 14, 4, 1e-12, 1e-3


def exact(ends: list[tuple[int, int]], siemens: list[float]) -> list[float]:
    """Return the volts of every point by elimination in fractions."""
    rows = [[Fraction(LEAK_S) * (p == q) for q in range(POINTS)] + [Fraction(AMPS) * (p == 0)] for p in range(POINTS)]
    for (a, b), value in zip(ends, map(Fraction, siemens), strict=True):
        for p, q in ((a, b), (b, a)):
            if p >= 0:
                rows[p][p] += value
                if q >= 0:
                    rows[p][q] -= value
    for pivot in range(POINTS):
        rows[pivot] = [cell / rows[pivot][pivot] for cell in rows[pivot]]
        for other in (p for p in range(POINTS) if p != pivot and rows[p][pivot]):
            factor = rows[other][pivot]
            rows[other] = [cell - factor * own for cell, own in zip(rows[other], rows[pivot], strict=True)]
    return [float(row[-1]) for row in rows]


@pytest.mark.parametrize("seed", range(4))
def test_a_row_of_points_is_solved_to_the_last_digits(seed: int) -> None:
    draw = Random(seed)
    ends = [(p, draw.randint(max(p - ACROSS, -1), p - 1)) for p in range(POINTS) for _ in range(3) if p]
    ends += [(0, -1), (POINTS - 1, -1), (POINTS - 1, POINTS - 2)]
    several = [[draw.choice([0.0, 1e-5, 1e-3, 0.1, 1e4]) for _ in ends] for _ in range(3)]
    a, b = np.array(ends).T
    assert width(a, b) <= ACROSS
    joined = in_rows(a, b, np.array(several).T, POINTS, ACROSS)
    joined[:, 0] += LEAK_S
    met = {(max(p, q), abs(p - q)) for p, q in ends if min(p, q) >= 0}
    sparsely = solve_row(joined.copy(), np.full(3, AMPS), met)
    volts = solve_row(joined, np.full(3, AMPS))
    assert (sparsely == volts).all()
    for column, siemens in enumerate(several):
        assert volts[:, column] == pytest.approx(exact(ends, siemens), rel=1e-9)
