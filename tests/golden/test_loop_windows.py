"""Voltage windows of a published sample input.

Source: ANSI/SIA CP-01-2009, draft of 13 March 2009, p. 49 (seen). It prints the windows in volts and in ohms of loop;
the 680 ohm pull-up is inferred from them, and meets all four.
"""

from __future__ import annotations

import pytest

from loopwright.circuits.tolerance import Spread, band_probabilities, ohm_from_thresholds, thresholds_from_ohm

SUPPLY_V = 5.0
PULL_UP_OHM = 680.0


@pytest.mark.parametrize(
    ("edge_ohm", "printed_v", "tolerance_v"), [(120, 0.75, 0.005), (190, 1.1, 0.02), (3000, 4.1, 0.03), (7800, 4.6, 0.01)]
)
def test_edges_in_volts(edge_ohm: float, printed_v: float, tolerance_v: float) -> None:
    assert SUPPLY_V * thresholds_from_ohm(edge_ohm, PULL_UP_OHM) == pytest.approx(printed_v, abs=tolerance_v)


@pytest.mark.parametrize(("printed_v", "edge_ohm"), [(0.75, 120), (1.1, 190), (4.1, 3000), (4.6, 7800)])
def test_edges_in_ohms(printed_v: float, edge_ohm: float) -> None:
    """The printed volts have two figures, so the ohms are met to what half of the last figure is worth."""
    read = [float(ohm_from_thresholds((printed_v + step) / SUPPLY_V, PULL_UP_OHM)) for step in (-0.05, 0.05)]
    assert read[0] <= edge_ohm <= read[1]


@pytest.mark.parametrize(("loop_ohm", "band"), [(60, 0), (150, 1), (1000, 2), (5000, 3), (20_000, 4)])
def test_a_loop_well_inside_a_window_is_surely_read_there(loop_ohm: float, band: int) -> None:
    """Bands 1 and 3 are the gaps between the printed windows, where the reading is undefined."""
    spread = Spread(names=("loop",), low_ohm=(loop_ohm * 0.99,), high_ohm=(loop_ohm * 1.01,), pull_up_low_ohm=673.2, pull_up_high_ohm=686.8)
    assert band_probabilities([spread], thresholds_from_ohm([120, 190, 3000, 7800], PULL_UP_OHM))[0, band] == 1
