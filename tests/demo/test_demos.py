"""The example jobs: whole, sound where they are meant to be, and with the five defects the bindery is there to show."""

from __future__ import annotations

import math
from collections import Counter
from functools import cache

import numpy as np
import pytest

from loopwright import demo
from loopwright.circuits.forecast import CircuitForecast, forecast_circuits
from loopwright.demo.synthetic import MOST_DEVICES, synthetic
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.job.sheet import STATES, Kind, Topology
from loopwright.job.tree import MOST_BYTES
from loopwright.netlist.compile import PowerNetwork, compile_power, further_scenarios, scenarios
from loopwright.netlist.solve import Solution, imbalance, solve
from loopwright.power.sizing import AGED, HOUSEHOLD, required_capacity_ah

EXAMPLES = ("business", "dwelling")
SHORT = "sounder-press"
EDGE = "c11"
EN_GRADE_2_STANDBY_H = 12.0  # EN 50131-1 Table 23, type A
HOUSEHOLD_STANDBY_H = 24.0  # the longer of two remembered: UL 985 24 h, UL 1023 4 h (from memory)
ALARM_H = 0.25  # as long as the sounders may run (common practice, no source)
SOUND_MARGIN_V = 0.5
# 12 V 7.5 Ah AGM data sheet: the current that reaches 10.5 V in so many hours, 25 °C.
PUBLISHED_7_5_AH = {
    5 / 60: 21.6, 10 / 60: 15.4, 0.25: 12.0, 0.5: 7.44, 1.0: 4.42, 2.0: 2.52, 3.0: 1.91, 5.0: 1.28, 8.0: 0.874, 10.0: 0.716, 20.0: 0.379,
}  # fmt: skip


@cache
def job_of(name: str) -> Job:
    return read(demo.text(name)).job


@cache
def solved(name: str) -> tuple[PowerNetwork, Solution]:
    network = compile_power(job_of(name))
    return network, solve(network.netlist, scenarios() + further_scenarios())


@cache
def circuits(name: str) -> tuple[CircuitForecast, ...]:
    return forecast_circuits(job_of(name))


def column(solution: Solution, scenario: str) -> int:
    return [s.name for s in solution.scenarios].index(scenario)


def drawn_a(name: str, supply: str, scenario: str) -> float:
    """Return the current [A] all loads take from a supply that is not charging, mains and battery together."""
    _, solution = solved(name)
    at = column(solution, scenario)
    return -float(solution.current(f"{supply}.mains")[at] + solution.current(f"{supply}.battery")[at])


def margins_v(job: Job, network: PowerNetwork, solution: Solution) -> dict[str, float]:
    """Return for each supply input the least volts above its minimum, over the scenarios in which its output is on."""
    out = {}
    for landing in network.landings:
        on = set(STATES)
        if landing.output is not None:
            unit, _, output = landing.output.partition(".")
            on = set(job.sheet_of(unit).outputs[output].on_in)
        live = [n for n, s in enumerate(solution.scenarios) if STATES[s.state] in on]
        spare = solution.across(landing.plus, landing.minus)[live] - job.sheet_of(landing.equipment).loads[landing.load].min_v
        out[f"{landing.equipment}.{landing.load}"] = float(np.min(spare))
    return out


def cores_used(job: Job) -> Counter[str]:
    used: Counter[str] = Counter()
    for name, cable in job.cables.items():
        back = [feed.cores if feed.return_cores is None else feed.return_cores for feed in cable.feeds]
        used[name] += sum(feed.cores for feed in cable.feeds) + sum(back) + cable.zero_v_cores + (2 if cable.bus else 0)
    used.update(dict.fromkeys(job.cables, 0))
    for circuit in job.circuits.values():
        for hop in circuit.path:
            used[hop.cable] += 2
    return used


# Both examples are whole.


def test_the_business_opens_first() -> None:
    assert demo.names() == EXAMPLES


def test_an_unknown_example_is_refused() -> None:
    with pytest.raises(KeyError):
        demo.text("../job/read")


@pytest.mark.parametrize("name", EXAMPLES)
def test_everything_is_invented(name: str) -> None:
    sheets = job_of(name).sheets
    assert all(sheet.invented for table in (sheets.equipment, sheets.batteries, sheets.cables) for sheet in table.values())


@pytest.mark.parametrize("name", EXAMPLES)
def test_inputs_addresses_and_zones_are_distinct_and_none_is_left_out(name: str) -> None:
    job = job_of(name)
    landed = [circuit.input for circuit in job.circuits.values()]
    addressed = [item.address for item in job.equipment.values() if job.sheets.equipment[item.sheet].addressed]
    assert None not in landed and len(set(landed)) == len(landed)
    assert None not in addressed and len(set(addressed)) == len(addressed)
    assert all(zone.circuit and zone.areas for zone in job.zones.values())
    behind = Counter(zone.circuit for zone in job.zones.values())
    assert {c: 2 if job.circuits[c].topology is Topology.PAIR else 1 for c in job.circuits} == dict(behind)


@pytest.mark.parametrize("name", EXAMPLES)
def test_no_cable_needs_more_cores_than_it_has(name: str) -> None:
    job = job_of(name)
    assert all(count <= job.sheets.cables[job.cables[cable].sheet].cores for cable, count in cores_used(job).items())


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_device_has_volts_to_spare_but_the_far_sounder(name: str) -> None:
    network, solution = solved(name)
    margins = margins_v(job_of(name), network, solution)
    assert np.max(np.abs(imbalance(solution))) < 1e-6
    assert min(margin for load, margin in margins.items() if not load.startswith(SHORT)) >= SOUND_MARGIN_V


@pytest.mark.parametrize("name", EXAMPLES)
def test_no_output_gives_more_than_it_may(name: str) -> None:
    job = job_of(name)
    _, solution = solved(name)
    for unit in job.equipment:
        for output, spec in job.sheet_of(unit).outputs.items():
            assert np.max(solution.wire_current(f"{unit}.{output}.path")) <= spec.limit_a


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_circuit_is_read_right_but_the_one_at_the_edge(name: str) -> None:
    wrong = {item.circuit for item in circuits(name) for act in item.acts if not act.right or act.misread}
    assert wrong == ({EDGE} if name == "business" else set())


@pytest.mark.parametrize("name", EXAMPLES)
def test_fitted_resistors_are_the_sets_but_for_one(name: str) -> None:
    job = job_of(name)
    other = set()
    for key, circuit in job.circuits.items():
        inputs = job.sheet_of((circuit.input or "").partition(".")[0]).inputs
        assert inputs is not None
        if circuit.resistors != inputs.resistor_sets[circuit.topology]:
            other.add(key)
    assert other == ({EDGE} if name == "business" else set())


@pytest.mark.parametrize("name", EXAMPLES)
def test_discharge_tables_are_the_published_one_scaled(name: str) -> None:
    for sheet in job_of(name).sheets.batteries.values():
        found = {round(row.hours, 4): row.current_a * 7.5 / sheet.capacity_ah for row in sheet.discharge}
        assert found == pytest.approx({round(hours, 4): amps for hours, amps in PUBLISHED_7_5_AH.items()}, rel=5e-3)  # three digits


def test_the_dwelling_has_battery_enough_and_one_siren_output_free() -> None:
    job = job_of("dwelling")
    needed = required_capacity_ah(
        standby_a=drawn_a("dwelling", "panel", "set/battery"),
        standby_h=HOUSEHOLD_STANDBY_H,
        alarm_a=drawn_a("dwelling", "panel", "alarm/battery"),
        alarm_h=ALARM_H,
        formula=HOUSEHOLD,
    )
    assert needed < job.sheets.batteries["tb-12"].capacity_ah
    supervised = {f"panel.{name}" for name, spec in job.sheet_of("panel").outputs.items() if spec.supervision is not None}
    assert supervised - {feed.output for cable in job.cables.values() for feed in cable.feeds} == {"panel.siren-2"}


# What the bindery is there to show.


def test_far_sounder_holds_on_mains_and_falls_short_at_the_end_of_discharge() -> None:
    _, solution = solved("business")
    volts = solution.across(f"{SHORT}.supply", f"{SHORT}.0v")
    minimum = job_of("business").sheet_of(SHORT).loads["supply"].min_v
    on_mains, at_end = (float(volts[column(solution, f"alarm/{condition}")]) for condition in ("mains", "battery-end"))
    # Ohm's law by hand: 58 m out and back of 92 Ω/km, and 0.32 A.
    drop = 0.32 * 2 * 58 * 0.092
    assert on_mains == pytest.approx(13.6 - 0.1 * 0.64 - drop, abs=0.05)
    assert on_mains - minimum > 1.0
    assert at_end < minimum - 1.0


def test_control_units_battery_is_about_half_of_what_is_asked_for() -> None:
    job = job_of("business")
    draw = job.sheet_of("communicator").loads["supply"]
    standby_a, alarm_a = drawn_a("business", "control", "set/battery"), drawn_a("business", "control", "alarm/battery")

    def needed(standby: float, alarm: float) -> float:
        return required_capacity_ah(standby_a=standby, standby_h=EN_GRADE_2_STANDBY_H, alarm_a=alarm, alarm_h=ALARM_H, formula=AGED)

    fitted = job.sheets.batteries["tb-7"].capacity_ah
    assert 0.5 < fitted / needed(standby_a, alarm_a) < 0.65
    assert needed(standby_a, alarm_a) - needed(standby_a - draw.unset_a, alarm_a - (draw.alarm_a or 0.0)) > 2.0
    assert needed(standby_a, alarm_a) < (job.sheet_of("control").supply.largest_battery_ah or 0.0)  # type: ignore[union-attr]


def test_second_supply_has_battery_enough() -> None:
    standby_a, alarm_a = drawn_a("business", "supply-2", "set/battery"), drawn_a("business", "supply-2", "alarm/battery")
    needed = required_capacity_ah(standby_a=standby_a, standby_h=EN_GRADE_2_STANDBY_H, alarm_a=alarm_a, alarm_h=ALARM_H, formula=AGED)
    assert needed < job_of("business").sheets.batteries["tb-7"].capacity_ah


@pytest.mark.parametrize(("supply", "carries"), [("supply-2", False), ("control", True)])
def test_second_supply_cannot_carry_alarm_and_a_flat_battery_together(supply: str, carries: bool) -> None:
    _, solution = solved("business")
    sheet = job_of("business").sheet_of(supply).supply
    assert sheet is not None and sheet.charger.limit_a is not None
    load_a = drawn_a("business", supply, "alarm/mains-no-battery")
    charging_a = solution.current(f"{supply}.charge")
    assert load_a < sheet.limit_a
    assert (load_a + sheet.charger.limit_a < sheet.limit_a) is carries
    assert float(charging_a[column(solution, "set/recharging")]) == pytest.approx(sheet.charger.limit_a, abs=1e-6)
    assert (float(charging_a[column(solution, "alarm/recharging")]) > 0.9 * sheet.charger.limit_a) is carries


def test_wrong_resistor_reads_right_at_rest_and_reaches_the_edge_at_its_worst() -> None:
    job = job_of("business")
    item = next(found for found in circuits("business") if found.circuit == EDGE)
    inputs = job.sheet_of("control").inputs
    assert inputs is not None
    edge = next(band.to_ohm for band in inputs.bands[Topology.DOUBLE] if band.reads == "rest")
    wanted, fitted = inputs.resistor_sets[Topology.DOUBLE].end_ohm, job.circuits[EDGE].resistors.end_ohm
    assert (wanted, fitted, edge) == (2700, 3300, 3450)
    assert item.rest.right and item.rest.field_ohm == pytest.approx(3300 + 2 * 39 * 0.092 + 2 * 0.2, abs=0.5)
    assert item.rest.field_ohm < edge < 3300 * 1.05 + 2 * 39 * 0.092 <= item.rest.high_ohm
    assert item.rest.misread is not None and 0.0 < item.rest.misread < 0.2
    assert all(act.right for act in item.acts)


def test_one_lobby_detector_lies_in_one_area_though_two_share_the_lobby() -> None:
    job = job_of("business")
    shared = {name: area.common_to for name, area in job.areas.items() if area.common_to}
    assert shared == {"lobby": ("workshop", "offices")}
    astray = set()
    for zone in job.zones.values():
        rooms = {job.equipment[hop.device].room for hop in job.circuits[zone.circuit or ""].path if hop.device}
        if rooms == {"lobby"} and "lobby" not in zone.areas and not set(shared["lobby"]) <= set(zone.areas):
            astray.add((zone.text, zone.areas))
    assert astray == {("Lobby", ("offices",))}


def test_life_safety_device_on_the_same_supply_is_counted() -> None:
    job = job_of("business")
    foreign = [name for name in job.equipment if job.sheet_of(name).kind is Kind.LIFE_SAFETY]
    assert foreign == ["smoke-press"]
    _, solution = solved("business")
    assert float(solution.current("smoke-press.supply")[column(solution, "set/battery")]) == pytest.approx(0.012, abs=1e-6)


# Premises made from a seed.

SIZES = [(1 + (37 * seed) % 140, seed) for seed in range(27)] + [(333, 27), (800, 28), (MOST_DEVICES, 29)]
IN_THE_FIELD = {Kind.DETECTOR, Kind.CONTACT, Kind.KEYPAD, Kind.SOUNDER}


@pytest.mark.parametrize(("devices", "seed"), SIZES)
def test_made_up_premises_are_sound(devices: int, seed: int) -> None:
    text = synthetic(devices, seed)
    job = read(text).job
    assert len(text.encode()) < MOST_BYTES
    assert sum(job.sheet_of(name).kind in IN_THE_FIELD for name in job.equipment) == devices
    network = compile_power(job)
    solution = solve(network.netlist, scenarios() + further_scenarios())
    assert min(margins_v(job, network, solution).values()) > 0.3
    for unit in job.equipment:
        sheet = job.sheet_of(unit)
        for output, spec in sheet.outputs.items():
            assert np.max(solution.wire_current(f"{unit}.{output}.path")) <= spec.limit_a
    assert all(count <= job.sheets.cables[job.cables[cable].sheet].cores for cable, count in cores_used(job).items())


@pytest.mark.parametrize("seed", range(6))
def test_circuits_of_made_up_premises_are_read_right(seed: int) -> None:
    found = forecast_circuits(read(synthetic(60, seed)).job)
    assert all(act.right and act.misread == 0.0 for item in found for act in item.acts)


def test_zero_volts_of_all_supplies_is_joined() -> None:
    job = read(synthetic(260, 3)).job
    supplies = [name for name in job.equipment if job.sheet_of(name).supply is not None]
    solution = solve(compile_power(job).netlist, scenarios()[:1])
    assert len(supplies) == math.ceil(260 / 50)
    assert all(abs(float(solution.across(f"{name}.0v", "control.0v")[0])) < 1e-6 for name in supplies)


def test_the_same_seed_makes_the_same_premises_and_another_does_not() -> None:
    assert synthetic(120, 7) == synthetic(120, 7)
    assert synthetic(120, 7).splitlines()[4:] != synthetic(120, 8).splitlines()[4:]


@pytest.mark.parametrize("devices", [0, MOST_DEVICES + 1])
def test_a_size_out_of_bounds_is_refused(devices: int) -> None:
    with pytest.raises(ValueError, match="can be made"):
        synthetic(devices, 1)
