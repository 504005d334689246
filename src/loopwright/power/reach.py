"""What would still do for a run: how long it may be and how thin its cable, before the device at its end falls short."""

from __future__ import annotations

import math

from loopwright.job.document import Job
from loopwright.job.field import Gauge
from loopwright.power.forecast import LoadForecast, PowerForecast, label_of, scenario_words
from loopwright.power.remedy import bearable_share, gauge_within, run_drops, scaled_run, trial_volts
from loopwright.values.figure import Figure, Input, Origin, Working

MOST_REACH = 16.0
"""How many times the present resistance is looked at; a run that bears so much is not what limits the device."""
CLOSE = 1e-3
ROUNDS = 6
PARTS = 8


def reach_share(job: Job, forecast: PowerForecast, cable: str, load: LoadForecast, scenario: str) -> float | None:
    """Return how many times a run's present wire resistance a load still bears, at most ``MOST_REACH``; None when it bears none.

    The answer is always a trial that was solved and kept the minimum.
    """
    if float(load.margin_v[forecast.column(scenario)]) < 0:
        return bearable_share(job, forecast, cable, load, scenario)
    low, high = 1.0, MOST_REACH
    for _ in range(ROUNDS):
        points = [low + (high - low) * part / PARTS for part in range(1, PARTS + 1)]
        volts = trial_volts(forecast, load, scenario, [scaled_run(job, forecast, cable, share) for share in points])
        kept = 0
        while kept < PARTS and volts[kept] >= load.draw.min_v:
            kept += 1
        if kept == PARTS:
            return high
        low, high = points[kept - 1] if kept else low, points[kept]
        if high - low <= CLOSE:
            break
    return low


def thinnest_within(job: Job, cable: str, share: float | None) -> Gauge | None:
    """Return the thinnest size on sale whose resistance is within a share of the present one; None when there is none."""
    return gauge_within(job, cable, share)


def reach_figure(job: Job, forecast: PowerForecast, cable: str, load: LoadForecast, scenario: str, share: float | None) -> Figure | None:
    """Return the greatest length [m] of a run that would still do, its slack left as it is; None when no length does."""
    run = job.cables[cable]
    if share is None or share * (run.length_m + run.slack_m) - run.slack_m < 0.1:
        return None
    value = math.floor((share * (run.length_m + run.slack_m) - run.slack_m) * 10) / 10

    def working() -> Working:
        drop = next((item.drop_v for item in run_drops(job, forecast, load, scenario) if item.run == cable), math.nan)
        return Working(
            formula="l = k (l_now + slack) - slack; k is the most times its resistance with which the solved network keeps the minimum",
            inputs=(
                Input(name="k", value=round(share, 3), origin=Origin.COMPUTED),
                Input(name="length now", value=run.length_m, unit="m", origin=Origin.DOCUMENT, path=f"cables/{cable}/length_m"),
                Input(name="slack", value=run.slack_m, unit="m", origin=Origin.DOCUMENT, path=f"cables/{cable}/slack_m"),
                Input(name="the run takes now", value=round(drop, 3), unit="V", origin=Origin.COMPUTED),
            ),
            substituted=f"{share:.3f} × ({run.length_m:g} + {run.slack_m:g}) - {run.slack_m:g}",
            result=f"{value:.1f} m",
            notes=(f"{label_of(job, load.landing.equipment)} {scenario_words(scenario)}, which is its worst; every other run as it is",),
        )

    return Figure(key=f"reach-m/{cable}/{load.name}", label=f"run {cable}, longest that would do", value=value, unit="m", working=working)


def run_total_figure(job: Job, cable: str) -> Figure:
    """Return the length of cable in a run [m], one way, its slack included."""
    run = job.cables[cable]
    value = run.length_m + run.slack_m

    def working() -> Working:
        slack = Origin.DOCUMENT if f"cables/{cable}/slack_m" in job.given else Origin.DEFAULT
        return Working(
            formula="length + slack",
            inputs=(
                Input(name="length", value=run.length_m, unit="m", origin=Origin.DOCUMENT, path=f"cables/{cable}/length_m"),
                Input(name="slack at the ends, in all", value=run.slack_m, unit="m", origin=slack, path=f"cables/{cable}/slack_m"),
            ),
            substituted=f"{run.length_m:g} + {run.slack_m:g}",
            result=f"{value:.1f} m",
            source="job-document",
        )

    return Figure(key=f"run-m/{cable}", label=f"run {cable}, cable in it", value=value, unit="m", working=working)
