"""A forecast as plain records for other programs: units in the names of the keys, no number that JSON cannot write."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from loopwright.appraisal.appraise import Appraisal
from loopwright.appraisal.expected import ExpectedForm, expected, expected_form
from loopwright.appraisal.stage_reach import reach_of
from loopwright.circuits.forecast import ActForecast, CircuitForecast, ohm_figure
from loopwright.circuits.forecast import volts_figure as circuit_volts_figure
from loopwright.explain.expected.expect import Expectation
from loopwright.power.forecast import LoadForecast, OutputForecast, SupplyForecast, scenario_words, volts_figure
from loopwright.power.standby import StandbyForecast

DIGITS = 6
"""Significant figures written: more than any meter shows."""

ByScenario = dict[str, float | None]


@dataclass(frozen=True, kw_only=True, slots=True)
class AppliesForm:
    """What can be measured at the stage of the work, and a sentence that says so."""

    dead_readings: bool
    live_readings: bool
    sentence: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ScenarioForm:
    """A state of the system with a condition of its supply, by the name the readings are listed under."""

    name: str
    words: str


@dataclass(frozen=True, kw_only=True, slots=True)
class TerminalForm:
    """One supply input of one piece of equipment: where a meter touches, its limits, and its readings in each scenario."""

    equipment: str
    load: str
    fed_from: str | None
    plus: str
    minus: str
    min_v: float | None
    max_v: float | None
    volts_v: ByScenario
    current_a: ByScenario
    live: dict[str, bool]


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputForm:
    """One supply output."""

    output: str
    limit_a: float | None
    current_a: ByScenario
    volts_v: ByScenario


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyForm:
    """One mains supply."""

    supply: str
    limit_a: float | None
    volts_v: ByScenario
    load_a: ByScenario
    mains_a: ByScenario
    battery_a: ByScenario
    charge_a: ByScenario


@dataclass(frozen=True, kw_only=True, slots=True)
class HoursForm:
    """Hours on battery and to charge again. Null: it does not come to that."""

    longest_standby_h: float | None
    to_cut_out_h: float | None
    to_first_short_h: float | None
    recharge_to_80_pct_h: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class BatteryForm:
    """The battery of one supply: asked for against fitted."""

    supply: str
    sheet: str
    capacity_ah: float | None
    required_ah: float | None
    asked_standby_h: float | None
    asked_alarm_h: float | None
    standby_a: float | None
    alarm_a: float | None
    hours: HoursForm
    alarm_fits: bool
    limited_by: str
    first_short: str | None
    charge_a: float | None
    recharges: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class ActForm:
    """What is read in one act, its worst corners, what the input takes it for, and how likely it is misread.

    Over range stands beside a reading that is null because it has no end.
    """

    act: str
    device: str | None
    field_ohm: float | None
    over_range: bool
    low_ohm: float | None
    low_over_range: bool
    high_ohm: float | None
    high_over_range: bool
    volts_v: float | None
    taken_for: str | None
    meant: tuple[str, ...]
    misread_probability: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class CircuitForm:
    """One detection circuit in all its acts."""

    circuit: str
    input: str | None
    topology: str
    dead_probes: tuple[str, ...]
    live_probes: tuple[str, ...]
    acts: tuple[ActForm, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class WatchForm:
    """A supervised output while it is off: what is seen of its cable in each act."""

    output: str
    used: bool
    dead_probes: tuple[str, ...]
    acts: tuple[ActForm, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class ForecastForm:
    """The whole forecast. What does not apply at the stage is an empty list, or null for a circuit's volts."""

    title: str
    stage: str
    stage_from: str
    applies: AppliesForm
    scenarios: tuple[ScenarioForm, ...]
    terminals: tuple[TerminalForm, ...]
    unfed: tuple[str, ...]
    outputs: tuple[OutputForm, ...]
    supplies: tuple[SupplyForm, ...]
    batteries: tuple[BatteryForm, ...]
    circuits: tuple[CircuitForm, ...]
    supervised_outputs: tuple[WatchForm, ...]
    expected: ExpectedForm


def forecast_form(appraisal: Appraisal, *, stage_from: str = "document", expectation: Expectation | None = None) -> ForecastForm:
    """Return the whole forecast for another program; ``stage_from`` says where the stage was stated.

    ``expectation`` is what should show, where that is not as the document's own situation has it.
    """
    reach = reach_of(appraisal.job.stage)
    power = appraisal.power
    live = reach.live
    return ForecastForm(
        title=appraisal.job.title,
        stage=str(appraisal.job.stage),
        stage_from=stage_from,
        applies=AppliesForm(dead_readings=True, live_readings=live, sentence=reach.sentence),
        scenarios=tuple(ScenarioForm(name=name, words=scenario_words(name)) for name in power.names) if live else (),
        terminals=tuple(_terminal(appraisal, load) for load in power.loads) if live else (),
        unfed=tuple(power.unfed) if live else (),
        outputs=tuple(_output(power.names, output) for output in power.outputs) if live else (),
        supplies=tuple(_supply(power.names, supply) for supply in power.supplies) if live else (),
        batteries=tuple(_battery(item) for item in appraisal.standby) if live else (),
        circuits=tuple(_circuit(appraisal, circuit, live=live) for circuit in appraisal.circuits),
        supervised_outputs=tuple(_watch(appraisal, item, live=live) for item in appraisal.watches),
        expected=expected_form(expected(appraisal) if expectation is None else expectation),
    )


def number(value: float | None) -> float | None:
    """Return a number JSON can write; None for infinity and for what is no figure.

    >>> number(13.123456789), number(float("inf")), number(float("nan"))
    (13.1235, None, None)
    """
    return float(f"{value:.{DIGITS}g}") if value is not None and math.isfinite(value) else None


def over(value: float | None) -> bool:
    """Return whether a value is over every range."""
    return value is not None and math.isinf(value)


def _each(names: Iterable[str], values: Iterable[float]) -> ByScenario:
    return {name: number(value) for name, value in zip(names, values, strict=True)}


def _terminal(appraisal: Appraisal, load: LoadForecast) -> TerminalForm:
    names = appraisal.power.names
    plus, minus = volts_figure(appraisal.job, appraisal.power, load, names[0]).probes or ("", "")
    return TerminalForm(
        equipment=load.landing.equipment,
        load=load.landing.load,
        fed_from=load.landing.output,
        plus=plus,
        minus=minus,
        min_v=number(load.draw.min_v),
        max_v=number(load.draw.max_v),
        volts_v=_each(names, load.volts_v.tolist()),
        current_a=_each(names, load.amps_a.tolist()),
        live=dict(zip(names, load.live.tolist(), strict=True)),
    )


def _output(names: tuple[str, ...], output: OutputForecast) -> OutputForm:
    return OutputForm(
        output=output.name,
        limit_a=number(output.limit_a),
        current_a=_each(names, output.amps_a.tolist()),
        volts_v=_each(names, output.volts_v.tolist()),
    )


def _supply(names: tuple[str, ...], supply: SupplyForecast) -> SupplyForm:
    return SupplyForm(
        supply=supply.name,
        limit_a=number(supply.limit_a),
        volts_v=_each(names, supply.volts_v.tolist()),
        load_a=_each(names, supply.load_a.tolist()),
        mains_a=_each(names, supply.mains_a.tolist()),
        battery_a=_each(names, supply.battery_a.tolist()),
        charge_a=_each(names, supply.charge_a.tolist()),
    )


def _battery(item: StandbyForecast) -> BatteryForm:
    hours = HoursForm(
        longest_standby_h=number(item.longest.hours) if item.longest.fits else 0.0,
        to_cut_out_h=number(item.to_cut_out_h),
        to_first_short_h=number(item.to_first_short_h),
        recharge_to_80_pct_h=number(item.recharge.to_80_pct_h),
    )
    return BatteryForm(
        supply=item.supply,
        sheet=item.battery,
        capacity_ah=number(item.fitted_ah),
        required_ah=number(item.required_ah),
        asked_standby_h=number(item.requirement.standby_h),
        asked_alarm_h=number(item.requirement.alarm_h),
        standby_a=number(item.standby_a),
        alarm_a=number(item.alarm_a),
        hours=hours,
        alarm_fits=item.longest.fits,
        limited_by=item.longest.limited_by,
        first_short=item.first_short,
        charge_a=number(item.charge_a),
        recharges=math.isfinite(item.recharge.to_80_pct_h),
    )


def _circuit(appraisal: Appraisal, circuit: CircuitForecast, *, live: bool) -> CircuitForm:
    job = appraisal.job
    dead = ohm_figure(job, circuit, circuit.rest).probes or ("", "")
    in_place = circuit_volts_figure(job, circuit, circuit.rest).probes or ("", "")
    return CircuitForm(
        circuit=circuit.circuit,
        input=job.circuits[circuit.circuit].input,
        topology=str(job.circuits[circuit.circuit].topology),
        dead_probes=tuple(dead),
        live_probes=tuple(in_place) if live else (),
        acts=tuple(_act(act, live=live) for act in circuit.acts),
    )


def _watch(appraisal: Appraisal, item: CircuitForecast, *, live: bool) -> WatchForm:
    return WatchForm(
        output=item.circuit,
        used=item.network.landed,
        dead_probes=tuple(ohm_figure(appraisal.job, item, item.rest).probes or ()),
        acts=tuple(_act(act, live=live) for act in item.acts),
    )


def _act(act: ActForecast, *, live: bool) -> ActForm:
    """Return one act. What the input takes it for needs a control unit that is powered."""
    return ActForm(
        act=str(act.act.kind),
        device=act.act.device,
        field_ohm=number(act.field_ohm),
        over_range=over(act.field_ohm),
        low_ohm=number(act.low_ohm),
        low_over_range=over(act.low_ohm),
        high_ohm=number(act.high_ohm),
        high_over_range=over(act.high_ohm),
        volts_v=number(act.volts_v) if live else None,
        taken_for=str(act.taken_for) if live and act.taken_for is not None else None,
        meant=tuple(sorted(str(each) for each in act.meant)),
        misread_probability=number(act.misread) if live else None,
    )
