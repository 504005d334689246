"""The twenty-one small circuits of docs/elements.md: the solver against paper, and against ngspice."""

from __future__ import annotations

import math
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from loopwright.job.sheet import LoadLaw
from loopwright.netlist import branch
from loopwright.netlist.element import (
    Battery,
    BatteryState,
    Charger,
    Contact,
    Diode,
    Element,
    Load,
    Netlist,
    PullUp,
    Resistance,
    Scenario,
    Source,
)
from loopwright.netlist.solve import imbalance, solve
from loopwright.netlist.spice import deck

MANUAL = Path(__file__).resolve().parents[2] / "docs" / "elements.md"
LEAK_V = 1e-6
"""What the leaks of the laws (14 nA at 14 V) may move in circuits of a few tens of ohms [V]."""
EXACT_V = 1e-9
LOOP_V = 1e-4
"""What a leak of 1 nS across a pull-up of 4.7 kΩ may move [V]."""

MAINS = Scenario("mains", 0, True, BatteryState(present=False))
SHARED = Scenario("mains and battery", 0, True, BatteryState())
END = Scenario("end of discharge", 0, False, BatteryState(at_cut_out=True))
ALARM = Scenario("alarm", 3, True, BatteryState(present=False))
RECHARGING = Scenario("recharging", 0, True, BatteryState(present=False), recharging=True)


@dataclass(frozen=True, kw_only=True)
class Hand:
    """One circuit of the manual: volts asked for as (plus, minus, answer), branch currents as (name, answer)."""

    number: str
    elements: tuple[Element, ...]
    scenario: Scenario
    volts: tuple[tuple[str, str, float], ...]
    amps: tuple[tuple[str, float], ...] = ()
    leakless: bool = True  # False where a current limit or an open contact leaves points held by the leaks alone.
    within_v: float = LEAK_V

    @property
    def netlist(self) -> Netlist:
        points = {point for element in self.elements for point in (element.a, element.b)}
        return Netlist(elements=self.elements, references=tuple(p for p in ("0v", "ps1.0v", "ps2.0v") if p in points), title=self.number)


def supply(open_v: float, ohm: float, limit_a: float = 3.0) -> Source:
    return Source("mains", "bus", "0v", open_v, ohm, limit_a)


def pair(name: str, plus: str, minus: str, ohm: float, back_ohm: float | None = None) -> tuple[Resistance, Resistance]:
    """Return two cores from (plus, minus) to (name+, name-)."""
    return (
        Resistance(f"{name}.plus", plus, f"{name}+", ohm),
        Resistance(f"{name}.minus", minus, f"{name}-", ohm if back_ohm is None else back_ohm),
    )


def load(name: str, amps: float, knee_v: float = 7.0, law: LoadLaw = LoadLaw.CURRENT) -> Load:
    return Load(f"{name}.load", f"{name}+", f"{name}-", law, (amps,) * 4, knee_v, 12.0)


def trap(branch_ohm: float) -> tuple[Element, ...]:
    return (
        supply(12.0, 0.2),
        *pair("end", "bus", "0v", 0.4),
        load("end", 0.1),
        *pair("far", "end+", "end-", branch_ohm / 2),
        load("far", 0.6, law=LoadLaw.RESISTIVE),
    )


def double_loop(alarm_closed: bool, leak_ohm: float) -> tuple[Element, ...]:
    return (
        PullUp("pull-up", "in", "0v", 5.0, 4700.0),
        *pair("dev", "in", "0v", 8.0),
        Resistance("alarm-resistor", "dev+", "mid", 4700.0),
        Resistance("alarm", "dev+", "mid", 1e-4 if alarm_closed else math.inf),
        Resistance("end", "mid", "dev-", 4700.0),
        Resistance("leak", "in", "0v", leak_ohm),
    )


def divided(ohm: float, pull_up_ohm: float = 4700.0) -> float:
    return 5.0 * ohm / (ohm + pull_up_ohm)


def beside(*ohms: float) -> float:
    return 1.0 / sum(1.0 / ohm for ohm in ohms)


W06_CORES = (1.6, 2.0, 2.0, 2.4)
W06_AMPS = (0.025, 0.040, 0.015, 0.060)

HANDS = (
    Hand(
        number="H01",
        elements=(supply(13.8, 0.1), *pair("d", "bus", "0v", 4.0), load("d", 0.5)),
        scenario=MAINS,
        volts=(("bus", "0v", 13.75), ("d+", "d-", 9.75), ("d-", "0v", 2.0)),
        amps=(("d.load", 0.5), ("mains", -0.5)),
    ),
    Hand(
        number="H02",
        elements=(supply(12.0, 0.5), *pair("a", "bus", "0v", 2.0), load("a", 0.2), *pair("b", "a+", "a-", 3.0), load("b", 0.1)),
        scenario=MAINS,
        volts=(("bus", "0v", 11.85), ("a+", "a-", 10.65), ("b+", "b-", 10.05)),
    ),
    Hand(
        number="H03",
        elements=(
            supply(13.207, 0.05),
            *pair("1", "bus", "0v", W06_CORES[0]),
            *pair("2", "1+", "1-", W06_CORES[1]),
            *pair("3", "2+", "2-", W06_CORES[2]),
            *pair("4", "3+", "3-", W06_CORES[3]),
            *(load(str(n + 1), amps) for n, amps in enumerate(W06_AMPS)),
        ),
        scenario=MAINS,
        volts=(("bus", "0v", 13.2), ("1+", "1-", 12.752), ("2+", "2-", 12.292), ("3+", "3-", 11.992), ("4+", "4-", 11.704)),
    ),
    Hand(
        number="H04",
        elements=(
            supply(12.612, 0.05),
            *pair("t", "bus", "0v", 1.08),
            *pair("a", "t+", "t-", 2.4),
            load("a", 0.08),
            *pair("b", "t+", "t-", 1.44),
            load("b", 0.05),
            *pair("c", "b+", "b-", 2.4),
            load("c", 0.11),
        ),
        scenario=MAINS,
        volts=(("t+", "t-", 12.0816), ("a+", "a-", 11.6976), ("b+", "b-", 11.6208), ("c+", "c-", 11.0928)),
    ),
    Hand(
        number="H05",
        elements=(
            supply(13.8, 0.1, 1.0),
            Battery("battery", "bus", "0v", 12.6, 0.05, 0.05, 10.5),
            *pair("d", "bus", "0v", 1.0),
            load("d", 1.6),
        ),
        scenario=SHARED,
        volts=(("bus", "0v", 12.54), ("d+", "d-", 9.34)),
        amps=(("mains", -1.0), ("battery", -0.6)),
        leakless=False,
    ),
    Hand(
        number="H06",
        elements=(
            supply(13.8, 0.1, 1.0),
            *pair("a", "bus", "0v", 0.25),
            load("a", 0.8, 10.0),
            *pair("b", "bus", "0v", 0.25),
            load("b", 0.8, 10.0),
        ),
        scenario=MAINS,
        volts=(("bus", "0v", 6.5), ("a+", "a-", 6.25), ("b+", "b-", 6.25)),
        amps=(("mains", -1.0), ("a.load", 0.5)),
        leakless=False,
    ),
    Hand(
        number="H07",
        elements=(
            supply(13.7, 0.05),
            Battery("battery", "bus", "0v", 12.7, 0.03, 0.05, 10.5),
            *pair("d", "bus", "0v", 0.5),
            load("d", 0.6),
        ),
        scenario=SHARED,
        volts=(("bus", "0v", 13.67), ("d+", "d-", 13.07)),
        amps=(("mains", -0.6), ("battery", 0.0)),
    ),
    Hand(
        number="H08",
        elements=(
            supply(13.7, 0.05),
            Battery("battery", "bus", "0v", 12.7, 0.03, 0.1, 10.5),
            *pair("d", "bus", "0v", 1.0),
            load("d", 0.8),
        ),
        scenario=END,
        volts=(("bus", "0v", 10.42), ("d+", "d-", 8.82)),
        amps=(("battery", -0.8), ("mains", 0.0)),
    ),
    Hand(
        number="H09",
        elements=(supply(12.0, 0.5), *pair("d", "bus", "0v", 0.75), load("d", 16 / 12, 7.0, LoadLaw.POWER)),
        scenario=MAINS,
        volts=(("d+", "d-", 8.0), ("bus", "0v", 11.0)),
        amps=(("d.load", 2.0),),
    ),
    Hand(
        number="H10",
        elements=(supply(12.0, 0.5, 5.0), *pair("d", "bus", "0v", 0.75), load("d", 20 / 12, 6.0, LoadLaw.POWER)),
        scenario=MAINS,
        volts=(("d+", "d-", 108 / 19),),
        amps=(("d.load", 60 / 19),),
    ),
    Hand(
        number="H11",
        elements=trap(1.0),
        scenario=MAINS,
        volts=(("end+", "end-", 11.9 * 21 / 22), ("far+", "far-", 11.9 * 20 / 22)),
    ),
    Hand(
        number="H11 after",
        elements=trap(10.0),
        scenario=MAINS,
        volts=(("end+", "end-", 11.9 * 30 / 31), ("far+", "far-", 11.9 * 20 / 31)),
    ),
    Hand(
        number="H12",
        elements=(supply(13.8, 0.1), Diode("diode", "bus", "out", 0.6, 0.1), *pair("d", "out", "0v", 1.0), load("d", 0.5)),
        scenario=MAINS,
        volts=(("out", "0v", 13.1), ("d+", "d-", 12.1)),
    ),
    Hand(
        number="H13",
        elements=(
            supply(12.05, 0.1),
            Resistance("a.plus", "bus", "a+", 4.0),
            Resistance("b.plus", "bus", "b+", 4.0),
            Resistance("minus", "0v", "-", 4.0),
            Load("a.load", "a+", "-", LoadLaw.CURRENT, (0.2,) * 4, 7.0, 12.0),
            Load("b.load", "b+", "-", LoadLaw.CURRENT, (0.3,) * 4, 7.0, 12.0),
        ),
        scenario=MAINS,
        volts=(("a+", "-", 9.2), ("b+", "-", 8.8), ("-", "0v", 2.0)),
    ),
    Hand(
        number="H14",
        elements=(
            supply(12.03, 0.1),
            *pair("d", "bus", "0v", 8.0),
            Resistance("second.plus", "bus", "d+", 8.0),
            Resistance("second.minus", "0v", "d-", 8.0),
            load("d", 0.3),
        ),
        scenario=MAINS,
        volts=(("d+", "d-", 9.6),),
    ),
    Hand(
        number="H15",
        elements=(
            Source("ps1.mains", "ps1.bus", "ps1.0v", 13.8, 0.1, 3.0),
            Source("ps2.mains", "ps2.bus", "ps2.0v", 13.2, 0.1, 3.0),
            Resistance("0v", "ps1.0v", "ps2.0v", 2.0),
            *pair("d", "ps2.bus", "ps1.0v", 2.0, 1.0),
            load("d", 0.4),
        ),
        scenario=MAINS,
        volts=(("d+", "d-", 11.16), ("ps1.0v", "ps2.0v", 0.8), ("ps2.bus", "ps1.0v", 12.36), ("ps1.bus", "ps1.0v", 13.8)),
        leakless=False,
    ),
    Hand(
        number="H16",
        elements=(
            Source("ps1.mains", "ps1.bus", "ps1.0v", 13.8, 0.1, 3.0),
            Source("ps2.mains", "ps2.bus", "ps2.0v", 13.2, 0.1, 3.0),
            *pair("a", "ps1.bus", "ps1.0v", 1.0),
            load("a", 0.5),
            *pair("b", "ps2.bus", "ps2.0v", 1.0),
            load("b", 0.4),
        ),
        scenario=MAINS,
        volts=(("a+", "a-", 12.75), ("b+", "b-", 12.36), ("ps2.bus", "ps1.0v", math.nan), ("ps2.0v", "ps1.0v", math.nan)),
    ),
    Hand(
        number="H17",
        elements=(
            supply(12.045, 0.1),
            *pair("a", "bus", "0v", 2.0),
            load("a", 0.3),
            *pair("b", "bus", "0v", 2.0),
            load("b", 0.15),
            Resistance("ring.plus", "a+", "b+", 2.0),
            Resistance("ring.minus", "a-", "b-", 2.0),
        ),
        scenario=MAINS,
        volts=(("a+", "a-", 11.0), ("b+", "b-", 11.2)),
    ),
    *(
        Hand(
            number=number,
            elements=(
                supply(13.8, 0.1),
                Contact("siren.path", "bus", "siren", 0.1, (False, False, False, True)),
                *pair("s", "siren", "0v", 1.0),
                load("s", 1.0),
            ),
            scenario=scenario,
            volts=(("s+", "s-", siren_v), ("bus", "0v", bus_v)),
            amps=(("s.load", amps),),
            leakless=False,
        )
        for number, scenario, siren_v, bus_v, amps in (("H18", MAINS, 0.0, 13.8, 0.0), ("H18 alarm", ALARM, 11.6, 13.7, 1.0))
    ),
    Hand(
        number="H19",
        elements=(PullUp("pull-up", "in", "0v", 5.0, 1000.0), *pair("d", "in", "0v", 5.0), Resistance("end", "d+", "d-", 2200.0)),
        scenario=MAINS,
        volts=(("in", "0v", 5 * 2210 / 3210), ("d+", "d-", 5 * 2200 / 3210)),
        within_v=LOOP_V,
    ),
    *(
        Hand(
            number=f"H20 {word}",
            elements=double_loop(closed, leak_ohm),
            scenario=MAINS,
            volts=(("in", "0v", divided(beside(4716.0 if closed else 9416.0, leak_ohm))),),
            within_v=LOOP_V,
            leakless=not closed,
        )
        for word, closed, leak_ohm in (("rest", True, 1e5), ("alarm", False, 1e5), ("alarm, wetter", False, 22e3))
    ),
    Hand(
        number="H21",
        elements=(
            supply(13.8, 0.1),
            Charger("charge", "bus", "0v", 11.4, 0.4, 1.2),
            *pair("d", "bus", "0v", 1.0),
            load("d", 0.8),
        ),
        scenario=RECHARGING,
        volts=(("bus", "0v", 13.6), ("d+", "d-", 12.0)),
        amps=(("charge", 1.2), ("mains", -2.0)),
        leakless=False,
    ),
)


def assert_as_on_paper(hand: Hand, within_v: float) -> None:
    solution = solve(hand.netlist, (hand.scenario,))
    for plus, minus, volts in hand.volts:
        assert float(solution.across(plus, minus)[0]) == pytest.approx(volts, rel=0, abs=within_v, nan_ok=True), (plus, minus)
    for name, amps in hand.amps:
        assert float(solution.current(name)[0]) == pytest.approx(amps, rel=0, abs=within_v), name
    assert np.abs(imbalance(solution)).max() < 1e-9


@pytest.mark.parametrize("hand", HANDS, ids=lambda hand: hand.number)
def test_as_on_paper(hand: Hand) -> None:
    assert_as_on_paper(hand, hand.within_v)


@pytest.mark.parametrize("hand", [hand for hand in HANDS if hand.leakless], ids=lambda hand: hand.number)
def test_without_the_leaks_paper_is_met_exactly(hand: Hand, monkeypatch: pytest.MonkeyPatch) -> None:
    """The leaks are all that stands between the solver and the algebra."""
    monkeypatch.setattr(branch, "LEAK_S", 0.0)
    assert_as_on_paper(hand, EXACT_V)


@pytest.mark.parametrize("hand", HANDS, ids=lambda hand: hand.number)
def test_as_ngspice(hand: Hand, ngspice: str) -> None:
    solution = solve(hand.netlist, (hand.scenario,))
    near = dict(zip(solution.index, solution.volts[:, 0].round(1).tolist(), strict=True))
    text = deck(hand.netlist, hand.scenario, grounds=solution.references(0), start_v=near)
    printed = subprocess.run([ngspice, "-b"], input=text, capture_output=True, text=True, check=False, timeout=240)
    volts = [float(word) for word in re.findall(r"^v\(n\d+\) = (\S+)", printed.stdout, re.MULTILINE)]
    names = hand.netlist.nodes()
    assert len(volts) == len(names), printed.stderr
    index = {name: position for position, name in enumerate(names)}
    for plus, minus, _ in hand.volts:
        ours = float(solution.across(plus, minus)[0])
        if not math.isnan(ours):
            assert volts[index[plus]] - volts[index[minus]] == pytest.approx(ours, rel=0, abs=EXACT_V), (plus, minus)


def test_the_wet_loop_reads_what_the_parallel_rule_says() -> None:
    """4503.6, 8605.7 and 6593.8 Ω: worked by hand with Kirchhoff; the last is an open contact read as normal."""
    for number, ohm in (("H20 rest", 4503.6), ("H20 alarm", 8605.7), ("H20 alarm, wetter", 6593.8)):
        hand = next(hand for hand in HANDS if hand.number == number)
        volts = float(solve(hand.netlist, (hand.scenario,)).across("in", "0v")[0])
        assert 4700.0 * volts / (5.0 - volts) == pytest.approx(ohm, abs=1.0)


def test_a_longer_branch_to_a_resistive_load_raises_its_sibling() -> None:
    """11.36 V becomes 11.52 V: the longer branch takes less, so the trunk they share drops less."""
    hands = [next(hand for hand in HANDS if hand.number == number) for number in ("H11", "H11 after")]
    before, after = (float(solve(hand.netlist, (hand.scenario,)).across("end+", "end-")[0]) for hand in hands)
    assert (round(before, 2), round(after, 2)) == (11.36, 11.52)


def test_the_manual_and_the_table_hold_the_same_circuits() -> None:
    written = re.findall(r"^\*\*(H\d\d)\b", MANUAL.read_text(encoding="utf-8"), re.MULTILINE)
    assert written == sorted({hand.number[:3] for hand in HANDS})
