"""Further figures read off the power forecast: the worst scenario of each device, currents against limits, the battery's end points."""

from __future__ import annotations

from functools import partial

import numpy as np

from loopwright.job.document import Job
from loopwright.power.forecast import LoadForecast, OutputForecast, PowerForecast, SupplyForecast, label_of, scenario_words
from loopwright.power.standby import StandbyForecast
from loopwright.values.figure import Figure, Input, Origin, Working


def worst_scenario(forecast: PowerForecast, load: LoadForecast) -> str | None:
    """Return the scenario that leaves a load the least margin; None when no output that feeds it is ever live."""
    margin = np.where(np.isfinite(load.margin_v), load.margin_v, np.inf)
    column = int(np.argmin(margin))
    return forecast.names[column] if np.isfinite(margin[column]) else None


def most_output_scenario(forecast: PowerForecast, output: OutputForecast) -> str:
    """Return the scenario in which an output gives most."""
    return forecast.names[int(np.argmax(np.nan_to_num(output.amps_a, nan=-np.inf)))]


def most_supply_scenario(forecast: PowerForecast, supply: SupplyForecast) -> str:
    """Return the scenario in which a supply gives most from mains, charging included."""
    return forecast.names[int(np.argmax(np.nan_to_num(supply.mains_a, nan=-np.inf)))]


def output_figure(job: Job, forecast: PowerForecast, output: OutputForecast, scenario: str) -> Figure:
    """Return the amperes out of an output in one scenario; the working lists what hangs on it."""
    column = forecast.column(scenario)
    unit, _, terminal = output.name.partition(".")
    value = float(output.amps_a[column])
    return Figure(
        key=f"output-a/{output.name}/{scenario}",
        label=f"{label_of(job, unit)}, output {terminal}, {scenario_words(scenario)}",
        value=None if np.isnan(value) else value,
        unit="A",
        probes=(f"{unit} {terminal} +", "in series"),
        working=partial(_output_working, job, forecast, output, column),
    )


def _output_working(job: Job, forecast: PowerForecast, output: OutputForecast, column: int) -> Working:
    inputs, terms = [], []
    for load in forecast.loads:
        if load.landing.output == output.name:
            amps = float(load.amps_a[column])
            inputs.append(
                Input(
                    name=f"{label_of(job, load.landing.equipment)}, {load.landing.load}",
                    value=round(amps, 4),
                    unit="A",
                    origin=Origin.COMPUTED,
                    path=f"equipment/{load.landing.equipment}/sheet",
                )
            )
            terms.append(f"{amps:.4f}")
    first = {landing.equipment: landing for landing in reversed(forecast.network.landings)}
    for through in forecast.outputs:
        module = first.get(through.name.partition(".")[0])
        if module is not None and module.output == output.name:
            amps = float(through.amps_a[column])
            inputs.append(Input(name=f"on through output {through.name}", value=round(amps, 4), unit="A", origin=Origin.COMPUTED))
            terms.append(f"{amps:.4f}")
    return Working(
        formula="I = Σ I of every supply input on the output, and of what goes on through modules",
        inputs=tuple(inputs),
        substituted=" + ".join(terms) or "nothing hangs on it",
        result=f"{float(output.amps_a[column]):.3f} A",
        notes=(f"the sheet allows {output.limit_a:g} A",),
    )


def output_volts_figure(job: Job, forecast: PowerForecast, output: OutputForecast, scenario: str) -> Figure:
    """Return the volts at an output's own terminals in one scenario; no figure while it is off."""
    column = forecast.column(scenario)
    unit, _, terminal = output.name.partition(".")
    value, amps = float(output.volts_v[column]), float(output.amps_a[column])
    sheet, path = job.sheet_of(unit).outputs[terminal], f"sheets/equipment/{job.equipment[unit].sheet}/outputs/{terminal}"

    def working() -> Working:
        behind = value + amps * sheet.path_ohm + sheet.diode_v
        return Working(
            formula="V = V_behind - I R_path - V_diode",
            inputs=(
                Input(name="volts behind the output", value=round(behind, 4), unit="V", origin=Origin.COMPUTED),
                Input(name="current out of it", value=round(amps, 4), unit="A", origin=Origin.COMPUTED),
                Input(name="resistance behind the terminal", value=sheet.path_ohm, unit="Ω", origin=Origin.SHEET, path=f"{path}/path_ohm"),
                Input(name="drop of a blocking diode", value=sheet.diode_v, unit="V", origin=Origin.SHEET, path=f"{path}/diode_v"),
            ),
            substituted=f"{behind:.3f} - {amps:.4f} × {sheet.path_ohm:g} - {sheet.diode_v:g}",
            result=f"{value:.3f} V",
        )

    label = f"{label_of(job, unit)}, volts at output {terminal}, {scenario_words(scenario)}"
    off = np.isnan(value) or scenario.partition("/")[0] not in sheet.on_in
    return Figure(
        key=f"output-v/{output.name}/{scenario}", label=label, value=None if off else value, unit="V",
        probes=(f"{unit} {terminal} +", f"{unit} {terminal} 0 V"), why="the output is off in this state" if off else "", working=working,
    )  # fmt: skip


def supply_figure(job: Job, forecast: PowerForecast, supply: SupplyForecast, scenario: str) -> Figure:
    """Return the amperes a supply's loads take in one scenario, from mains and battery together, charging left out."""
    column = forecast.column(scenario)
    mains, battery, charge = (float(row[column]) for row in (supply.mains_a, supply.battery_a, supply.charge_a))
    value = float(supply.load_a[column])

    def working() -> Working:
        return Working(
            formula="I_load = I_mains + I_battery - I_charge",
            inputs=(
                Input(name="from mains", value=round(mains, 4), unit="A", origin=Origin.COMPUTED),
                Input(name="from the battery", value=round(battery, 4), unit="A", origin=Origin.COMPUTED),
                Input(name="into charging", value=round(charge, 4), unit="A", origin=Origin.COMPUTED),
            ),
            substituted=f"{mains:.3f} + {battery:.3f} - {charge:.3f}",
            result=f"{value:.3f} A",
        )

    label = f"{label_of(job, supply.name)}, current into its loads, {scenario_words(scenario)}"
    return Figure(
        key=f"supply-a/{supply.name}/{scenario}", label=label, value=None if np.isnan(value) else value, unit="A", working=working
    )


def mains_figure(job: Job, forecast: PowerForecast, supply: SupplyForecast, scenario: str) -> Figure:
    """Return the amperes a supply gives from mains in one scenario, charging included: what its own limit is held against."""
    column = forecast.column(scenario)
    load, battery, charge = (float(row[column]) for row in (supply.load_a, supply.battery_a, supply.charge_a))
    value = float(supply.mains_a[column])

    def working() -> Working:
        return Working(
            formula="I_mains = I_load + I_charge - I_battery",
            inputs=(
                Input(name="into the loads", value=round(load, 4), unit="A", origin=Origin.COMPUTED),
                Input(name="into charging", value=round(charge, 4), unit="A", origin=Origin.COMPUTED),
                Input(name="from the battery", value=round(battery, 4), unit="A", origin=Origin.COMPUTED),
            ),
            substituted=f"{load:.3f} + {charge:.3f} - {battery:.3f}",
            result=f"{value:.3f} A",
            notes=(f"the sheet allows {supply.limit_a:g} A, loads and charging together",),
        )

    label = f"{label_of(job, supply.name)}, from mains, {scenario_words(scenario)}"
    return Figure(key=f"mains-a/{supply.name}/{scenario}", label=label, value=None if np.isnan(value) else value, unit="A", working=working)


def cut_out_figure(job: Job, item: StandbyForecast) -> Figure:
    """Return the hours set until the battery is disconnected."""
    label = f"{label_of(job, item.supply)}, set, hours to the cut-out"
    return _end_point(job, item, key="cut-out-h", label=label, hours=item.to_cut_out_h, until="the battery lets go")


def first_short_figure(job: Job, item: StandbyForecast) -> Figure:
    """Return the hours set until the first device has less than its minimum volts."""
    until = f"{item.first_short} falls short" if item.first_short else "a device falls short"
    label = f"{label_of(job, item.supply)}, set, hours to the first device short"
    return _end_point(job, item, key="first-short-h", label=label, hours=item.to_first_short_h, until=until)


def _end_point(job: Job, item: StandbyForecast, *, key: str, label: str, hours: float | None, until: str) -> Figure:
    fitted = job.equipment[item.supply].battery

    def working() -> Working:
        return Working(
            formula="the fitted battery, aged, discharged into the solved network, step by step",
            inputs=(
                Input(name="fitted", value=item.fitted_ah, unit="Ah", origin=Origin.SHEET, path=f"equipment/{item.supply}/battery/sheet"),
                Input(name="part of it at hand (age, cold)", value=round(item.capacity_fraction, 3), origin=Origin.COMPUTED),
                Input(name="current set", value=round(item.standby_a, 4), unit="A", origin=Origin.COMPUTED),
                Input(
                    name="temperature in the box",
                    value=fitted.temperature_c if fitted else 20.0,
                    unit="°C",
                    origin=Origin.DOCUMENT if f"equipment/{item.supply}/battery/temperature_c" in job.given else Origin.DEFAULT,
                    path=f"equipment/{item.supply}/battery/temperature_c",
                ),
            ),
            substituted=f"set until {until}",
            result="not reached" if hours is None else f"{hours:.1f} h",
            source="kibam",
        )

    why = "not reached before the battery lets go" if hours is None else ""
    return Figure(key=f"{key}/{item.supply}", label=label, value=hours, unit="h", why=why, working=working)


def fitted_figure(job: Job, item: StandbyForecast) -> Figure:
    """Return the rated capacity fitted [Ah], batteries in parallel taken together."""
    fitted = job.equipment[item.supply].battery
    assert fitted is not None
    path, sheet = f"equipment/{item.supply}/battery", f"sheets/batteries/{fitted.sheet}"
    rated = job.sheets.batteries[fitted.sheet].capacity_ah

    def working() -> Working:
        many = Origin.DOCUMENT if f"{path}/parallel" in job.given else Origin.DEFAULT
        return Working(
            formula="rated capacity × batteries in parallel",
            inputs=(
                Input(name="rated capacity", value=rated, unit="Ah", origin=Origin.SHEET, path=f"{sheet}/capacity_ah"),
                Input(name="in parallel", value=fitted.parallel, origin=many, path=f"{path}/parallel"),
            ),
            substituted=f"{rated:g} × {fitted.parallel}",
            result=f"{item.fitted_ah:.2f} Ah",
            source="job-document",
        )

    label = f"{label_of(job, item.supply)}, battery fitted"
    return Figure(key=f"fitted-ah/{item.supply}", label=label, value=item.fitted_ah, unit="Ah", working=working)


def least_figure(job: Job, load: LoadForecast) -> Figure:
    """Return the volts a supply input needs at its own terminals, and where they are stated."""
    unit, name = load.landing.equipment, load.landing.load
    sheet = job.equipment[unit].sheet

    def working() -> Working:
        stated = Input(
            name="minimum working volts", value=load.draw.min_v, unit="V", origin=Origin.SHEET,
            path=f"sheets/equipment/{sheet}/loads/{name}/min_v",
        )  # fmt: skip
        return Working(
            formula="as the data sheet states it",
            inputs=(stated,),
            substituted=f"sheet {sheet}, supply input {name}",
            result=f"{load.draw.min_v:.2f} V",
            source="job-document",
        )

    return Figure(key=f"least-v/{load.name}", label=f"{label_of(job, unit)}, least volts", value=load.draw.min_v, unit="V", working=working)
