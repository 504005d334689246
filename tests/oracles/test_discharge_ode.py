"""The discharge against scipy's initial-value solver on the same two differential equations, written out anew."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from loopwright.power.battery import DROOP_V_PER_CELL, FULL_V_PER_CELL, KNEE, KineticBattery, Wells, fit_kinetic, step_wells
from loopwright.power.discharge import Load, Phase, discharge, load_from, longest_standby
from loopwright.power.table import PUBLISHED_AGM

BATTERY = fit_kinetic(PUBLISHED_AGM)
SIREN_MIN_EMF_V = 11.3


def emf_of(battery: KineticBattery, available_ah: float) -> float:
    head = available_ah / (battery.q_max_ah * battery.well_fraction)
    top = FULL_V_PER_CELL * 6 - battery.empty_v - DROOP_V_PER_CELL * 6 * (1 - head)
    return battery.empty_v + top * (1 - math.exp(-head / KNEE))


def right_hand(battery: KineticBattery, load: Load):  # noqa: ANN201
    c = battery.well_fraction
    k = battery.rate_per_h * c * (1 - c)

    def slope(_: float, y: np.ndarray) -> list[float]:
        flow = k * (y[1] / (1 - c) - y[0] / c)
        current = float(np.interp(emf_of(battery, y[0]), load.emf_v, load.current_a))
        return [flow - current, -flow]

    return slope


def reference_hours(load: Load, start: Wells, cut_out_v: float) -> float:
    def left(_: float, y: np.ndarray) -> float:
        emf = emf_of(BATTERY, y[0])
        return emf - float(np.interp(emf, load.emf_v, load.current_a)) * BATTERY.internal_ohm - cut_out_v

    left.terminal = True  # type: ignore[attr-defined]
    found = solve_ivp(right_hand(BATTERY, load), (0, 500), start, events=left, rtol=1e-10, atol=1e-12, max_step=0.2)
    return float(found.t_events[0][0])


CONVERTERS = load_from(lambda emf: 4.0 / emf, low_v=9.0, high_v=13.5, points=91)
RESISTIVE = load_from(lambda emf: emf / 40.0, low_v=9.0, high_v=13.5)
MIXED = load_from(lambda emf: 0.15 + 12.0 / emf + emf / 30.0, low_v=9.0, high_v=13.5, points=91)


@pytest.mark.parametrize("load", [CONVERTERS, RESISTIVE, MIXED], ids=["constant power", "resistive", "mixed"])
@pytest.mark.parametrize("cut_out_v", [10.5, 10.8, 11.5])
def test_hours_to_cut_out(load: Load, cut_out_v: float) -> None:
    """Agreement within 0.01 % in time."""
    trace = discharge(BATTERY, (Phase(name="load", load=load),), cut_out_v=cut_out_v)
    assert trace.hours_to_end == pytest.approx(reference_hours(load, BATTERY.full, cut_out_v), rel=1e-4)


def test_halving_the_step_converges() -> None:
    """Each halving brings the hours nearer the solver's, at least three times nearer (the method is of second order)."""
    exact = reference_hours(MIXED, BATTERY.full, 10.8)
    errors = []
    for fineness in (0.25, 0.5, 1.0, 2.0):
        trace = discharge(BATTERY, (Phase(name="load", load=MIXED),), cut_out_v=10.8, fineness=fineness)
        assert trace.hours_to_end is not None
        errors.append(abs(trace.hours_to_end / exact - 1))
    assert errors[1] < errors[0] / 3
    assert errors[2] < errors[1] / 3
    assert errors[3] < 2e-5


@pytest.mark.parametrize(("current_a", "hours"), [(0.4, 7.0), (5.0, 0.4), (-0.3, 2.0)])
def test_exact_step_of_the_wells(current_a: float, hours: float) -> None:
    """The closed form of one constant-current step, from wells that do not stand level."""
    start = Wells(1.5, 4.0)
    load = Load(emf_v=(0.0,), current_a=(current_a,))
    found = solve_ivp(right_hand(BATTERY, load), (0, hours), start, rtol=1e-11, atol=1e-13)
    assert step_wells(BATTERY, start, current_a, hours) == pytest.approx(tuple(found.y[:, -1]), rel=1e-8)


def test_longest_standby_leaves_exactly_the_alarm() -> None:
    """Half an hour of alarm after the standby found ends, by scipy, within 10 s of the cut-out."""
    found = longest_standby(BATTERY, standby=CONVERTERS, alarm=MIXED, alarm_h=0.5, cut_out_v=10.8)
    state = solve_ivp(right_hand(BATTERY, CONVERTERS), (0, found.hours), BATTERY.full, rtol=1e-10, atol=1e-12)
    left = reference_hours(MIXED, Wells(*state.y[:, -1]), 10.8)
    assert left == pytest.approx(0.5, abs=10 / 3600)


def test_first_device_to_stop() -> None:
    """The hour at which a watched margin goes below zero, against scipy's event on the same emf."""
    load = Load(emf_v=MIXED.emf_v, current_a=MIXED.current_a, margin_v={"siren": tuple(emf - SIREN_MIN_EMF_V for emf in MIXED.emf_v)})

    def margin(_: float, y: np.ndarray) -> float:
        return emf_of(BATTERY, y[0]) - SIREN_MIN_EMF_V

    margin.terminal = True  # type: ignore[attr-defined]
    event = solve_ivp(right_hand(BATTERY, load), (0, 50), BATTERY.full, events=margin, rtol=1e-10, atol=1e-12).t_events[0][0]
    trace = discharge(BATTERY, (Phase(name="load", load=load),), cut_out_v=10.5)
    assert trace.first_below["siren"] == pytest.approx(event, rel=1e-3)
