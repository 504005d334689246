"""Discharges: phases, endings, watched devices, and what is refused."""

from __future__ import annotations

import math

import pytest

from loopwright.power.battery import Wells, fit_kinetic, hours_at_current
from loopwright.power.discharge import BATTERY, Ending, Load, Phase, constant_load, discharge, longest_standby
from loopwright.power.table import PUBLISHED_AGM, DischargeRow, DischargeTable

FITTED = fit_kinetic(PUBLISHED_AGM)


def with_margin(current_a: float, least_v: float) -> Load:
    grid = tuple(9.0 + 0.25 * step for step in range(20))
    return Load(emf_v=grid, current_a=(current_a,) * len(grid), margin_v={"keypad": tuple(emf - least_v for emf in grid)})


def test_the_phases_follow_one_another() -> None:
    phases = (Phase(name="standby", load=constant_load(0.2), hours=10), Phase(name="alarm", load=constant_load(1.0), hours=0.5))
    trace = discharge(FITTED, phases, cut_out_v=10.5)
    assert trace.ending is Ending.LASTED
    assert trace.hours_to_end is None
    assert trace.hours[-1] == pytest.approx(10.5)
    assert trace.charge[-1] == pytest.approx(1 - (0.2 * 10 + 0.5) / FITTED.q_max_ah)
    assert set(trace.phase) == {"standby", "alarm"}
    assert trace.terminal_v[-1] == pytest.approx(trace.emf_v[-1] - FITTED.internal_ohm)


def test_a_cut_out_below_the_sheets_cut_off_ends_with_an_empty_battery() -> None:
    trace = discharge(FITTED, (Phase(name="load", load=constant_load(0.5)),), cut_out_v=9.0)
    assert trace.ending is Ending.EMPTY
    assert trace.emf_v[-1] == pytest.approx(10.5, abs=1e-3)


def test_a_battery_too_small_lets_go_at_once() -> None:
    trace = discharge(FITTED, (Phase(name="load", load=constant_load(60.0)),), cut_out_v=11.9)
    assert trace.hours_to_end == 0.0
    assert hours_at_current(FITTED, 60.0, cut_out_v=11.9) == 0.0


def test_nothing_drawn_lasts_the_year() -> None:
    trace = discharge(FITTED, (Phase(name="load", load=constant_load(0.0)),), cut_out_v=10.5)
    assert trace.ending is Ending.LASTED
    assert math.isinf(hours_at_current(FITTED, 0.0))


def test_a_device_that_never_worked_stops_at_the_start_of_its_phase() -> None:
    phases = (Phase(name="standby", load=constant_load(0.2), hours=2), Phase(name="alarm", load=with_margin(1.0, 13.0), hours=0.5))
    assert discharge(FITTED, phases, cut_out_v=10.5).first_below == {"keypad": pytest.approx(2.0)}


def test_a_device_that_keeps_working_has_no_hour() -> None:
    trace = discharge(FITTED, (Phase(name="load", load=with_margin(0.5, 9.0)),), cut_out_v=10.5)
    assert trace.first_below == {"keypad": None}


def test_standby_is_limited_by_the_device_that_stops_first() -> None:
    battery_alone = longest_standby(FITTED, standby=constant_load(0.3), alarm=constant_load(1.0), alarm_h=0.25, cut_out_v=10.5)
    with_keypad = longest_standby(FITTED, standby=constant_load(0.3), alarm=with_margin(1.0, 11.8), alarm_h=0.25, cut_out_v=10.5)
    assert battery_alone.limited_by == BATTERY
    assert with_keypad.limited_by == "keypad"
    assert with_keypad.hours < battery_alone.hours


def test_an_alarm_no_charged_battery_can_carry() -> None:
    found = longest_standby(FITTED, standby=constant_load(0.3), alarm=constant_load(9.0), alarm_h=4.0, cut_out_v=10.5)
    assert not found.fits
    assert found.hours == 0.0
    assert found.limited_by == BATTERY


def test_a_half_empty_battery_lasts_less() -> None:
    half = Wells(FITTED.full.available_ah / 2, FITTED.full.bound_ah / 2)
    load = (Phase(name="load", load=constant_load(0.5)),)
    whole, part = (discharge(FITTED, load, cut_out_v=10.5, start=start).hours_to_end for start in (None, half))
    assert whole is not None
    assert part is not None
    assert part < whole / 2 + 0.5


@pytest.mark.parametrize(
    "rows",
    [(), ((1.0, 4.0), (2.0, 4.5)), ((2.0, 4.0), (1.0, 3.0)), ((1.0, 0.0),)],
    ids=["empty", "amperes rise", "hours fall", "nothing drawn"],
)
def test_a_table_that_is_not_one_is_refused(rows: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(ValueError, match="discharge table"):
        DischargeTable(rows=tuple(DischargeRow(*row) for row in rows), cut_off_v=10.5)


def test_a_load_table_that_cannot_be_looked_up_is_refused() -> None:
    with pytest.raises(ValueError, match="rises"):
        Load(emf_v=(12.0, 11.0), current_a=(1.0, 1.0))
    with pytest.raises(ValueError, match="for each emf"):
        Load(emf_v=(11.0, 12.0), current_a=(1.0,))


def test_a_rating_alone_keeps_the_published_shape() -> None:
    """A sheet with one row: the published battery's wells, this battery's capacity."""
    alone = fit_kinetic(DischargeTable(rows=(DischargeRow(20, 0.35),), cut_off_v=10.5))
    assert alone.assumed_shape
    assert alone.well_fraction == FITTED.well_fraction
    assert hours_at_current(alone, 0.35) == pytest.approx(20, rel=1e-6)


def test_a_six_volt_battery_is_half_a_twelve_volt_one() -> None:
    half = fit_kinetic(DischargeTable(rows=PUBLISHED_AGM.rows, cut_off_v=5.25, nominal_v=6.0), internal_ohm=0.01)
    assert half.cells == 3
    assert half.full_v == pytest.approx(FITTED.full_v / 2)
    assert hours_at_current(half, 1.0) == pytest.approx(hours_at_current(FITTED, 1.0), rel=0.002)
