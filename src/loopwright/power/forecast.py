"""What every supply terminal should read: the power network solved in every state, read off at the points a meter would touch."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopwright.job.document import Job
from loopwright.job.sheet import STATES, Conversion, Draw
from loopwright.netlist.compile import Landing, PowerNetwork, compile_power, cores_through, further_scenarios, scenarios
from loopwright.netlist.element import Contact, Diode, Resistance
from loopwright.netlist.solve import Solution, solve
from loopwright.values.figure import Figure, Input, Origin, Working, show

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

    ``live`` says in which scenarios its output is on and its supply has mains or a battery, so that volts below the minimum mean something.
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


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class PowerForecast:
    """The whole power forecast. ``names`` are the scenarios in the order of every array. Two are the same only when they are one."""

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


def forecast_power(job: Job, *, further: bool = True, network: PowerNetwork | None = None) -> PowerForecast:
    """Return the power forecast of ``job``: four states on mains, on battery, at the end of discharge.

    With ``further``: also mains with the battery flat or absent, and recharging. ``network`` is the job's, where it is compiled already.
    Depends on nothing but the network, the equipment and the sheets.
    """
    network = compile_power(job) if network is None else network
    wanted = scenarios() + (further_scenarios() if further else ())
    return read_power(job, network, solve(network.netlist, wanted))


def read_power(job: Job, network: PowerNetwork, solution: Solution) -> PowerForecast:
    """Return the forecast read off a solution of the power network."""
    names = tuple(s.name for s in solution.scenarios)
    first = {landing.equipment: landing for landing in reversed(network.landings)}
    lives: dict[tuple[str | None, str | None], NDArray[np.bool_]] = {}
    for landing in network.landings:
        key = (landing.output, landing.supply)
        if key not in lives:
            lives[key] = _live(job, landing, first, solution)
    loads = tuple(_load(job, landing, lives[landing.output, landing.supply], solution) for landing in network.landings)
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
            supplies.append(read_supply(name, sheet.supply.limit_a, solution))
    unfed = tuple(f"{m.equipment}.{m.load}" for m in network.landings if m.supply is None)
    return PowerForecast(
        network=network, solution=solution, names=names, loads=loads, outputs=tuple(outputs), supplies=tuple(supplies), unfed=unfed
    )


def _load(job: Job, landing: Landing, live: NDArray[np.bool_], solution: Solution) -> LoadForecast:
    return LoadForecast(
        landing=landing,
        draw=job.sheet_of(landing.equipment).loads[landing.load],
        volts_v=solution.across(landing.plus, landing.minus),
        amps_a=solution.current(f"{landing.equipment}.{landing.load}"),
        live=live,
    )


def _live(job: Job, landing: Landing, first: Mapping[str, Landing], solution: Solution) -> NDArray[np.bool_]:
    """Return in which scenarios a landing's outputs are on and its supply has mains or a battery; the same for all on one output."""
    on = _live_states(job, landing, first)
    battery = landing.supply is not None and job.equipment[landing.supply].battery is not None
    return np.array([s.state in on and landing.supply is not None and (s.mains or battery) for s in solution.scenarios])


def _live_states(job: Job, landing: Landing, first: Mapping[str, Landing]) -> set[int]:
    """Return the states in which every output on the way to a load is on; ``first`` is the input a module feeds its own outputs from."""
    if landing.output is None:
        return set(range(len(STATES))) if job.sheet_of(landing.equipment).supply is not None else set()
    on, passed = set(range(len(STATES))), set[str]()
    output: str | None = landing.output
    while output is not None and output not in passed:
        passed.add(output)
        unit, _, terminal = output.partition(".")
        spec = job.sheet_of(unit).outputs[terminal]
        on &= {position for position, state in enumerate(STATES) if state in spec.on_in}
        output = first[unit].output if unit in first else None
    return on


def read_supply(name: str, limit_a: float, solution: Solution) -> SupplyForecast:
    """Return the forecast of one supply, read off a solution of the power network."""

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


class WayCore(NamedTuple):
    """One conductor on the way to a load, out or back: its run, ``ohm`` [Ω], and ``amps_a`` [A], counted as the load's own current goes."""

    name: str
    run: str
    ohm: float
    amps_a: float


def cores_on_way(job: Job, forecast: PowerForecast, landing: Landing, scenario: str) -> tuple[WayCore, ...]:
    """Return the conductors out and back between an output and a load, in order from the supply."""
    column, place, out = forecast.column(scenario), (landing.output or "").partition(".")[0], []
    for run in landing.runs:
        cable = job.cables[run]
        outwards = cable.start == place
        place = cable.end if outwards else cable.start
        for name in cores_through(job, run, landing.output or ""):
            amps = float(forecast.solution.wire_current(name)[column])
            along = amps if name.endswith(".plus") is outwards else -amps
            out.append(WayCore(name=name, run=run, ohm=_ohm_of(forecast, name), amps_a=along))
    return tuple(out)


def volts_working(job: Job, forecast: PowerForecast, load: LoadForecast, scenario: str) -> Working:
    """Return how the volts across a load come about: the volts it starts from less the drop of everything on the way out and back."""
    column, landing = forecast.column(scenario), load.landing
    value = float(load.volts_v[column])
    inputs, terms = _start(forecast, landing, column)
    if landing.output is not None and _is_off(forecast, landing.output, column):
        terms = ["the output is off"]
    else:
        for core in cores_on_way(job, forecast, landing, scenario):
            path = f"cables/{core.run}/length_m"
            inputs.append(Input(name=f"resistance of {core.name}", value=core.ohm, unit="Ω", origin=Origin.DOCUMENT, path=path))
            inputs.append(Input(name=f"current through {core.name}", value=core.amps_a, unit="A", origin=Origin.COMPUTED))
            terms.append(f"{'-' if core.amps_a >= 0 else '+'} {abs(core.amps_a):.4f} × {core.ohm:.3f}")
    return Working(
        formula="V = V_bus - Σ I R, over every resistance out and back",
        inputs=tuple(inputs),
        substituted=" ".join(terms),
        result=show(value, "V") if math.isnan(value) else f"{value:.3f} V",
        source="first-principles",
        notes=("the currents are those of the whole solved network, so what other devices on the same cores draw is in them",)
        + _defaults_on_way(job, landing),
    )


def _defaults_on_way(job: Job, landing: Landing) -> tuple[str, ...]:
    """Return in words what about the runs on a way is a default that nobody confirmed."""
    warm = [run for run in landing.runs if f"cables/{run}/temperature_c" not in job.given]
    unstated = {job.cables[run].sheet for run in landing.runs if job.sheets.cables[job.cables[run].sheet].ohm_per_km is None}
    out = []
    if warm:
        out.append(f"default, not confirmed: conductors of {', '.join(warm)} at {job.cables[warm[0]].temperature_c:g} °C")
    if unstated:
        out.append(f"ohms from the wire tables, since the sheet of {', '.join(sorted(unstated))} states none")
    return tuple(out)


def _start(forecast: PowerForecast, landing: Landing, column: int) -> tuple[list[Input], list[str]]:
    """Return the volts behind the output a load hangs on, and what the output itself takes, as inputs and terms of its working."""
    solution, netlist = forecast.solution, forecast.network.netlist
    unit = landing.output.partition(".")[0] if landing.output else landing.equipment
    if landing.output is None:
        begin = float(solution.across(landing.plus, landing.minus)[column])
        return [Input(name=f"volts at the bus of {unit}", value=begin, unit="V", origin=Origin.COMPUTED)], [f"{begin:.3f}"]
    path = netlist.named(f"{landing.output}.path")
    diode = next((e for e in netlist.of(Diode) if e.name == f"{landing.output}.diode"), None)
    begin = float(solution.across(path.a if diode is None else diode.a, f"{unit}.0v")[column])
    amps, ohm = float(solution.wire_current(path.name)[column]), _ohm_of(forecast, path.name)
    inputs = [
        Input(name=f"volts behind the outputs of {unit}", value=begin, unit="V", origin=Origin.COMPUTED),
        Input(name=f"resistance of {path.name}", value=ohm, unit="Ω", origin=Origin.SHEET),
        Input(name=f"current through {path.name}", value=amps, unit="A", origin=Origin.COMPUTED),
    ]
    terms = [f"{begin:.3f}", f"- {amps:.4f} × {ohm:.3f}"]
    if diode is not None:
        drop = float(solution.across(diode.a, diode.b)[column])
        inputs.append(Input(name=f"drop of {diode.name}", value=drop, unit="V", origin=Origin.SHEET))
        terms.append(f"- {drop:.3f}")
    return inputs, terms


def _is_off(forecast: PowerForecast, output: str, column: int) -> bool:
    path = forecast.network.netlist.named(f"{output}.path")
    return isinstance(path, Contact) and not path.closed[forecast.solution.scenarios[column].state]


def _ohm_of(forecast: PowerForecast, name: str) -> float:
    element = forecast.network.netlist.named(name)
    assert isinstance(element, Resistance | Contact)
    return element.ohm


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
            notes=("the watts that go in: volt-amperes are never fewer, and behind a rectifier often half as many again (from memory)",),
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
