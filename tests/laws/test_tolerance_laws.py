"""Laws of the tolerance of circuits: what must hold of any parts and any thresholds."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.circuits.half_space import half_space_fraction, worst_case
from loopwright.circuits.preferred import Series, colour_code, nearest_preferred, read_colours, series_values
from loopwright.circuits.tolerance import (
    Spread,
    band_probabilities,
    leak_to_edge,
    monte_carlo,
    ohm_from_thresholds,
    thresholds_from_ohm,
)
from often import often

OHM = st.floats(0.0, 1e4)
PART = st.tuples(OHM, st.one_of(st.just(0.0), st.floats(1e-6, 1e3))).map(lambda part: (part[0], part[0] + part[1]))
WIDTHS = st.lists(st.one_of(st.just(0.0), st.floats(1e-9, 1e4)), min_size=1, max_size=7).map(np.array)
EDGES = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=5).map(sorted)


@st.composite
def spreads(draw: st.DrawFn) -> Spread:
    """Return any circuit of up to six parts."""
    parts = draw(st.lists(PART, min_size=1, max_size=6))
    pull_up = draw(st.floats(100.0, 1e5))
    return Spread(
        names=tuple("abcdef"[: len(parts)]),
        low_ohm=tuple(low for low, _ in parts),
        high_ohm=tuple(high for _, high in parts),
        pull_up_low_ohm=pull_up,
        pull_up_high_ohm=pull_up * draw(st.floats(1.0, 1.1)),
    )


@settings(max_examples=often(60))
@given(spreads(), EDGES)
def test_the_bands_of_a_circuit_share_all_of_it(spread: Spread, edges: list[float]) -> None:
    bands = band_probabilities([spread], edges)
    assert np.all((bands >= 0) & (bands <= 1))
    assert abs(bands.sum() - 1) < 1e-12


@settings(max_examples=often(60))
@given(spreads(), EDGES)
def test_a_band_is_certain_when_both_corners_are_in_it(spread: Spread, edges: list[float]) -> None:
    least = spread.loop_low_ohm / (spread.loop_low_ohm + spread.pull_up_high_ohm)
    most = spread.loop_high_ohm / (spread.loop_high_ohm + spread.pull_up_low_ohm)
    clear = all(abs(edge - corner) > 1e-9 for edge in edges for corner in (least, most))
    if clear and np.searchsorted(edges, least) == np.searchsorted(edges, most):
        assert band_probabilities([spread], edges)[0, np.searchsorted(edges, least)] == 1


@settings(max_examples=often(60))
@given(WIDTHS, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_higher_edge_is_no_less_likely(widths: np.ndarray, first: float, second: float) -> None:
    low, high = sorted((first * widths.sum(), second * widths.sum()))
    below = half_space_fraction(np.ones(widths.size), np.zeros(widths.size), widths, np.array([low, high]))
    assert below[0] <= below[1] + 1e-11


@settings(max_examples=often(60))
@given(WIDTHS, st.floats(0.0, 1.0))
def test_a_box_seen_from_its_far_corner_is_the_same_box(widths: np.ndarray, share: float) -> None:
    """P(S <= e) with all weights turned round is P(S >= -e)."""
    ones, zeros, edge = np.ones(widths.size), np.zeros(widths.size), share * widths.sum()
    if widths.any():
        assert abs(half_space_fraction(-ones, zeros, widths, -edge) - (1 - half_space_fraction(ones, zeros, widths, edge))) < 1e-11


@settings(max_examples=often(50))
@given(WIDTHS, st.floats(0.0, 1.0), st.randoms(use_true_random=False), st.floats(1e-6, 1e6))
def test_order_padding_and_unit_of_the_parts_do_not_matter(widths: np.ndarray, share: float, random: object, unit: float) -> None:
    edge = share * widths.sum()
    plain = half_space_fraction(np.ones(widths.size), np.zeros(widths.size), widths, edge)
    moved = np.append(widths, [0.0, 0.0])
    random.shuffle(moved)  # type: ignore[attr-defined]
    if widths.any():
        assert abs(half_space_fraction(np.full(moved.size, unit), np.zeros(moved.size), moved, edge * unit) - plain) < 1e-9


@settings(max_examples=often(50))
@given(spreads())
def test_no_draw_lies_outside_the_worst_case(spread: Spread) -> None:
    units = np.random.default_rng(0).random((50, len(spread.names)))
    low, high = np.array(spread.low_ohm), np.array(spread.high_ohm)
    weights = np.resize([1.0, -0.5, 2.0], low.size)
    drawn = (low + (high - low) * units) @ weights
    least, greatest = worst_case(weights, low, high)
    slack = 1e-12 * (1 + np.abs(weights * high).sum())
    assert np.all((drawn >= least - slack) & (drawn <= greatest + slack))


@given(st.floats(1e-3, 1e6), st.floats(1.0, 1e6))
def test_a_threshold_and_its_resistance_are_inverse(edge_ohm: float, pull_up_ohm: float) -> None:
    back = float(ohm_from_thresholds(thresholds_from_ohm(edge_ohm, pull_up_ohm), pull_up_ohm))
    assert abs(back - edge_ohm) <= 1e-12 * (edge_ohm + pull_up_ohm) * (1 + edge_ohm / pull_up_ohm)


@given(st.floats(1.0, 1e6), st.floats(0.01, 0.99))
def test_the_leak_to_an_edge_in_parallel_gives_the_edge(loop_ohm: float, share: float) -> None:
    edge = loop_ohm * share
    leak = leak_to_edge(loop_ohm, edge)
    assert abs(loop_ohm * leak / (loop_ohm + leak) - edge) <= 1e-9 * loop_ohm


def test_monte_carlo_agrees_with_the_exact_volume_on_240_circuits() -> None:
    """Each of 240 circuits, drawn apart, within four standard errors in each of its five bands."""
    generator, samples, misses, decided = np.random.default_rng(2024), 20_000, 0, 0
    for _ in range(240):
        count = int(generator.integers(2, 8))
        low = generator.uniform(0, 3000, count)
        high = low + low * generator.choice([0.002, 0.02, 0.1], count) + generator.choice([0.0, 0.2, 20.0], count)
        nominal = float((low + high).sum() / 2)
        edges = thresholds_from_ohm(nominal * np.sort(generator.normal(1, 0.01, 4)), 4700.0)
        spread = Spread(
            names=tuple("abcdefg"[:count]), low_ohm=tuple(low.tolist()), high_ohm=tuple(high.tolist()),
            pull_up_low_ohm=4653.0, pull_up_high_ohm=4747.0,
        )
        exact = band_probabilities([spread], edges)
        got = monte_carlo(low, high, 4653.0, 4747.0, edges, samples=samples, generator=generator)
        misses += int(np.any(np.abs(got.frequency - exact) > 4 * np.sqrt(exact * (1 - exact) / samples) + 1e-12))
        decided += int(np.any((exact > 0.01) & (exact < 0.99)))
    assert misses == 0
    assert decided >= 200  # the agreement is of probabilities, not of certainties


@given(st.sampled_from([series for series in Series if series.digits == 2]), st.integers(0, 23), st.integers(-2, 8))
def test_colours_of_two_figures_are_read_back(series: Series, index: int, power: int) -> None:
    value = float(f"{series_values(series)[index % series]}e{power}")
    for pct in (0.1, 0.25, 0.5, 1.0, 2.0, 5.0, 10.0):
        assert read_colours(colour_code(value, pct)) == (value, pct)


@given(st.sampled_from(list(Series)), st.integers(0, 95), st.integers(-2, 6))
def test_every_value_of_a_series_is_its_own_nearest_and_reads_back_from_five_bands(series: Series, index: int, power: int) -> None:
    value = float(f"{series_values(series)[index % series]}e{power}")
    assert nearest_preferred(value, series) == value
    if value >= 1:
        assert read_colours(colour_code(value, 1.0, bands=5)) == (value, 1.0)
