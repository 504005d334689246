"""Batteries walked along a rounded table, once for all that leaves it as it is: what is rounded away, and what is walked again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import loopwright.demo
from loopwright.appraisal.appraise import appraise
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.power import standby
from loopwright.power.battery import KineticBattery, fit_kinetic
from loopwright.power.discharge import Load, Phase, Rest, discharge, longest_standby
from loopwright.power.standby import CURRENT_PLACES, MARGIN_PLACES
from loopwright.power.table import PUBLISHED_AGM
from often import often

BATTERY = fit_kinetic(PUBLISHED_AGM)
GRID = tuple(np.linspace(9.5, 13.2, 13).tolist())
JOB = read(loopwright.demo.text("business")).job
CUT_OUT_V, ALARM_H = 10.5, 0.25


@st.composite
def tables(draw: st.DrawFn, least_a: float, most_a: float) -> Load:
    level, slope = draw(st.floats(least_a, most_a)), draw(st.floats(-0.02, 0.02))
    margin = draw(st.floats(0.2, 2.5))
    current = tuple(level * (1 + slope * (volts - 12)) for volts in GRID)
    return Load(emf_v=GRID, current_a=current, margin_v={"far": tuple(volts - 9 - margin for volts in GRID)})


def rounded(load: Load) -> Load:
    current = tuple(round(value, CURRENT_PLACES) for value in load.current_a)
    return Load(
        emf_v=load.emf_v,
        current_a=current,
        margin_v={name: tuple(round(value, MARGIN_PLACES) for value in row) for name, row in load.margin_v.items()},
    )


@given(tables(0.02, 1.5), tables(0.2, 3.0))
@settings(max_examples=often(12), deadline=None)
def test_what_is_rounded_away_moves_no_digit_shown(rest: Load, alarm: Load) -> None:
    """Hours are shown to a tenth, a walk is good to a thousandth: rounding moves them by less than a ten-thousandth."""
    exact, near = (
        Rest(BATTERY, each, cut_out_v=CUT_OUT_V).with_alarm(Phase(name="set", load=each), alarm=other, alarm_h=ALARM_H)
        for each, other in ((rest, alarm), (rounded(rest), rounded(alarm)))
    )
    assert near[0].hours_to_end == pytest.approx(exact[0].hours_to_end, rel=1e-4)
    assert near[1].hours == pytest.approx(exact[1].hours, rel=1e-4, abs=1e-3)
    assert near[1].fits == exact[1].fits


@given(tables(0.02, 1.5), tables(0.2, 3.0), tables(0.02, 1.5))
@settings(max_examples=often(8), deadline=None)
def test_one_walk_serves_both_and_any_devices_watched(rest: Load, alarm: Load, other: Load) -> None:
    walked = Rest(BATTERY, rest, cut_out_v=CUT_OUT_V)
    for load in (rest, replace(rest, margin_v=other.margin_v)):
        trace, longest = walked.with_alarm(Phase(name="set", load=load), alarm=alarm, alarm_h=ALARM_H)
        alone = discharge(BATTERY, (Phase(name="set", load=load),), cut_out_v=CUT_OUT_V)
        assert (trace.hours_to_end, trace.first_below, trace.ending) == (alone.hours_to_end, alone.first_below, alone.ending)
        assert trace.terminal_v.tobytes() == alone.terminal_v.tobytes()
        assert longest == longest_standby(BATTERY, standby=load, alarm=alarm, alarm_h=ALARM_H, cut_out_v=CUT_OUT_V)


def with_length(job: Job, run: str, length_m: float) -> Job:
    return replace(job, cables={**job.cables, run: replace(job.cables[run], length_m=length_m)})


def feeding(supply: str) -> list[str]:
    """Return the runs that feed devices of one supply, longest first."""
    landings = appraise(JOB).power.network.landings
    runs = {run for landing in landings if landing.supply == supply for run in landing.runs}
    return sorted(runs, key=lambda run: -JOB.cables[run].length_m)


def test_an_edit_at_one_supply_walks_no_other_battery() -> None:
    """Both batteries' supplies share a 0 V and move each other in the fourteenth digit, now and then over the edge of a rounded one."""
    supplies = [item.supply for item in appraise(JOB).standby]
    assert len(supplies) == 2
    for own, other in (supplies, supplies[::-1]):
        taken_again = 0
        for length_m in (61.0, 62.0, 63.0, 64.0):
            before = {item.supply: item for item in appraise(JOB).standby}
            after = {item.supply: item for item in appraise(with_length(JOB, feeding(own)[0], length_m)).standby}
            taken_again += after[other].set_trace is before[other].set_trace
            assert after[own].set_trace is not before[own].set_trace
        assert taken_again >= 2


def test_a_longer_run_to_a_device_of_steady_current_walks_no_battery_at_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its margin is other, and where the battery goes is not."""
    walks: list[str] = []

    def walked(battery: KineticBattery, load: Load, *, cut_out_v: float) -> Rest:
        walks.append("once")
        return Rest(battery, load, cut_out_v=cut_out_v)

    monkeypatch.setattr(standby, "Rest", walked)
    steady = next(landing for landing in appraise(JOB).power.network.landings if landing.equipment == "dual-shop")
    before = next(item for item in appraise(JOB).standby if item.supply == steady.supply)
    walks.clear()
    after = next(
        item
        for item in appraise(with_length(JOB, steady.runs[0], JOB.cables[steady.runs[0]].length_m + 9)).standby
        if item.supply == steady.supply
    )
    name = f"{steady.equipment}.{steady.load}"
    assert after.loads[0].margin_v[name] != before.loads[0].margin_v[name]
    assert not walks
