"""How long a supply's battery carries its loads, what capacity is asked for, and how long it takes to charge again.

The network is solved once over a grid of battery emf in the set and alarm states; the discharge walks along that table. So the hours
until the first device falls short come from the same network as every other figure, and on a long run they are fewer than the hours
until the cut-out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from loopwright.job.document import FittedBattery, Job
from loopwright.job.sheet import BatterySheet, ChargerKind, SupplySheet, SystemState
from loopwright.netlist.compile import PowerNetwork
from loopwright.netlist.element import BatteryState, Scenario
from loopwright.netlist.solve import Solution, solve
from loopwright.power import charge, sizing
from loopwright.power.battery import END_OF_LIFE_FRACTION, KineticBattery, fit_kinetic, temperature_factor
from loopwright.power.discharge import BATTERY, Load, Phase, Rest, Standby, Trace, discharge, longest_standby
from loopwright.power.forecast import Floats, PowerForecast, label_of, read_power
from loopwright.power.sizing import CapacityFormula
from loopwright.power.table import DischargeRow, DischargeTable, assumed_table
from loopwright.values.figure import Figure, Input, Origin, Working
from loopwright.values.recent import Recent

GRID_LOW, GRID_HIGH, GRID_POINTS = 9.5 / 12, 13.2 / 12, 13
"""Battery emf over its nominal volts between which the network is solved [1], from below the cut-out to above full, and at how many."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Requirement:
    """The standby asked for: hours at rest, then hours in alarm, by which capacity formula, on whose word.

    ``recharge_h`` is the most hours allowed for charging to 80 %, None when nobody asks.
    """

    standby_h: float
    alarm_h: float
    formula: CapacityFormula
    source: str
    clause: str
    recharge_h: float | None = None
    recharge_source: str = "practice"


@dataclass(frozen=True, kw_only=True)
class StandbyForecast:
    """The battery of one supply: asked for against fitted, hours by simulation, recharge.

    ``required_ah`` and ``fitted_ah`` [Ah]; ``standby_a`` and ``alarm_a`` [A] on battery; ``longest`` is the standby after which the alarm
    still fits, aged and at the box's temperature, every watched device kept working; ``to_cut_out_h`` and ``to_first_short_h``
    are hours set until the battery lets go and until the first device falls short (None: not before the battery lets go);
    ``set_trace`` is the discharge at rest to its end; ``recharge`` from flat.
    """

    supply: str
    battery: str
    fitted_ah: float
    required_ah: float
    standby_a: float
    alarm_a: float
    requirement: Requirement
    kinetic: KineticBattery
    longest: Standby
    to_cut_out_h: float | None
    to_first_short_h: float | None
    first_short: str | None
    set_trace: Trace
    recharge: charge.Recharge
    charge_a: float
    capacity_fraction: float
    loads: tuple[Load, Load] = field(repr=False, compare=False)
    cut_out_v: float

    @cached_property
    def trace(self) -> Trace:
        """Return the discharge through the asked-for hours and the alarm; walked when it is first asked for."""
        need, (standby, alarm) = self.requirement, self.loads
        phases = (Phase(name="set", load=standby, hours=need.standby_h), Phase(name="alarm", load=alarm, hours=need.alarm_h))
        return discharge(self.kinetic.scaled(self.capacity_fraction), phases, cut_out_v=self.cut_out_v)

    def with_capacity(self, capacity_ah: float, *, devices: bool = True) -> Standby:
        """Return how long another capacity [Ah] of the same make would last with the alarm still to come.

        ``devices`` False asks for the battery alone, as if every device worked down to the cut-out.
        """
        standby, alarm = self.loads if devices else tuple(replace(load, margin_v={}) for load in self.loads)
        other = self.kinetic.scaled(self.capacity_fraction * capacity_ah / self.fitted_ah)
        name, arguments = (self.supply, capacity_ah, devices), (other, standby, alarm, self.requirement.alarm_h, self.cut_out_v)
        known = LASTED.find(name, arguments)
        if known is None:
            known = longest_standby(other, standby=standby, alarm=alarm, alarm_h=self.requirement.alarm_h, cut_out_v=self.cut_out_v)
            LASTED.put(name, arguments, known)
        return known

    def size_on_sale_ah(self) -> float | None:
        """Return the smallest capacity on sale [Ah] that meets the formula and lasts the hours too; None when none does."""
        for size in sizing.STANDARD_SIZES_AH:
            if size > self.fitted_ah and size >= self.required_ah and size >= self.requirement.standby_h * self.standby_a:
                lasts = self.with_capacity(size, devices=False)
                if lasts.fits and lasts.hours >= self.requirement.standby_h:
                    return size
        return None


RESTED: Recent[Rest] = Recent(most_names=60)
"""Batteries as they were walked at rest last, by supply: currents stay where a cable of a device of steady current is changed."""
WALKED: Recent[tuple[Trace, Standby]] = Recent(most_names=60)
"""The same with the alarm after it: an edit of what one supply feeds leaves the others as they were."""
LASTED: Recent[Standby] = Recent(most_names=200, each=1)
"""How long other capacities would last, by supply and capacity: a remedy tries a row of them."""
CURRENT_PLACES, MARGIN_PLACES = 7, 6
"""Decimal places of the table a battery is walked along: tenths of microamperes, microvolts.

Supplies that share a 0 V are solved together, and an edit at one moves the others in the fourteenth digit (measured: 1e-13 A, 1e-14 V),
steady currents at its own devices by the leak of their laws (1e-10 A). The table is rounded to what no such breath moves, and everything
is walked along the rounded table, so that a result follows from its key alone, whatever was computed before. The error is half a place:
5e-8 A of a standing current of at least some milliamperes is at most 1e-5 of the hours, where a step of the walk is good to 1e-3; half
a microvolt of a margin is a thousandth of the last digit shown.
"""


def forecast_standby(job: Job, power: PowerForecast, requirement: Requirement) -> tuple[StandbyForecast, ...]:
    """Return the forecast of every supply that has a battery. Depends on nothing but power, requirement, equipment and sheets."""
    with_battery = [name for name, item in job.equipment.items() if item.battery is not None and job.sheet_of(name).supply is not None]
    if not with_battery:
        return ()
    nominal_v = {name: _battery_sheet(job, name).nominal_v for name in with_battery}
    grids = {volts: tuple(float(v) for v in volts * np.linspace(GRID_LOW, GRID_HIGH, GRID_POINTS)) for volts in nominal_v.values()}
    swept = {volts: _sweep(job, power.network, emf) for volts, emf in grids.items()}
    margins = {volts: _margins(found) for volts, found in swept.items()}
    return tuple(
        _one(job, power, requirement, name, _loads(swept[volts], margins[volts].get(name, {}), grids[volts], name))
        for name, volts in nominal_v.items()
    )


def _battery_sheet(job: Job, supply: str) -> BatterySheet:
    fitted = job.equipment[supply].battery
    assert fitted is not None
    return job.sheets.batteries[fitted.sheet]


def _sweep(job: Job, network: PowerNetwork, emf: tuple[float, ...]) -> PowerForecast:
    """Solve set and alarm on battery over the grid: columns 0..n-1 set, n..2n-1 alarm."""
    columns = tuple(
        Scenario(name=f"{state}/battery", state=position, mains=False, battery=BatteryState(emf_v=volts))
        for state, position in ((SystemState.SET, 1), (SystemState.ALARM, 3))
        for volts in emf
    )
    solution: Solution = solve(network.netlist, columns)
    return read_power(job, network, solution)


def _one(job: Job, power: PowerForecast, requirement: Requirement, name: str, loads: tuple[Load, Load]) -> StandbyForecast:
    fitted = job.equipment[name].battery
    supply = job.sheet_of(name).supply
    assert fitted is not None and supply is not None
    sheet = _battery_sheet(job, name)
    rated = sheet.capacity_ah * fitted.parallel
    fraction = _fraction(fitted)
    kinetic = kinetic_of(sheet, fitted)
    aged = kinetic.scaled(fraction)
    standby, alarm = loads
    nominal = sheet.nominal_v
    standby_a, alarm_a = standby.at(nominal), alarm.at(nominal)
    cut_out = supply.cut_out_v
    set_trace, longest = _walked(name, aged, standby, alarm, requirement.alarm_h, cut_out)
    short = {device: hours for device, hours in set_trace.first_below.items() if hours is not None}
    first = min(short, key=lambda device: short[device]) if short else None
    charger, charge_a = _charger(power, supply, name)
    return StandbyForecast(
        supply=name,
        battery=fitted.sheet,
        fitted_ah=rated,
        required_ah=sizing.required_capacity_ah(
            standby_a=standby_a,
            standby_h=requirement.standby_h,
            alarm_a=alarm_a,
            alarm_h=requirement.alarm_h,
            formula=requirement.formula,
            temperature_c=fitted.temperature_c,
        ),
        standby_a=standby_a,
        alarm_a=alarm_a,
        requirement=requirement,
        kinetic=kinetic,
        longest=longest,
        to_cut_out_h=set_trace.hours_to_end,
        to_first_short_h=None if first is None else short[first],
        first_short=first,
        set_trace=set_trace,
        recharge=charge.recharge(
            charger,
            capacity_ah=rated,
            spare_a=charge_a,
            internal_ohm=sheet.internal_ohm / fitted.parallel,
            nominal_v=nominal,
        ),
        charge_a=charge_a,
        capacity_fraction=fraction,
        loads=(standby, alarm),
        cut_out_v=cut_out,
    )


def _walked(name: str, aged: KineticBattery, standby: Load, alarm: Load, alarm_h: float, cut_out_v: float) -> tuple[Trace, Standby]:
    """Return the discharge at rest and the longest standby; what was walked last is taken again where nothing it came from is other."""
    arguments = (aged, standby, alarm, alarm_h, cut_out_v)
    known = WALKED.find(name, arguments)
    if known is None:
        of_rest = (aged, standby.emf_v, standby.current_a, cut_out_v)
        rest = RESTED.find(name, of_rest)
        if rest is None:
            rest = Rest(aged, standby, cut_out_v=cut_out_v)
            RESTED.put(name, of_rest, rest)
        known = rest.with_alarm(Phase(name="set", load=standby), alarm=alarm, alarm_h=alarm_h)
        WALKED.put(name, arguments, known)
    return known


def _fraction(fitted: FittedBattery) -> float:
    """Return the part of the rated capacity to reckon with: as measured, else as aged; less in the cold."""
    age = END_OF_LIFE_FRACTION if fitted.measured_capacity_pct is None else fitted.measured_capacity_pct / 100
    return age / max(temperature_factor(fitted.temperature_c), 1.0)


def kinetic_of(sheet: BatterySheet, fitted: FittedBattery) -> KineticBattery:
    """Return the two-well battery of a sheet, several in parallel taken as one. The leads are the network's, not the battery's."""
    parallel = fitted.parallel
    if sheet.discharge:
        rows = tuple(DischargeRow(row.hours, row.current_a * parallel) for row in sorted(sheet.discharge, key=lambda row: row.hours))
        table = DischargeTable(rows=rows, cut_off_v=sheet.discharge_cut_off_v, nominal_v=sheet.nominal_v)
    else:
        table = assumed_table(sheet.capacity_ah * parallel, nominal_v=sheet.nominal_v)
    return fit_kinetic(table, internal_ohm=sheet.internal_ohm / parallel, full_v=sheet.full_v)


def _margins(swept: PowerForecast) -> dict[str, dict[str, Floats]]:
    """Return the volts in hand at every supply input over the whole sweep, by the unit whose output feeds it."""
    out: dict[str, dict[str, Floats]] = {}
    for load in swept.loads:
        fed = load.landing.output.split(".")[0] if load.landing.output else load.landing.equipment
        out.setdefault(fed, {})[load.name] = load.margin_v
    return out


def _loads(swept: PowerForecast, margins: Mapping[str, Floats], emf: tuple[float, ...], supply: str) -> tuple[Load, Load]:
    """Return what a battery sees set and in alarm, rounded as said at CURRENT_PLACES; ``margins`` are those of what its supply feeds."""
    current = np.maximum(swept.supply(supply).battery_a, 0.0).round(CURRENT_PLACES)
    in_hand = {name: row.round(MARGIN_PLACES) for name, row in margins.items()}

    def table(half: slice) -> Load:
        rows = {name: tuple(row[half].tolist()) for name, row in in_hand.items() if np.all(np.isfinite(row[half]))}
        return Load(emf_v=emf, current_a=tuple(current[half].tolist()), margin_v=rows)

    return table(slice(0, len(emf))), table(slice(len(emf), 2 * len(emf)))


def _charger(power: PowerForecast, supply: SupplySheet, name: str) -> tuple[charge.Charger, float]:
    """Return the charger in the charging module's terms, and the current [A] it really gets with the system set."""
    item = power.supply(name)
    spare = max(supply.limit_a - float(item.load_a[power.column("set/mains-no-battery")]), 0.0)
    sheet = supply.charger
    if sheet.kind is ChargerKind.NONE:
        return charge.Charger(kind=ChargerKind.NONE), 0.0
    if sheet.kind is ChargerKind.RESISTOR and sheet.series_ohm:
        made = charge.Charger(kind=ChargerKind.RESISTOR, charge_v=sheet.float_v, series_ohm=sheet.series_ohm)
    elif sheet.kind is ChargerKind.CURRENT_LIMITED and sheet.limit_a is not None:
        made = charge.Charger(kind=ChargerKind.CURRENT_LIMITED, charge_v=sheet.float_v, limit_a=sheet.limit_a)
        spare = min(spare, sheet.limit_a)
    else:
        made = charge.Charger(kind=ChargerKind.CONSTANT_VOLTAGE, charge_v=sheet.float_v)
    return made, spare


def _hours_from(job: Job) -> tuple[Origin, Origin]:
    """Return who asks for the hours at rest and for those in alarm: the job itself, or its ruleset."""
    rest, alarm = (Origin.RULESET if stated is None else Origin.DOCUMENT for stated in (job.region.standby_h, job.region.alarm_min))
    return rest, alarm


def required_figure(job: Job, item: StandbyForecast) -> Figure:
    """Return the capacity asked for, with its working."""
    need = item.requirement
    fitted = job.equipment[item.supply].battery
    temperature_c = fitted.temperature_c if fitted else 20.0

    def working() -> Working:
        return sizing.working(
            standby_a=item.standby_a,
            standby_h=need.standby_h,
            alarm_a=item.alarm_a,
            alarm_h=need.alarm_h,
            formula=need.formula,
            temperature_c=temperature_c,
            hours_from=_hours_from(job),
        )

    label = f"{label_of(job, item.supply)}, battery capacity asked for"
    return Figure(key=f"required-ah/{item.supply}", label=label, value=item.required_ah, unit="Ah", working=working)


def limit_words(job: Job, limited_by: str) -> str:
    """Return what sets the end of a standby: the battery, or the equipment whose supply input falls short."""
    return limited_by if limited_by == BATTERY else label_of(job, limited_by.partition(".")[0])


def longest_figure(job: Job, item: StandbyForecast) -> Figure:
    """Return the longest standby after which the alarm still fits, with its working."""

    def working() -> Working:
        battery, origin = item.kinetic, Origin.DEFAULT if item.kinetic.assumed_shape else Origin.SHEET
        return Working(
            formula="dy1/dt = -I(E) + k (h2 - h1), dy2/dt = -k (h2 - h1); the network is solved at every E",
            inputs=(
                Input(name="charge in both wells", value=round(battery.q_max_ah, 2), unit="Ah", origin=origin),
                Input(name="part of it at hand (age, cold)", value=round(item.capacity_fraction, 3), origin=Origin.COMPUTED),
                Input(name="width of the available well c", value=round(battery.well_fraction, 3), origin=origin),
                Input(name="rate k'", value=round(battery.rate_per_h, 3), unit="1/h", origin=origin),
                Input(name="current set", value=round(item.standby_a, 4), unit="A", origin=Origin.COMPUTED),
                Input(name="current in alarm", value=round(item.alarm_a, 4), unit="A", origin=Origin.COMPUTED),
                Input(name="hours in alarm", value=round(item.requirement.alarm_h, 3), unit="h", origin=_hours_from(job)[1]),
            ),
            substituted=f"limited by {limit_words(job, item.longest.limited_by)}",
            result=f"{item.longest.hours:.1f} h",
            source="kibam",
            notes=(f"the model meets the discharge table within {battery.worst_row_pct:.1f} % of the hours (rows of an hour and more)",),
        )

    label = f"{label_of(job, item.supply)}, longest standby with the alarm still to come"
    value = item.longest.hours if item.longest.fits else 0.0
    return Figure(key=f"longest-h/{item.supply}", label=label, value=value, unit="h", working=working)


def recharge_figure(job: Job, item: StandbyForecast) -> Figure:
    """Return the hours a flat battery takes to 80 %, with its working."""

    def working() -> Working:
        return charge.working_to_80_pct(
            item.fitted_ah, charging_a=item.charge_a, found=item.recharge, return_factor=charge.DEFAULT_RETURN_FACTOR
        )

    label = f"{label_of(job, item.supply)}, recharge to 80 %"
    return Figure(key=f"recharge-h/{item.supply}", label=label, value=item.recharge.to_80_pct_h, unit="h", working=working)
