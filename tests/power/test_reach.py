"""What would still do for a run: held against the job computed anew with just that length."""

from __future__ import annotations

import pytest

import loopwright.demo
from loopwright.job.edit import SetField, apply
from loopwright.job.read import read
from loopwright.power.forecast import PowerForecast, forecast_power
from loopwright.power.reach import MOST_REACH, reach_figure, reach_share, run_total_figure, thinnest_within
from loopwright.power.reading import least_figure, worst_scenario


def forecast_with(run: str, length_m: float) -> PowerForecast:
    return forecast_power(read(apply(loopwright.demo.text("business"), SetField(f"cables/{run}/length_m", f"{length_m:.3f}")).text).job)


@pytest.mark.parametrize(
    ("run", "name"), [("W31", "sounder-press.supply"), ("W30", "sounder-lobby.supply"), ("W60", "sounder-landing.supply")]
)
def test_the_device_works_at_the_reach_of_its_run_and_not_far_beyond(run: str, name: str) -> None:
    job = read(loopwright.demo.text("business")).job
    forecast = forecast_power(job)
    name = next(load.name for load in forecast.loads if load.landing.runs[-1:] == (run,)) if run == "W60" else name
    load = forecast.load(name)
    scenario = worst_scenario(forecast, load)
    assert scenario is not None
    share = reach_share(job, forecast, run, load, scenario)
    figure = reach_figure(job, forecast, run, load, scenario, share)
    assert share is not None and figure is not None and figure.value is not None and share < MOST_REACH
    assert figure.working().result == f"{figure.value:.1f} m"
    for length_m, works in ((figure.value, True), (figure.value * 1.02 + 0.2, False)):
        other = forecast_with(run, length_m)
        margin = other.load(name).margin_v[other.column(scenario)]
        assert bool(margin >= 0) is works, (length_m, margin)


def test_a_device_with_all_in_hand_reaches_as_far_as_is_looked() -> None:
    job = read(loopwright.demo.text("business")).job
    forecast = forecast_power(job)
    load = forecast.load("dual-lobby.supply")
    assert reach_share(job, forecast, load.landing.runs[-1], load, "unset/mains") == MOST_REACH


def test_the_thinnest_size_is_within_the_share_and_the_next_thinner_is_not() -> None:
    job = read(loopwright.demo.text("business")).job
    gauge = thinnest_within(job, "W31", 0.5)
    assert gauge is not None and gauge.area_mm2 > 0.22
    assert thinnest_within(job, "W31", 1e-9) is None and thinnest_within(job, "W31", None) is None


def test_a_run_and_its_slack_are_added_up_and_the_least_volts_are_the_sheets() -> None:
    job = read(loopwright.demo.text("business")).job
    assert run_total_figure(job, "W31").value == 58 and run_total_figure(job, "W31").working().substituted == "55 + 3"
    figure = least_figure(job, forecast_power(job).load("sounder-press.supply"))
    assert figure.value == 8.5 and figure.working().inputs[0].path == "sheets/equipment/th-in/loads/supply/min_v"
