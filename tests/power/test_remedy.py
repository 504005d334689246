"""Remedies held against the network solved anew: what is proposed is enough, and the next smaller step is not."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from loopwright.job.document import Job
from loopwright.job.edit import Edit, SetField, apply
from loopwright.job.read import read
from loopwright.netlist.conductor import GaugeSystem, standard_gauges
from loopwright.power.forecast import LoadForecast, PowerForecast, forecast_power
from loopwright.power.remedy import bare_volts, cores_needed, longest_run_m, remedy_of, run_drops, smallest_gauge, trial_volts

SAMPLE = Path(__file__).parents[1] / "job" / "sample.yaml"
END = "alarm/battery-end"
SHEET = "sheets/cables/six-core"
MINIMUM_V = 9.0


@cache
def solved(*edits: Edit) -> tuple[Job, PowerForecast, LoadForecast]:
    text = SAMPLE.read_text(encoding="utf-8")
    for edit in edits:
        text = apply(text, edit).text
    job = read(text).job
    forecast = forecast_power(job)
    return job, forecast, forecast.load("bell.supply")


def volts(*edits: Edit) -> float:
    """Return the bell's volts in alarm at the end of discharge, the whole job read and solved anew."""
    _, forecast, load = solved(*edits)
    return float(load.volts_v[forecast.column(END)])


LAWS = ("constant-current", "constant-power", "resistive")
CASES = [(law, length) for law in LAWS for length in (60, 90, 140)]


def far(law: str, length_m: float) -> tuple[Edit, ...]:
    return (SetField("sheets/equipment/bell/loads/supply/law", law), SetField("cables/W06/length_m", str(length_m)))


def of_gauge(area_mm2: float) -> tuple[Edit, ...]:
    """Return the edits that pull another cable for this run, without a stated resistance, so that the tables decide."""
    own = (SetField("sheets/cables/own/cores", "6"), SetField("sheets/cables/own/gauge", f"{area_mm2:g} mm2"))
    return (*own, SetField("cables/W06/sheet", "own"))


@pytest.mark.parametrize(("law", "length_m"), CASES)
def test_smallest_gauge_is_enough_and_the_next_smaller_is_not(law: str, length_m: float) -> None:
    edits = far(law, length_m)
    job, forecast, load = solved(*edits)
    assert volts(*edits) < MINIMUM_V
    gauge = smallest_gauge(job, forecast, ("W06",), load, END)
    assert gauge is not None
    sizes = standard_gauges(GaugeSystem.MM2)
    smaller = sizes[sizes.index(gauge.area_mm2) - 1]
    assert volts(*edits, *of_gauge(gauge.area_mm2)) >= MINIMUM_V
    assert volts(*edits, *of_gauge(smaller)) < MINIMUM_V


@pytest.mark.parametrize(("law", "length_m"), CASES)
def test_longest_run_is_enough_and_half_a_metre_more_is_not(law: str, length_m: float) -> None:
    job, forecast, load = solved(*far(law, length_m))
    longest = longest_run_m(job, forecast, "W06", load, END)
    assert longest is not None and longest < length_m
    assert volts(*far(law, longest)) >= MINIMUM_V
    assert volts(*far(law, longest + 0.5)) < MINIMUM_V


@pytest.mark.parametrize(("law", "length_m"), [(law, length) for law in LAWS for length in (50, 60)])
def test_cores_in_parallel_are_enough_and_one_fewer_is_not(law: str, length_m: float) -> None:
    edits = far(law, length_m)
    job, forecast, load = solved(*edits)
    cores = cores_needed(job, forecast, "W06", load, END)
    assert cores is not None and cores > 1
    assert volts(*edits, SetField("cables/W06/feeds/0/cores", str(cores))) >= MINIMUM_V
    assert volts(*edits, SetField("cables/W06/feeds/0/cores", str(cores - 1))) < MINIMUM_V


def test_more_than_three_further_cores_are_not_proposed() -> None:
    job, forecast, load = solved(*far("constant-current", 600))
    assert cores_needed(job, forecast, "W06", load, END) is None


def test_no_remedy_where_the_supply_itself_gives_too_little() -> None:
    edits = (*far("constant-current", 60), SetField("sheets/equipment/bell/loads/supply/min_v", "10.5"))
    job, forecast, load = solved(*edits)
    made = remedy_of(job, forecast, load, END)
    assert made is not None
    assert (made.gauge, made.cores, made.longest_m, made.way_gauge) == (None, None, None, None)
    assert made.bare_v < 10.5
    assert made.bare_v == pytest.approx(volts(*edits, SetField("cables/W06/length_m", "0")), abs=1e-3)
    assert bare_volts(job, forecast, load, END) == pytest.approx(made.bare_v)


def test_drops_on_the_way_add_up_to_what_is_lost() -> None:
    job, forecast, _ = solved()
    load = forecast.load("pir-landing.supply")
    drops = run_drops(job, forecast, load, "alarm/mains")
    assert [drop.run for drop in drops] == ["W02", "W03"]
    column = forecast.column("alarm/mains")
    output = next(item for item in forecast.outputs if item.name == "control.aux")
    assert sum(drop.drop_v for drop in drops) == pytest.approx(float(output.volts_v[column] - load.volts_v[column]), abs=1e-9)


def test_a_trial_that_changes_nothing_gives_the_volts_there_are() -> None:
    _, forecast, load = solved()
    for scenario in forecast.names:
        found = trial_volts(forecast, load, scenario, [{}, {}])
        assert found == pytest.approx([float(load.volts_v[forecast.column(scenario)])] * 2, abs=1e-6, nan_ok=True)


def test_a_trial_leaves_switched_outputs_as_the_scenario_has_them() -> None:
    _, forecast, load = solved()
    assert trial_volts(forecast, load, "set/mains", [{"W06.plus": 1.0}])[0] == pytest.approx(0.0, abs=1e-6)


def test_gauges_are_proposed_in_the_cables_own_system() -> None:
    awg = (SetField(f"{SHEET}/gauge", "22 AWG"), SetField(f"{SHEET}/ohm_per_km", "60"))
    job, forecast, load = solved(*far("constant-current", 90), *awg)
    gauge = smallest_gauge(job, forecast, ("W06",), load, END)
    assert gauge is not None and gauge.awg is not None and gauge.awg < 22
