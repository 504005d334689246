"""Bands, margins and Monte Carlo of a circuit whose parts have tolerance."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from loopwright.circuits.tolerance import (
    NORMAL_BOUND_SIGMA,
    Shape,
    Spread,
    band_probabilities,
    extra_ohm_at_misread,
    leak_at_misread,
    length_at_misread,
    monte_carlo,
    ohm_from_thresholds,
    thresholds_from_ohm,
)

EDGES_OHM = (1500.0, 7000.0, 20_000.0)


def spread(*parts: tuple[float, float], pull_up: tuple[float, float] = (4700.0, 4700.0)) -> Spread:
    """Return a circuit of the given parts."""
    return Spread(
        names=tuple(f"R{i}" for i in range(len(parts))),
        low_ohm=tuple(low for low, _ in parts),
        high_ohm=tuple(high for _, high in parts),
        pull_up_low_ohm=pull_up[0],
        pull_up_high_ohm=pull_up[1],
    )


def test_bands_of_one_resistor_are_read_off_its_spread() -> None:
    bands = band_probabilities([spread((6900.0, 7300.0))], thresholds_from_ohm(EDGES_OHM, 4700.0))
    assert bands.tolist() == [pytest.approx([0, 0.25, 0.75, 0])]


def test_the_pull_ups_own_tolerance_moves_the_edge() -> None:
    """Loop 1000 exactly, edge ratio one half: read low when the pull-up is above 1000, half the time."""
    fixed = spread((1000.0, 1000.0), pull_up=(950.0, 1050.0))
    assert band_probabilities([fixed], [0.5]).tolist() == [pytest.approx([0.5, 0.5])]


def test_circuits_of_different_length_stand_in_one_call() -> None:
    short, long = spread((6900.0, 7300.0)), spread((3400.0, 3600.0), (3500.0, 3700.0), (0.0, 0.2))
    both = band_probabilities([short, long], thresholds_from_ohm(EDGES_OHM, 4700.0))
    alone = [band_probabilities([one], thresholds_from_ohm(EDGES_OHM, 4700.0))[0] for one in (short, long)]
    assert both == pytest.approx(np.array(alone), abs=1e-14)
    assert 0.1 < both[1, 2] < 0.9


def test_each_case_may_have_its_own_edges() -> None:
    one = spread((6900.0, 7300.0))
    edges = thresholds_from_ohm([[7000.0], [7200.0]], 4700.0)
    assert band_probabilities([one, one], edges)[:, 0].tolist() == pytest.approx([0.25, 0.75])


def test_a_cut_circuit_is_read_in_the_top_band_and_a_shorted_one_in_the_lowest() -> None:
    cut, shorted = spread((4600.0, 4800.0), (math.inf, math.inf)), spread((0.0, 0.3))
    bands = band_probabilities([cut, shorted], thresholds_from_ohm(EDGES_OHM, 4700.0))
    assert bands.tolist() == [[0, 0, 0, 1], [1, 0, 0, 0]]


def test_no_cases_give_no_rows() -> None:
    assert band_probabilities([], [0.2, 0.5]).shape == (0, 3)


def test_a_rare_misreading_in_the_top_band_keeps_its_digits() -> None:
    """Two equal spreads leave a triangle at the corner: half of (50 milliohm / 100 ohm) squared."""
    parts = spread((900.0, 1000.0), (900.0, 1000.0), pull_up=(1000.0, 1000.0))
    rare = band_probabilities([parts], thresholds_from_ohm([1999.95], 1000.0))[0, 1]
    assert rare == pytest.approx(0.5 * (0.05 / 100) ** 2, rel=1e-6)


def test_the_gaussian_shortcut_errs_by_more_than_three_hundredths() -> None:
    """The reason for the exact volume: a resistor that outweighs the rest is nothing like a bell curve."""
    widths = np.array([560.0, 94.0, 10.0, 10.0, 0.4])  # a 5 % end resistor, a 1 % pull-up, two cores, a contact
    low, high = 5600.0 - widths[0] / 2, 5600.0 + widths[0] / 2
    parts = spread((low, high), *((0.0, float(width)) for width in widths[1:]))
    edges_ohm = np.linspace(low, high + widths[1:].sum(), 400)
    exact = np.cumsum(band_probabilities([parts], thresholds_from_ohm(edges_ohm, 4700.0))[0])[:-1]
    gauss = stats.norm.cdf(edges_ohm, parts.loop_ohm, math.sqrt((widths**2).sum() / 12))
    assert 0.03 < np.abs(exact - gauss).max() < 0.06


@pytest.mark.parametrize("edges", [[0.5, 0.4], [-0.1, 0.5], [0.5, 1.1], [np.nan, 0.5]])
def test_thresholds_out_of_order_are_refused(edges: list[float]) -> None:
    with pytest.raises(ValueError, match="thresholds"):
        band_probabilities([spread((1.0, 2.0))], edges)


def test_a_spread_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="R0"):
        spread((2.0, 1.0))
    with pytest.raises(ValueError, match="pull-up"):
        spread((1.0, 2.0), pull_up=(0.0, 10.0))
    with pytest.raises(ValueError, match="1 names"):
        Spread(names=("R",), low_ohm=(), high_ohm=(1.0,), pull_up_low_ohm=1.0, pull_up_high_ohm=1.0)


def test_thresholds_and_ohms_are_inverse_to_the_ends() -> None:
    assert thresholds_from_ohm([0.0, 4700.0, math.inf], 4700.0).tolist() == [0, 0.5, 1]
    assert ohm_from_thresholds([0.0, 0.5, 1.0], 4700.0).tolist() == [0, 4700, math.inf]


def test_the_extra_resistance_is_what_puts_the_state_at_its_edge() -> None:
    rest = spread((4653.0, 4747.0), (14.0, 18.0), pull_up=(4653.0, 4747.0))
    ratio = float(thresholds_from_ohm(7000.0, 4700.0))
    nominal, worst = extra_ohm_at_misread(rest, upper_ratio=ratio)
    assert nominal == pytest.approx(7000 - 4716)
    assert (4747 + 18 + worst) / (4747 + 18 + worst + 4653) == pytest.approx(ratio)
    assert length_at_misread(rest, upper_ratio=ratio, loop_ohm_per_m=0.168).worst == pytest.approx(worst / 0.168)


def test_a_state_already_out_of_its_band_has_no_room_and_the_top_band_has_no_end() -> None:
    rest = spread((7100.0, 7200.0))
    ratio = float(thresholds_from_ohm(7000.0, 4700.0))
    assert extra_ohm_at_misread(rest, upper_ratio=ratio) == (0, 0)
    assert extra_ohm_at_misread(rest, upper_ratio=1.0) == (math.inf, math.inf)
    assert extra_ohm_at_misread(spread((math.inf, math.inf)), upper_ratio=1.0) == (math.inf, math.inf)
    with pytest.raises(ValueError, match="cable"):
        length_at_misread(rest, upper_ratio=ratio, loop_ohm_per_m=0.0)


def test_the_leak_is_what_puts_the_state_at_its_edge() -> None:
    alarm = spread((9316.0, 9516.0), pull_up=(4653.0, 4747.0))
    ratio = float(thresholds_from_ohm(7000.0, 4700.0))
    nominal, worst = leak_at_misread(alarm, lower_ratio=ratio)
    assert nominal == pytest.approx(1 / (1 / 7000 - 1 / 9416))
    read = 1 / (1 / 9316 + 1 / worst)
    assert read / (read + 4747) == pytest.approx(ratio)
    assert worst > nominal
    assert leak_at_misread(alarm, lower_ratio=0.0) == (0, 0)
    assert leak_at_misread(spread((6000.0, 6100.0)), lower_ratio=ratio) == (math.inf, math.inf)
    assert leak_at_misread(spread((math.inf, math.inf)), lower_ratio=ratio).nominal == pytest.approx(7000.0)


def within(frequencies: np.ndarray, exact: np.ndarray, samples: int) -> bool:
    """Return whether each frequency is within four standard errors of the exact probability."""
    return bool(np.all(np.abs(frequencies - exact) <= 4 * np.sqrt(exact * (1 - exact) / samples) + 1e-12))


def test_a_leak_at_the_terminals_moves_the_edges_of_a_circuit_with_a_fixed_pull_up() -> None:
    parts = spread((4600.0, 4800.0), (4500.0, 4900.0), (10.0, 30.0))
    leak_ohm, edges_ohm = 27_281.0, np.array([6950.0, 7000.0, 7050.0])
    without = thresholds_from_ohm(1 / (1 / edges_ohm - 1 / leak_ohm), 4700.0)
    exact = band_probabilities([parts], without)
    got = monte_carlo(
        parts.low_ohm, parts.high_ohm, 4700.0, 4700.0, thresholds_from_ohm(edges_ohm, 4700.0),
        samples=40_000, generator=np.random.default_rng(5), leak_ohm=leak_ohm,
    )
    assert within(got.frequency, exact, 40_000)
    assert got.standard_error == pytest.approx(np.sqrt(exact * (1 - exact) / 40_000), rel=0.1)


def test_a_leak_at_the_far_end_leaves_the_cable_in_series() -> None:
    edge = thresholds_from_ohm([100.0 + 1 / (1 / 4700 + 1 / 22_000)], 4700.0)
    got = monte_carlo(
        [100.0, 4600.0], [100.0, 4800.0], 4700.0, 4700.0, edge,
        samples=40_000, generator=np.random.default_rng(6), leak_ohm=22_000.0, leak_from=1,
    )
    assert within(got.frequency, np.array([[0.5, 0.5]]), 40_000)


def test_open_and_shorted_circuits_with_a_leak() -> None:
    low = [[math.inf, 0.0], [0.0, 0.0]]
    got = monte_carlo(low, low, 1000.0, 1000.0, [0.4, 0.6], samples=300, generator=np.random.default_rng(7), leak_ohm=1000.0)
    assert got.frequency.tolist() == [[0, 1, 0], [1, 0, 0]]
    dry = monte_carlo(low, low, 1000.0, 1000.0, [0.4, 0.6], samples=300, generator=np.random.default_rng(7), leak_ohm=math.inf)
    assert dry.frequency.tolist() == [[0, 0, 1], [1, 0, 0]]
    with pytest.raises(ValueError, match="leak"):
        monte_carlo(low, low, 1000.0, 1000.0, [0.5], samples=300, generator=np.random.default_rng(7), leak_ohm=0.0)


def test_a_band_never_read_does_not_claim_certainty() -> None:
    got = monte_carlo([10.0], [20.0], 1000.0, 1000.0, [0.5], samples=1000, generator=np.random.default_rng(8))
    assert got.frequency.tolist() == [[1, 0]]
    assert (got.standard_error > 0).all()


def test_a_truncated_normal_part_is_the_one_of_scipy() -> None:
    edges_ohm = np.array([5450.0, 5560.0, 5600.0, 5700.0])
    sigma = 280.0 / NORMAL_BOUND_SIGMA
    cut = stats.truncnorm(-NORMAL_BOUND_SIGMA, NORMAL_BOUND_SIGMA, loc=5600, scale=sigma).cdf(edges_ohm)
    exact = np.diff(np.concatenate([[0], cut, [1]]))[None]
    for shape in (Shape.TRUNCATED_NORMAL, (Shape.TRUNCATED_NORMAL, Shape.UNIFORM)):
        got = monte_carlo(
            [5320.0], [5880.0], 4700.0, 4700.0, thresholds_from_ohm(edges_ohm, 4700.0),
            samples=40_000, generator=np.random.default_rng(9), shape=shape,
        )
        assert within(got.frequency, exact, 40_000)


def test_the_same_generator_gives_the_same_frequencies_and_another_others() -> None:
    def draw(seed: int) -> list[list[float]]:
        got = monte_carlo([900.0], [1100.0], 1000.0, 1000.0, [0.5], samples=5000, generator=np.random.default_rng(seed))
        return got.frequency.tolist()  # type: ignore[no-any-return]

    assert draw(1) == draw(1)
    assert draw(1) != draw(2)
