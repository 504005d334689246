"""Loop windows worked by hand from Ohm's and Kirchhoff's laws; the contact's 0.2 ohm is common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest

from loopwright.circuits.tolerance import Spread, band_probabilities, leak_to_edge, monte_carlo, thresholds_from_ohm, worst_case

NORMAL_OHM, ALARM_OHM, EDGE_OHM, PULL_UP_OHM = 4716.0, 9416.0, 7000.0, 4700.0


def test_wet_cable_across_a_double_resistor_loop() -> None:
    """A leak of 27 281 ohm pulls an alarm of 9416 down to the edge at 7000: any wetter, and the alarm is not seen."""
    assert leak_to_edge(ALARM_OHM, EDGE_OHM) == pytest.approx(27_281.0, abs=5)


@pytest.mark.parametrize(
    ("loop_ohm", "leak_ohm", "read_ohm"), [(NORMAL_OHM, 1e5, 4503.6), (ALARM_OHM, 1e5, 8605.7), (ALARM_OHM, 22e3, 6593.8)]
)
def test_what_a_leaking_loop_reads(loop_ohm: float, leak_ohm: float, read_ohm: float) -> None:
    """Bracketed by two edges one ohm to either side, every reading of a loop without spread falls between them."""
    edges = thresholds_from_ohm([read_ohm - 1, read_ohm + 1], PULL_UP_OHM)
    generator = np.random.default_rng(0)
    got = monte_carlo([loop_ohm], [loop_ohm], PULL_UP_OHM, PULL_UP_OHM, edges, samples=100, generator=generator, leak_ohm=leak_ohm)
    assert got.frequency.tolist() == [[0, 1, 0]]


def test_chain_of_ten_closed_contacts() -> None:
    """Ten contacts of 0.2, a cable of 16, an end resistor of 5600 +- 5 %: 5618 nominal, 5338 to 5898."""
    low = [5320.0, 16.0, *[0.2] * 10]
    high = [5880.0, 16.0, *[0.2] * 10]
    least, greatest = worst_case(np.ones(12), low, high)
    assert (float(least), float(greatest)) == (pytest.approx(5338.0, abs=0.1), pytest.approx(5898.0, abs=0.1))
    names = ("end resistor", "cable", *(f"contact {i}" for i in range(10)))
    chain = Spread(names=names, low_ohm=tuple(low), high_ohm=tuple(high), pull_up_low_ohm=PULL_UP_OHM, pull_up_high_ohm=PULL_UP_OHM)
    assert chain.loop_ohm == pytest.approx(5618.0, abs=0.1)
    # A quarter of the end resistor's spread lies below 5478 in all.
    assert band_probabilities([chain], thresholds_from_ohm([5478.0], PULL_UP_OHM)).tolist() == [pytest.approx([0.25, 0.75])]
