"""The half-space's share of a box, against exact rational arithmetic and against scipy's own distributions."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from loopwright.circuits import half_space
from loopwright.circuits.half_space import half_space_fraction, half_space_tails, worst_case


def exact_fraction(widths: np.ndarray, edge: float) -> Fraction:
    """Return P(sum a_i U_i <= edge) by the vertex sum in rational numbers: no rounding anywhere."""
    a = [Fraction(float(width)) for width in widths if width > 0]
    x = Fraction(float(edge))
    if not a:
        return Fraction(int(x >= 0))
    corners = [(Fraction(0), 1)]
    for width in a:
        corners += [(place + width, -sign) for place, sign in corners]
    terms = (sign * (x - place) ** len(a) for place, sign in corners if x > place)
    return sum(terms, Fraction(0)) / (math.factorial(len(a)) * math.prod(a))


def awkward_widths(generator: np.random.Generator, kind: int, n: int) -> np.ndarray:
    """Return n widths of a kind that defeats the plain vertex sum, or of the tame kind 0."""
    if kind == 0:
        return generator.uniform(0.1, 1.0, n)
    if kind == 1:
        return 10.0 ** generator.uniform(-3, 3, n)
    if kind == 2:
        return 10.0 ** generator.uniform(-12, 3, n)
    if kind == 3:  # contacts beside resistors
        return np.where(generator.random(n) < 0.5, 100.0, 0.1) * generator.uniform(0.5, 1.0, n)
    if kind == 4:  # each a fixed share of the one before
        return 100.0 * 10.0 ** (-np.arange(n) * generator.uniform(0, 2))
    widths = np.full(n, 1.0)
    widths[1:] *= generator.choice([1.0, 0.1, 0.03, 0.01, 0.0], n - 1)
    return widths


def awkward_edges(generator: np.random.Generator, widths: np.ndarray) -> np.ndarray:
    """Return edges in the middle, deep in either tail, and beside a corner of the wide ones, where the narrow ones decide."""
    total, half = widths.sum(), max(1, widths.size // 2)
    corner = widths[:half].sum()
    return np.array([
        total / 2, total * generator.random(), total * 10.0 ** generator.uniform(-3, 0), total * (1 - 10.0 ** generator.uniform(-3, 0)),
        corner + widths[half:].sum() * generator.random(), widths[0] + generator.normal() * widths[-1],
    ])


@pytest.mark.parametrize("kind", range(6))
def test_absolute_error_is_below_1e_9_however_unequal_the_widths(kind: int) -> None:
    generator = np.random.default_rng(kind)
    for _ in range(60):
        widths = awkward_widths(generator, kind, int(generator.integers(1, 8)))
        edges = awkward_edges(generator, widths)
        got = half_space_fraction(np.ones(widths.size), np.zeros(widths.size), widths, edges)
        for edge, value in zip(edges, got, strict=True):
            assert abs(float(Fraction(float(value)) - exact_fraction(widths, edge))) < 1e-11  # a hundred times better than asked


@pytest.mark.parametrize(
    "widths",
    [
        [1.0] * 10,
        [1.0] * 12,  # past what one vertex sum may take: the rest goes by moments
        [100.0] + [0.1] * 9,
        [100.0, 100.0, 50.0, 5.0, 5.0, 0.2, 0.2, 0.1, 0.1, 0.1],
        [1.0, 0.5, 0.25, 0.125, 0.0625, 0.03125, 0.015625, 0.0078125, 0.00390625, 0.001953125],
        [5000.0, 1e-3, 1e-3, 1e-3, 1e-3, 1e-9, 1e-9, 1e-9, 1e-9, 1e-300],
    ],
)
def test_many_dimensions(widths: list[float]) -> None:
    a = np.array(widths)
    edges = np.array([a.sum() * share for share in (0.001, 0.05, 0.3, 0.5, 0.77, 0.999)] + [a[0], a[0] + a[1:].sum() / 3])
    got = half_space_fraction(np.ones(a.size), np.zeros(a.size), a, edges)
    assert [abs(float(Fraction(float(v)) - exact_fraction(a, e))) < 1e-11 for e, v in zip(edges, got, strict=True)] == [True] * edges.size


def test_the_plain_vertex_sum_would_not_do() -> None:
    """The reason for taking narrow widths by moments: seven contacts beside a resistor cost the textbook sum every digit."""
    widths = np.array([100.0] + [0.01] * 7)
    edge = 60.0
    bits = (np.arange(1 << 8)[:, None] >> np.arange(8)) & 1
    plain = ((-1.0) ** bits.sum(axis=1) * np.maximum(edge - bits @ widths, 0) ** 8).sum() / (math.factorial(8) * widths.prod())
    true = float(exact_fraction(widths, edge))
    assert abs(plain - true) > 1
    assert half_space_fraction(np.ones(8), np.zeros(8), widths, edge) == pytest.approx(true, abs=1e-12)


@pytest.mark.parametrize("share", [0.30, 0.20, 0.12, 0.07])
def test_small_probabilities_keep_relative_accuracy_in_both_tails(share: float) -> None:
    widths = np.array([112.0, 112.0, 56.0, 4.0, 4.0, 0.2, 0.2])
    total = float(widths.sum())
    low = half_space_tails(np.ones(7), np.zeros(7), widths, total * share)
    high = half_space_tails(np.ones(7), np.zeros(7), widths, total * (1 - share))
    true = exact_fraction(widths, total * share)
    assert float(low.below) == pytest.approx(float(true), rel=1e-6)
    assert float(high.above) == pytest.approx(float(1 - exact_fraction(widths, total * (1 - share))), rel=1e-6)


def test_a_probability_of_one_in_ten_million_is_right_to_one_per_cent() -> None:
    widths = np.array([100.0, 90.0, 80.0, 3.0, 2.0, 0.1, 0.1, 0.05])
    edge = next(e for e in np.linspace(0.5, 30, 600) if exact_fraction(widths, float(e)) > 1e-7)
    true = float(exact_fraction(widths, float(edge)))
    assert 1e-7 < true < 2e-7
    assert float(half_space_fraction(np.ones(8), np.zeros(8), widths, float(edge))) == pytest.approx(true, rel=1e-6)


@pytest.mark.parametrize("n", range(1, 11))
def test_equal_widths_are_the_irwin_hall_distribution_of_scipy(n: int) -> None:
    edges = np.linspace(0.02, n - 0.02, 23)
    assert half_space_fraction(np.ones(n), np.zeros(n), np.ones(n), edges) == pytest.approx(stats.irwinhall.cdf(edges, n), abs=1e-9)


def test_two_widths_are_the_trapezoid_distribution_of_scipy() -> None:
    short, long = 30.0, 100.0
    edges = np.linspace(-1, 131, 50)
    trapezoid = stats.trapezoid(short / 130, long / 130, loc=0, scale=130)
    assert half_space_fraction([1, 1], [0, 0], [short, long], edges) == pytest.approx(trapezoid.cdf(edges), abs=1e-12)


def test_edges_outside_the_box_are_certain() -> None:
    got = half_space_fraction([1, 1, -1], [10, 0, 1], [11, 4, 2], [-np.inf, 7.9, 8.0, 14.0, 14.1, np.inf])
    assert got.tolist() == [0, 0, 0, 1, 1, 1]


def test_a_sum_without_spread_is_a_step_at_its_value() -> None:
    assert half_space_fraction([1, 1], [5, 7], [5, 7], [11.999, 12.0, 12.001]).tolist() == [0, 1, 1]


def test_an_open_circuit_is_above_every_edge_but_a_weight_of_nought() -> None:
    open_loop = [100.0, np.inf], [110.0, np.inf]
    assert half_space_fraction([1.0, 1.0], *open_loop, [105.0, 1e9]).tolist() == [0, 0]
    assert half_space_fraction([1.0, 0.0], *open_loop, 105.0) == pytest.approx(0.5)


def test_cases_and_edges_broadcast() -> None:
    low, high = np.zeros((3, 2)), np.array([[1.0, 1.0], [2.0, 2.0], [1.0, 0.0]])
    assert half_space_fraction(np.ones((3, 2)), low, high, np.array([0.5, 1.0, 0.25])).tolist() == pytest.approx([0.125, 0.125, 0.25])
    assert half_space_fraction(np.ones((3, 2)), low, high, np.array([[0.5, 1.0]] * 3)).shape == (3, 2)
    assert half_space_fraction(np.ones((3, 2)), low, high, 1.0).tolist() == pytest.approx([0.5, 0.125, 1.0])


def test_more_rows_than_a_chunk_holds_are_each_computed() -> None:
    rows = half_space.CHUNK_TERMS // 4 + 7
    edges = np.linspace(0, 2, rows)
    got = half_space_fraction(np.ones((rows, 2)), np.zeros((rows, 2)), np.ones((rows, 2)), edges)
    assert got == pytest.approx(np.where(edges < 1, edges**2 / 2, 1 - (2 - edges) ** 2 / 2), abs=1e-12)


@pytest.mark.parametrize(("low", "high"), [([1.0], [0.0]), ([1.0], [np.inf]), ([np.nan], [1.0])])
def test_bounds_that_are_no_bounds_are_refused(low: list[float], high: list[float]) -> None:
    with pytest.raises(ValueError, match="end"):
        half_space_fraction([1.0], low, high, 0.5)


def test_worst_case_takes_each_weight_at_its_own_corner() -> None:
    least, greatest = worst_case([[1.0, -0.25]], [[950.0, 990.0]], [[1050.0, 1010.0]])
    assert (least.tolist(), greatest.tolist()) == ([950 - 252.5], [1050 - 247.5])
