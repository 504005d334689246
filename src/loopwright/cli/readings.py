"""A forecast as plain data for other programs: units in the names of the keys, no number that JSON cannot write."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from loopwright.circuits.forecast import ActForecast, CircuitForecast, ohm_figure
from loopwright.circuits.forecast import volts_figure as circuit_volts_figure
from loopwright.cli.stage import reach_of
from loopwright.power.forecast import LoadForecast, OutputForecast, SupplyForecast, scenario_words, volts_figure
from loopwright.power.standby import StandbyForecast

if TYPE_CHECKING:
    from loopwright.appraisal.appraise import Appraisal

DIGITS = 6
"""Significant figures written: more than any meter shows."""

Record = dict[str, Any]


def machine_form(file: str, appraisal: Appraisal, *, stage_from: str) -> Record:
    """Return the whole forecast. What does not apply at the stage is an empty list, or null for a circuit's volts."""
    reach = reach_of(appraisal.job.stage)
    power = appraisal.power
    return {
        "file": file,
        "title": appraisal.job.title,
        "stage": str(appraisal.job.stage),
        "stage_from": stage_from,
        "applies": {"dead_readings": True, "live_readings": reach.live, "sentence": reach.sentence},
        "problems": [],
        "scenarios": [{"name": name, "words": scenario_words(name)} for name in power.names] if reach.live else [],
        "terminals": [_terminal(appraisal, load) for load in power.loads] if reach.live else [],
        "unfed": list(power.unfed) if reach.live else [],
        "outputs": [_output(power.names, output) for output in power.outputs] if reach.live else [],
        "supplies": [_supply(power.names, supply) for supply in power.supplies] if reach.live else [],
        "batteries": [_battery(item) for item in appraisal.standby] if reach.live else [],
        "circuits": [_circuit(appraisal, circuit, live=reach.live) for circuit in appraisal.circuits],
        "supervised_outputs": [_watch(appraisal, item, live=reach.live) for item in appraisal.watches],
    }


def number(value: float | None) -> float | None:
    """Return a number JSON can write; None for infinity and for what is no figure.

    >>> number(13.123456789), number(float("inf")), number(float("nan"))
    (13.1235, None, None)
    """
    return float(f"{value:.{DIGITS}g}") if value is not None and math.isfinite(value) else None


def over(value: float | None) -> bool:
    """Return whether a value is over every range."""
    return value is not None and math.isinf(value)


def _each(names: Iterable[str], values: Iterable[float]) -> dict[str, float | None]:
    return {name: number(value) for name, value in zip(names, values, strict=True)}


def _terminal(appraisal: Appraisal, load: LoadForecast) -> Record:
    names = appraisal.power.names
    plus, minus = volts_figure(appraisal.job, appraisal.power, load, names[0]).probes or ("", "")
    return {
        "equipment": load.landing.equipment,
        "load": load.landing.load,
        "fed_from": load.landing.output,
        "plus": plus,
        "minus": minus,
        "min_v": number(load.draw.min_v),
        "max_v": number(load.draw.max_v),
        "volts_v": _each(names, load.volts_v.tolist()),
        "current_a": _each(names, load.amps_a.tolist()),
        "live": dict(zip(names, load.live.tolist(), strict=True)),
    }


def _output(names: tuple[str, ...], output: OutputForecast) -> Record:
    return {
        "output": output.name,
        "limit_a": number(output.limit_a),
        "current_a": _each(names, output.amps_a.tolist()),
        "volts_v": _each(names, output.volts_v.tolist()),
    }


def _supply(names: tuple[str, ...], supply: SupplyForecast) -> Record:
    return {
        "supply": supply.name,
        "limit_a": number(supply.limit_a),
        "volts_v": _each(names, supply.volts_v.tolist()),
        "load_a": _each(names, supply.load_a.tolist()),
        "mains_a": _each(names, supply.mains_a.tolist()),
        "battery_a": _each(names, supply.battery_a.tolist()),
        "charge_a": _each(names, supply.charge_a.tolist()),
    }


def _battery(item: StandbyForecast) -> Record:
    """Return one battery. Null hours to the cut-out or to the first short: it does not come to that."""
    return {
        "supply": item.supply,
        "sheet": item.battery,
        "capacity_ah": number(item.fitted_ah),
        "required_ah": number(item.required_ah),
        "asked_standby_h": number(item.requirement.standby_h),
        "asked_alarm_h": number(item.requirement.alarm_h),
        "standby_a": number(item.standby_a),
        "alarm_a": number(item.alarm_a),
        "hours": {
            "longest_standby_h": number(item.longest.hours) if item.longest.fits else 0.0,
            "to_cut_out_h": number(item.to_cut_out_h),
            "to_first_short_h": number(item.to_first_short_h),
            "recharge_to_80_pct_h": number(item.recharge.to_80_pct_h),
        },
        "alarm_fits": item.longest.fits,
        "limited_by": item.longest.limited_by,
        "first_short": item.first_short,
        "charge_a": number(item.charge_a),
        "recharges": math.isfinite(item.recharge.to_80_pct_h),
    }


def _circuit(appraisal: Appraisal, circuit: CircuitForecast, *, live: bool) -> Record:
    job = appraisal.job
    dead = ohm_figure(job, circuit, circuit.rest).probes or ("", "")
    in_place = circuit_volts_figure(job, circuit, circuit.rest).probes or ("", "")
    return {
        "circuit": circuit.circuit,
        "input": job.circuits[circuit.circuit].input,
        "topology": str(job.circuits[circuit.circuit].topology),
        "dead_probes": list(dead),
        "live_probes": list(in_place) if live else [],
        "acts": [_act(act, live=live) for act in circuit.acts],
    }


def _watch(appraisal: Appraisal, item: CircuitForecast, *, live: bool) -> Record:
    """Return a supervised output while it is off: what is seen of its cable in each act."""
    dead = ohm_figure(appraisal.job, item, item.rest).probes or ()
    return {
        "output": item.circuit,
        "used": item.network.landed,
        "dead_probes": list(dead),
        "acts": [_act(act, live=live) for act in item.acts],
    }


def _act(act: ActForecast, *, live: bool) -> Record:
    """Return one act. What the input takes it for needs a control unit that is powered."""
    return {
        "act": str(act.act.kind),
        "device": act.act.device,
        "field_ohm": number(act.field_ohm),
        "over_range": over(act.field_ohm),
        "low_ohm": number(act.low_ohm),
        "low_over_range": over(act.low_ohm),
        "high_ohm": number(act.high_ohm),
        "high_over_range": over(act.high_ohm),
        "volts_v": number(act.volts_v) if live else None,
        "taken_for": str(act.taken_for) if live and act.taken_for is not None else None,
        "meant": sorted(str(each) for each in act.meant),
        "misread_probability": number(act.misread) if live else None,
    }
