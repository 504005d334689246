"""What every supply terminal should read: the power network solved in every state, read off at the points a meter would touch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from loopwright.job.document import Job
from loopwright.job.sheet import STATES, Conversion, Draw, LoadLaw
from loopwright.netlist.compile import Landing, PowerNetwork, compile_power, further_scenarios, scenarios
from loopwright.netlist.element import Load, Resistance
from loopwright.netlist.solve import Solution, solve
from loopwright.values.figure import Figure, Input, Origin, Working

Floats = NDArray[np.float64]

CONDITIONS = ("mains", "battery", "battery-end", "mains-no-battery", "recharging")
CONDITION_WORDS = {
    "mains": "on mains",
    "battery": "on battery, full",
    "battery-end": "on battery, at the cut-out",
    "mains-no-battery": "on mains, battery flat or absent",
    "recharging": "on mains, recharging",
}


def scenario_words(name: str) -> str:
    """Return a scenario's name as a person says it: ``alarm/battery-end`` → in alarm, on battery, at the cut-out."""
    state, _, condition = name.partition("/")
    lead = {"unset": "unset", "set": "set", "entry": "in entry", "alarm": "in alarm"}[state]
    return f"{lead}, {CONDITION_WORDS[condition]}"


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadForecast:
    """One supply input of one piece of equipment, (scenarios,) each: volts across it and amperes into it.

    ``live`` says in which scenarios its output is on, so that volts below the minimum mean something.
    """

    landing: Landing
    draw: Draw
    volts_v: Floats
    amps_a: Floats
    live: NDArray[np.bool_]

    @property
    def name(self) -> str:
        """Return ``equipment.load``."""
        return f"{self.landing.equipment}.{self.landing.load}"

    @property
    def margin_v(self) -> Floats:
        """Return volts above the minimum [V] in each scenario; infinite where the output is off."""
        return np.where(self.live, self.volts_v - self.draw.min_v, np.inf)


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputForecast:
    """One supply output, (scenarios,) each: volts at its terminals and amperes out of it."""

    name: str
    limit_a: float
    volts_v: Floats
    amps_a: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class SupplyForecast:
    """One mains supply, (scenarios,) each: volts at its bus, amperes from mains, from the battery, into charging."""

    name: str
    limit_a: float
    volts_v: Floats
    mains_a: Floats
    battery_a: Floats
    charge_a: Floats
    load_a: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class PowerForecast:
    """The whole power forecast. ``names`` are the scenarios in the order of every array."""

    network: PowerNetwork
    solution: Solution
    names: tuple[str, ...]
    loads: tuple[LoadForecast, ...]
    outputs: tuple[OutputForecast, ...]
    supplies: tuple[SupplyForecast, ...]
    unfed: tuple[str, ...]

    def column(self, name: str) -> int:
        """Return the column of a scenario. Raises ValueError when there is none."""
        return self.names.index(name)

    def load(self, name: str) -> LoadForecast:
        """Return the forecast of ``equipment.load``. Raises KeyError when there is none."""
        for item in self.loads:
            if item.name == name:
                return item
        raise KeyError(name)

    def supply(self, name: str) -> SupplyForecast:
        """Return the forecast of a supply. Raises KeyError when there is none."""
        for item in self.supplies:
            if item.name == name:
                return item
        raise KeyError(name)


def forecast_power(job: Job, *, further: bool = True) -> PowerForecast:
    """Return the power forecast of ``job``: four states on mains, on battery, at the end of discharge.

    With ``further``: also mains with the battery flat or absent, and recharging.
    """
    network = compile_power(job)
    wanted = scenarios() + (further_scenarios() if further else ())
    return read_power(job, network, solve(network.netlist, wanted))


def read_power(job: Job, network: PowerNetwork, solution: Solution) -> PowerForecast:
    """Return the forecast read off a solution of the power network."""
    names = tuple(s.name for s in solution.scenarios)
    loads = tuple(_load(job, landing, solution) for landing in network.landings)
    outputs = []
    supplies = []
    for name in job.equipment:
        sheet = job.sheet_of(name)
        for output, spec in sheet.outputs.items():
            terminal = f"{name}.{output}"
            amps = solution.wire_current(f"{terminal}.path")
            outputs.append(
                OutputForecast(name=terminal, limit_a=spec.limit_a, volts_v=solution.across(terminal, f"{name}.0v"), amps_a=amps)
            )
        if sheet.supply is not None:
            supplies.append(_supply(name, sheet.supply.limit_a, solution))
    unfed = tuple(f"{m.equipment}.{m.load}" for m in network.landings if not np.any(solution.energised[solution.index[m.plus]]))
    return PowerForecast(
        network=network, solution=solution, names=names, loads=loads, outputs=tuple(outputs), supplies=tuple(supplies), unfed=unfed
    )


def _load(job: Job, landing: Landing, solution: Solution) -> LoadForecast:
    draw = job.sheet_of(landing.equipment).loads[landing.load]
    on = _live_states(job, landing)
    live = np.array([s.state in on for s in solution.scenarios])
    return LoadForecast(
        landing=landing,
        draw=draw,
        volts_v=solution.across(landing.plus, landing.minus),
        amps_a=solution.current(f"{landing.equipment}.{landing.load}"),
        live=live,
    )


def _live_states(job: Job, landing: Landing) -> set[int]:
    """Return the states in which the output that feeds a load is on, following outputs back through modules."""
    if landing.output is None:
        return set(range(len(STATES))) if job.sheet_of(landing.equipment).supply is not None else set()
    unit, _, output = landing.output.partition(".")
    spec = job.sheet_of(unit).outputs[output]
    return {position for position, state in enumerate(STATES) if state in spec.on_in}


def _supply(name: str, limit_a: float, solution: Solution) -> SupplyForecast:
    def out_of(branch: str) -> Floats:
        known = branch in solution.branches.position
        return -solution.current(branch) if known else np.zeros(len(solution.scenarios))

    mains, battery, charge = out_of(f"{name}.mains"), out_of(f"{name}.battery"), -out_of(f"{name}.charge")
    return SupplyForecast(
        name=name,
        limit_a=limit_a,
        volts_v=solution.across(f"{name}.bus", f"{name}.0v"),
        mains_a=mains,
        battery_a=battery,
        charge_a=charge,
        load_a=mains + battery - charge,
    )


def volts_figure(job: Job, forecast: PowerForecast, load: LoadForecast, scenario: str) -> Figure:
    """Return the volts across one load in one scenario, with its way from the supply as the working."""
    column = forecast.column(scenario)
    value = float(load.volts_v[column])
    missing = math.isnan(value)
    return Figure(
        key=f"volts/{load.name}/{scenario}",
        label=f"{label_of(job, load.landing.equipment)}, volts {scenario_words(scenario)}",
        value=None if missing else value,
        unit="V",
        probes=(f"{load.landing.equipment} {load.landing.load} +", f"{load.landing.equipment} 0 V"),
        why="its plus and its 0 V are in two islands that nothing joins" if missing else "",
        working=partial(volts_working, job, forecast, load, scenario),
    )


def label_of(job: Job, equipment: str) -> str:
    """Return what people call a piece of equipment."""
    return job.equipment[equipment].label or equipment


def volts_working(job: Job, forecast: PowerForecast, load: LoadForecast, scenario: str) -> Working:
    """Return how the volts across a load come about: bus volts less the drop of every resistance on the way out and back."""
    column = forecast.column(scenario)
    solution, landing = forecast.solution, load.landing
    unit = landing.output.split(".")[0] if landing.output else landing.equipment
    start = f"{unit}.bus" if f"{unit}.bus" in solution.index else landing.plus
    begin = float(solution.across(start, f"{unit}.0v")[column]) if start in solution.index else math.nan
    inputs = [Input(name=f"volts at the bus of {unit}", value=begin, unit="V", origin=Origin.COMPUTED)]
    terms = [f"{begin:.3f}"]
    names = ([f"{landing.output}.path"] if landing.output else []) + _way_names(forecast, landing)
    for name in names:
        amps, ohm = float(solution.wire_current(name)[column]), _ohm_of(forecast, name)
        origin = Origin.DOCUMENT if name.split(".")[0].split("/")[0] in job.cables else Origin.SHEET
        inputs.append(Input(name=f"resistance of {name}", value=ohm, unit="Ω", origin=origin, path=_path_of(job, name)))
        inputs.append(Input(name=f"current through {name}", value=amps, unit="A", origin=Origin.COMPUTED))
        terms.append(f"{abs(amps):.4f} × {ohm:.3f}")
    value = float(load.volts_v[column])
    notes = ("the currents are those of the whole solved network, so what other devices on the same cores draw is in them",)
    return Working(
        formula="V = V_bus - Σ I R, over every resistance out and back",
        inputs=tuple(inputs),
        substituted=" - ".join(terms),
        result=f"{value:.3f} V",
        source="first-principles",
        notes=notes,
    )


def _way_names(forecast: PowerForecast, landing: Landing) -> list[str]:
    """Return the names of the conductors out and back on the way to a landing."""
    known = {e.name for e in forecast.network.netlist.elements if isinstance(e, Resistance)}
    out = []
    for run in landing.runs:
        tags = [tag for tag in (run, *(f"{run}/{n}" for n in range(1, 6))) if f"{tag}.plus" in known]
        tag = next((t for t in tags if _carries(forecast, t, landing)), tags[0] if tags else run)
        out += [name for name in (f"{tag}.plus", f"{tag}.minus") if name in known]
        if f"{tag}.minus" not in known:
            out += [f"{other}.minus" for other in tags if f"{other}.minus" in known][:1]
    return out


def _carries(forecast: PowerForecast, tag: str, landing: Landing) -> bool:
    """Return whether a conductor leads to the landing's plus point or along its output."""
    element = next(e for e in forecast.network.netlist.elements if e.name == f"{tag}.plus")
    return any(end == landing.plus or (landing.output is not None and end.endswith(landing.output)) for end in (element.a, element.b))


def _ohm_of(forecast: PowerForecast, name: str) -> float:
    element = forecast.network.netlist.named(name)
    return float(getattr(element, "ohm", math.nan))


def _path_of(job: Job, name: str) -> str:
    run = name.split(".")[0].split("/")[0]
    return f"cables/{run}/length_m" if run in job.cables else ""


def watched_margins(loads: Sequence[LoadForecast]) -> dict[str, Floats]:
    """Return the margin [V] of every load by name, (scenarios,) each."""
    return {load.name: load.margin_v for load in loads}


def transformer_va(job: Job, forecast: PowerForecast, supply: str) -> Figure | None:
    """Return the volt-amperes a supply's transformer has to give at worst; None for a switch-mode supply or an unstated rating."""
    sheet = job.sheet_of(supply).supply
    if sheet is None or sheet.conversion is not Conversion.TRANSFORMER:
        return None
    item = forecast.supply(supply)
    worst = float(np.max(item.mains_a))
    value = worst * sheet.output_v / sheet.efficiency

    def working() -> Working:
        return Working(
            formula="S = I V / efficiency",
            inputs=(
                Input(name="most current on mains, charging included", value=worst, unit="A", origin=Origin.COMPUTED),
                Input(name="output volts", value=sheet.output_v, unit="V", origin=Origin.SHEET),
                Input(name="efficiency", value=sheet.efficiency, origin=Origin.SHEET),
            ),
            substituted=f"{worst:.3f} × {sheet.output_v:.2f} / {sheet.efficiency:.2f}",
            result=f"{value:.1f} VA",
            source="practice",
        )

    return Figure(key=f"va/{supply}", label=f"{label_of(job, supply)}, transformer load", value=value, unit="VA", working=working)


def heat_w(job: Job, forecast: PowerForecast, supply: str) -> Figure:
    """Return the heat [W] a supply sheds at worst: what goes in and does not come out."""
    sheet = job.sheet_of(supply).supply
    if sheet is None:
        raise KeyError(supply)
    item = forecast.supply(supply)
    out_w = float(np.max(item.mains_a * np.nan_to_num(item.volts_v)))
    value = out_w * (1 / sheet.efficiency - 1)

    def working() -> Working:
        return Working(
            formula="P_heat = P_out (1 / efficiency - 1)",
            inputs=(
                Input(name="most power out on mains", value=out_w, unit="W", origin=Origin.COMPUTED),
                Input(name="efficiency", value=sheet.efficiency, origin=Origin.SHEET),
            ),
            substituted=f"{out_w:.2f} × (1 / {sheet.efficiency:.2f} - 1)",
            result=f"{value:.1f} W",
        )

    return Figure(key=f"heat/{supply}", label=f"{label_of(job, supply)}, heat", value=value, unit="W", working=working)


def collapsed(forecast: PowerForecast) -> list[tuple[str, LoadForecast]]:
    """Return each scenario and load whose volts are so low that it has turned ohmic though its output is on."""
    out = []
    law = forecast.solution.branches
    for load in forecast.loads:
        row = law.position[load.name]
        element = law.elements[row]
        if not isinstance(element, Load) or element.law is LoadLaw.RESISTIVE:
            continue
        low = load.live & (load.volts_v < element.knee_v - 1e-9)
        out += [(forecast.names[column], load) for column in np.flatnonzero(low).tolist()]
    return out
