"""Dead checks: the expected ohms against ngspice with the detectors' relays let go, and what keeps the power off."""

from __future__ import annotations

import math
import re
import subprocess
from dataclasses import replace

import pytest

import loopwright.demo
from loopwright.circuits.forecast import forecast_circuits
from loopwright.explain.check import CheckKind
from loopwright.explain.dead.check import DeadCheck, DeadKind, let_go_of
from loopwright.explain.dead.entry import Checked, entered, read_dead, stops
from loopwright.explain.dead.every import dead_checks
from loopwright.explain.dead.judge import Weight, judge
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import read_observations
from loopwright.job.read import read
from loopwright.netlist.compile import compile_power
from loopwright.netlist.element import Resistance, Scenario
from loopwright.netlist.loop import ActKind, compile_loop
from loopwright.netlist.spice import deck

JOB = read(loopwright.demo.text("business")).job
CHECKS = dead_checks(JOB, compile_power(JOB), forecast_circuits(JOB))
BY_KEY = {check.key: check for check in CHECKS}
METER = Instrument()


def test_every_supply_every_fed_output_and_every_landed_circuit_is_on_the_list() -> None:
    assert len(BY_KEY) == len(CHECKS)
    circuits = {check.where for check in CHECKS if check.where in JOB.circuits}
    assert circuits == {name for name, circuit in JOB.circuits.items() if circuit.input}
    fed = {feed.output for cable in JOB.cables.values() for feed in cable.feeds}
    assert {check.where for check in CHECKS if check.kind is DeadKind.POLARITY} <= fed
    supplies = {name for name in JOB.equipment if JOB.sheet_of(name).supply is not None}
    assert {check.where for check in CHECKS if check.kind is DeadKind.MAINS} == supplies


def test_circuits_without_power_read_what_ngspice_says(ngspice: str) -> None:
    """Relays that let go are contacts of no conductance; a milliampere through the lifted pair, each circuit a deck."""
    for name in ("c01", "c02", "c05", "c13", "c20"):
        network = compile_loop(JOB, name)
        gone = {f"{name}.{n}.alarm" for n, hop in enumerate(JOB.circuits[name].path) if hop.device in let_go_of(JOB, name)}
        kept = [e._replace(ohm=math.inf) if isinstance(e, Resistance) and e.name in gone else e for e in network.netlist.elements]
        netlist = replace(network.netlist, elements=tuple(kept))
        text = deck(netlist, Scenario("dead", 0, False, None), grounds=(network.common,))  # type: ignore[arg-type]
        printed = subprocess.run([ngspice, "-b"], input=text, capture_output=True, text=True, check=False, timeout=60).stdout
        volts = [float(word) for word in re.findall(r"^v\(n\d+\) = (\S+)", printed, re.MULTILINE)]
        names = netlist.nodes()
        across = volts[names.index(network.terminal)] - volts[names.index(network.common)]
        ohm = network.pull_up.ohm * across / (network.pull_up.open_v - across)
        check = BY_KEY[f"{name}/pair"]
        assert check.low < ohm < check.high
        assert check.high / check.low < 1.1


@pytest.mark.parametrize(
    ("key", "reading", "word", "weight"),
    [
        ("control/mains dead", "", "proved dead", Weight.RIGHT),
        ("control/mains dead", "", "not proved dead", Weight.NEVER),
        ("control/battery off", "", "still on", Weight.STOP),
        ("control/battery", "12.8 V", "", Weight.RIGHT),
        ("control/battery", "-12.8 V", "", Weight.NEVER),
        ("control/battery", "10.9 V", "", Weight.ODD),
        ("control/battery", "25.6 V", "", Weight.STOP),
        ("control/terminals", "0.3 Ω", "", Weight.NEVER),
        ("control/terminals", "1.2 kΩ", "", Weight.RIGHT),
        ("control.aux-1/pair", "2.1 Ω", "", Weight.NEVER),
        ("control.aux-1/pair", "60 Ω", "", Weight.STOP),
        ("control.aux-1/pair", "3.3 kΩ", "", Weight.RIGHT),
        ("control.aux-1/polarity", "", "reversed", Weight.STOP),
        ("control.aux-1/earth", "OL", "", Weight.RIGHT),
        ("control.aux-1/earth", "40 kΩ", "", Weight.STOP),
        ("c01/pair", "2.70 kΩ", "", Weight.RIGHT),
        ("c01/pair", "2.3 Ω", "", Weight.STOP),
        ("c01/pair", "9.5 kΩ", "", Weight.ODD),
        ("c02/pair", "9.5 kΩ", "", Weight.RIGHT),
        ("c05/pair to pair", "OL", "", Weight.RIGHT),
        ("c05/pair to pair", "31 Ω", "", Weight.STOP),
        ("control.bus/pair", "14 kΩ", "", Weight.RIGHT),
        ("control.bus/pair", "2.4 Ω", "", Weight.STOP),
        ("control.bus/pair", "120 Ω", "", Weight.ODD),
        ("control.bus/data to supply", "4 kΩ", "", Weight.RIGHT),
        ("control.bus/data to supply", "1.1 Ω", "", Weight.STOP),
        ("control.bus/earth", "20 kΩ", "", Weight.STOP),
    ],
)
def test_what_is_entered_is_judged(key: str, reading: str, word: str, weight: Weight) -> None:
    judged = entered(BY_KEY[key], reading, word, METER)
    assert judged.weight is weight
    assert bool(judged.sentence) == (weight is not Weight.RIGHT)


def test_a_reversed_battery_and_a_shorted_supply_are_never_signed_past() -> None:
    def of(key: str, reading: str = "", word: str = "") -> Checked:
        return Checked(check=BY_KEY[key], text=reading or word, judged=entered(BY_KEY[key], reading, word, METER))

    battery, short = of("control/battery", "-12.8 V"), of("control.aux-1/pair", "2.1 Ω")
    turned, leak = of("control.aux-2/polarity", word="reversed"), of("c02/earth", "40 kΩ")
    every = [battery, short, turned, leak, of("c01/pair", "9.5 kΩ")]
    assert stops(every) == (battery, short, turned, leak)
    assert stops(every, [each.check.key for each in every]) == (battery, short)
    assert stops([of("control/battery", "12.8 V")]) == ()


def test_what_cannot_be_entered_is_told() -> None:
    with pytest.raises(ValueError, match="Accepted: right way round or reversed"):
        judge(BY_KEY["control.aux-1/polarity"], None, "maybe")
    with pytest.raises(ValueError, match="Ohms are read here"):
        entered(BY_KEY["c01/pair"], "3 V", "", METER)
    text = (
        "readings:\n  - {where: c02, at: eart, state: no power, reading: OL}\n  - {where: c02, at: earth, state: no power, reading: OL}\n"
    )
    checked, problems = read_dead(JOB, CHECKS, text)
    assert [each.check.key for each in checked if each.judged] == ["c02/earth"]
    assert "‘eart’ is no dead check" in str(problems[0])


def test_a_pair_read_without_power_is_a_reading_of_explain_too() -> None:
    text = "readings:\n" + "".join(f"  - {{where: {where}, state: no power, reading: 9.5 kΩ}}\n" for where in ("c01", "c02", "c05"))
    seen = [each.check for each in read_observations(JOB, text).seen]
    assert [(check.kind, check.act) for check in seen] == [
        (CheckKind.OHM, ActKind.REST), (CheckKind.OHM, ActKind.ACTIVATED), (CheckKind.OHM, ActKind.ALL_ACTIVATED),
    ]  # fmt: skip
    told = read_observations(JOB, "readings:\n  - {where: c02, at: earth, state: no power, reading: OL}\n")
    assert not told.seen and "the list of dead checks judges it" in str(told.problems[0])


def test_every_bus_with_a_cable_and_every_circuit_with_company_has_its_rows() -> None:
    buses = {name for name in JOB.equipment if JOB.sheet_of(name).bus is not None}
    assert {check.where for check in CHECKS if check.kind is DeadKind.SUPPLY} == {f"{name}.bus" for name in buses}
    beside = {check.where for check in CHECKS if check.kind is DeadKind.BETWEEN}
    for name, circuit in JOB.circuits.items():
        runs = [JOB.cables[hop.cable] for hop in circuit.path]
        # Counted from the cables: a feed or the bus in one of its runs is company, whatever else there is.
        if circuit.input and any(run.feeds or run.bus for run in runs):
            assert name in beside
    alone = {
        name for name, circuit in JOB.circuits.items() if all(not (c := JOB.cables[h.cable]).feeds and not c.bus for h in circuit.path)
    }
    assert alone and "c01" in alone and "c01" not in beside


def test_two_circuits_that_share_a_core_are_not_told_apart_by_ohms() -> None:
    text = loopwright.demo.text("business").replace(
        "{cable: W10, device: door-front}", "{cable: W11, device: door-front, shares_return_with: c02}"
    )
    job = read(text).job
    checks = {check.key: check for check in dead_checks(job, compile_power(job), forecast_circuits(job))}
    assert "circuit c02" not in checks["c01/pair to pair"].words and "circuit c01" not in checks["c02/pair to pair"].words


def test_a_terminated_bus_reads_the_one_terminator_left() -> None:
    text = loopwright.demo.text("business").replace("bus: {longest_m: 300,", "bus: {terminate_ohm: 120, longest_m: 300,")
    job = read(text).job
    checks = {check.key: check for check in dead_checks(job, compile_power(job), forecast_circuits(job))}
    pair = checks["control.bus/pair"]
    # From the control unit: the resistor at the far end, with the cores on the way; two in parallel, or none, is not it.
    assert pair.low < 120 < 120 + 0.1569 * 40 < pair.high and not pair.low <= 55 <= pair.high and not pair.low <= 1e4 <= pair.high


def test_a_supply_pair_is_known_from_below_only_unless_its_loads_are_plain() -> None:
    pairs: list[DeadCheck] = [check for check in CHECKS if check.kind is DeadKind.PAIR and check.feeds]
    assert all(check.short_ohm < check.low for check in pairs)
    assert all("no" in check.known or "plain" in check.known for check in pairs)
