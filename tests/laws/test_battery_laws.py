"""What holds of every battery and every load."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.power.battery import Wells, fit_kinetic, hours_at_current, step_wells
from loopwright.power.charge import Charger, ChargerKind, recharge
from loopwright.power.discharge import Ending, Phase, constant_load, discharge, longest_standby
from loopwright.power.table import PUBLISHED_AGM, assumed_table

BATTERY = fit_kinetic(PUBLISHED_AGM)
amperes = st.floats(0.02, 5.0)


@given(amperes, amperes, st.floats(10.0, 12.0))
def test_more_current_never_lengthens_the_run(one_a: float, other_a: float, cut_out_v: float) -> None:
    low, high = sorted((one_a, other_a))
    assert hours_at_current(BATTERY, high, cut_out_v=cut_out_v) <= hours_at_current(BATTERY, low, cut_out_v=cut_out_v) * (1 + 1e-12)


@given(amperes, st.floats(10.0, 12.4), st.floats(10.0, 12.4))
def test_a_higher_cut_out_never_lengthens_the_run(current_a: float, one_v: float, other_v: float) -> None:
    low, high = sorted((one_v, other_v))
    ends = [discharge(BATTERY, (Phase(name="load", load=constant_load(current_a)),), cut_out_v=v).hours_to_end for v in (low, high)]
    assert ends[0] is not None
    assert ends[1] is not None
    assert ends[1] <= ends[0] * (1 + 1e-9)


@given(st.floats(0, 3.5), st.floats(0, 4.6), st.floats(-1, 5), st.floats(0, 30))
def test_the_wells_lose_what_the_load_took(available_ah: float, bound_ah: float, current_a: float, hours: float) -> None:
    after = step_wells(BATTERY, Wells(available_ah, bound_ah), current_a, hours)
    assert sum(after) == pytest.approx(available_ah + bound_ah - current_a * hours, abs=1e-9)


@given(st.floats(0.01, 5), st.floats(0.01, 5), st.floats(-1, 5))
def test_two_steps_make_one(first_h: float, second_h: float, current_a: float) -> None:
    halfway = step_wells(BATTERY, BATTERY.full, current_a, first_h)
    both = step_wells(BATTERY, halfway, current_a, second_h)
    assert both == pytest.approx(step_wells(BATTERY, BATTERY.full, current_a, first_h + second_h), abs=1e-9)


@given(st.floats(0.1, 2.0), st.floats(0.1, 5.0))
def test_a_rested_battery_gives_more(current_a: float, rest_h: float) -> None:
    """A pause lets the bound well refill the available one: the hours on load do not shrink, and the charge at the end is lower."""
    half = hours_at_current(BATTERY, current_a) / 2
    run = Phase(name="run", load=constant_load(current_a), hours=half)
    rest = Phase(name="rest", load=constant_load(0.0), hours=rest_h)
    again = Phase(name="again", load=constant_load(current_a))
    straight = discharge(BATTERY, (run, again), cut_out_v=10.5)
    rested = discharge(BATTERY, (run, rest, again), cut_out_v=10.5)
    assert straight.hours_to_end is not None
    assert rested.hours_to_end is not None
    assert rested.hours_to_end - rest_h >= straight.hours_to_end * (1 - 1e-6)
    assert rested.charge[-1] <= straight.charge[-1] + 1e-6


@given(amperes, st.floats(0.3, 1.0))
def test_an_older_battery_never_lasts_longer(current_a: float, fraction: float) -> None:
    assert hours_at_current(BATTERY.scaled(fraction), current_a) <= hours_at_current(BATTERY, current_a)


@given(st.floats(1.2, 100), st.floats(0.02, 0.9))
def test_an_assumed_battery_scales_with_its_rating(capacity_ah: float, rate: float) -> None:
    small, large = fit_kinetic(assumed_table(capacity_ah)), fit_kinetic(assumed_table(2 * capacity_ah))
    assert hours_at_current(small, rate * capacity_ah) == pytest.approx(hours_at_current(large, 2 * rate * capacity_ah), rel=1e-6)


@given(st.floats(0.05, 0.6), st.floats(0.5, 2.5), st.floats(0.05, 1.0))
def test_longest_standby_is_the_edge(standby_a: float, alarm_a: float, alarm_h: float) -> None:
    """One minute less standby and the alarm fits; one minute more and it does not."""
    standby, alarm = constant_load(standby_a), constant_load(alarm_a)
    found = longest_standby(BATTERY, standby=standby, alarm=alarm, alarm_h=alarm_h, cut_out_v=10.5)
    assert found.fits
    for shift_h, lasts in ((-1 / 60, True), (1 / 60, False)):
        phases = (Phase(name="standby", load=standby, hours=found.hours + shift_h), Phase(name="alarm", load=alarm, hours=alarm_h))
        assert (discharge(BATTERY, phases, cut_out_v=10.5).ending is Ending.LASTED) is lasts


@given(st.floats(0.05, 2.0), st.floats(0.05, 2.0), st.floats(0.0, 0.9))
def test_more_spare_current_never_slows_a_recharge(one_a: float, other_a: float, from_charge: float) -> None:
    charger = Charger(kind=ChargerKind.CONSTANT_VOLTAGE, charge_v=13.7)
    slow, fast = (
        recharge(charger, capacity_ah=7, spare_a=spare, internal_ohm=0.02, from_charge=from_charge) for spare in sorted((one_a, other_a))
    )
    assert fast.to_80_pct_h <= slow.to_80_pct_h * (1 + 1e-12)
    assert fast.to_full_h <= slow.to_full_h * (1 + 1e-12)
