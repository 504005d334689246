"""The solver against ngspice: random networks of every kind of element, and every example job.

ngspice gets the laws as a deck and a node set rounded to 10 mV to start from; it must satisfy its own equations all the same.
Volts are compared across every element whose ends lie in one island: between islands there is no figure.
"""

from __future__ import annotations

import random
import re
import subprocess
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import pytest

import loopwright.demo
from loopwright.job.read import read
from loopwright.job.sheet import LoadLaw
from loopwright.netlist.compile import compile_power, further_scenarios, scenarios
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
from loopwright.netlist.solve import Solution, solve
from loopwright.netlist.spice import deck
from often import often

DECKS = often(160)
AGREE_V = 1e-6
WELL_AGREE_V = 2e-9
"""In extended precision the worst of 1600 decks is 1.0e-9 V from where its currents balance as ngspice has it, and 7e-12 V here."""
WELL_OHM = 1000.0
"""A network is well-conditioned when no element sees more than this [Ω] of driving-point resistance: no point is held by leaks alone."""
STEP = "1e-12"
"""Relative step at which ngspice is asked to stop: at the deck's own 1e-9 it stops up to 1e-8 V short."""
MOST_SECOND_TRIES = DECKS // 25
MOST_UNSETTLED = max(DECKS // 100, 2)
LEAKS_ALONE_OHM = 1e7
"""Where points are held by leaks alone, rounding moves them by more than the step ngspice is asked to settle to: it may give up."""

SIREN = (False, False, False, True)
MAINS_OFF = BatteryState()
CONDITIONS = tuple(
    Scenario(name, state, mains, battery, recharging)
    for state in range(4)
    for name, mains, battery, recharging in (
        ("mains", True, MAINS_OFF, False),
        ("battery", False, MAINS_OFF, False),
        ("battery at 11.7 V", False, BatteryState(emf_v=11.7), False),
        ("end of discharge", False, BatteryState(at_cut_out=True), False),
        ("mains, no battery", True, BatteryState(present=False), False),
        ("recharging", True, BatteryState(present=False), True),
    )
)


def supply(draw: random.Random, name: str) -> Iterator[Element]:
    bus, zero = f"{name}.bus", f"{name}.0v"
    limit_a = draw.choice([draw.uniform(0.1, 0.4), draw.uniform(0.2, 3.0)])
    yield Source(f"{name}.mains", bus, zero, draw.uniform(13.2, 14.0), draw.uniform(0.02, 0.3), limit_a)
    if draw.random() < 0.8:
        yield Battery(f"{name}.battery", bus, zero, draw.uniform(12, 13), draw.uniform(0.01, 0.1), draw.uniform(0.01, 0.1), 10.5)
    if draw.random() < 0.7:
        yield Charger(f"{name}.charge", bus, zero, 11.4, draw.uniform(0.05, 2.0), draw.choice([0.1, 0.4, 1000.0]))
    yield Contact(f"{name}.siren.path", bus, f"{name}.siren", 0.1, SIREN)
    yield Resistance(f"{name}.aux.path", bus, f"{name}.aux", 0.15)
    yield Diode(f"{name}.guarded.diode", bus, f"{name}.guarded", 0.6, draw.uniform(0.01, 0.1))
    yield PullUp(f"{name}.pull-up", f"{name}.in", zero, 5.0, draw.choice([1000.0, 4700.0]))
    yield Resistance(f"{name}.loop", f"{name}.in", zero, draw.choice([2200.0, 9400.0]))


def random_network(seed: int) -> Netlist:
    """Return a network of one or two supplies and up to thirty loads, some in loops, some overloaded, some without a joined 0 V."""
    draw = random.Random(seed)
    names = ["p", "q"][: draw.randint(1, 2)]
    elements = [element for name in names for element in supply(draw, name)]
    places = [(f"{name}.{output}", f"{name}.0v") for name in names for output in ("aux", "aux", "siren", "guarded")]
    root = {place: place[1] for place in places}
    heavy, joined = draw.random() < 0.3, draw.random() < 0.7
    for number in range(draw.randint(3, 30)):
        (plus, minus), own = draw.choice(places), (f"n{number}.plus", f"n{number}.minus")
        ohm, amps = draw.uniform(0.1, 8.0), draw.uniform(0.001, 0.3 if heavy else 0.04)
        shared = draw.random() < 0.1
        own = (own[0], minus) if shared else own
        elements.append(Resistance(f"w{number}.plus", plus, own[0], ohm))
        elements += [] if shared else [Resistance(f"w{number}.minus", minus, own[1], ohm)]
        steps = tuple(amps * share for share in (0.3, 0.4, 0.5, 1.0))
        elements.append(Load(f"load{number}", *own, draw.choice(list(LoadLaw)), steps, draw.uniform(6, 11), 12.0))
        places.append(own)
        root[own] = root[plus, minus]
        if draw.random() < 0.15:
            near = [place for place in places if joined or root[place] == root[own]]
            elements.append(Resistance(f"loop{number}", own[0], draw.choice(near)[0], draw.uniform(1, 10)))
    if len(names) == 2 and joined:
        elements.append(Resistance("0v", "p.0v", "q.0v", 0.2))
        elements += [Resistance("bus", "p.bus", "q.bus", 0.1)] if draw.random() < 0.4 else []
    draw.shuffle(elements)
    return Netlist(elements=tuple(elements), references=tuple(f"{name}.0v" for name in names), title=f"random {seed}")


@dataclass(frozen=True, kw_only=True)
class Compared:
    """How one deck went: worst difference, worst driving-point resistance, whether it took a full node set, whether ngspice settled."""

    title: str
    worst_v: float
    seen_ohm: float
    second_try: bool
    settled: bool = True


def operating_point(ngspice: str, text: str, count: int) -> np.ndarray | None:
    """Return the node volts ngspice finds; None when it does not converge."""
    printed = subprocess.run([ngspice, "-b"], input=text, capture_output=True, text=True, check=False, timeout=120)
    volts = [float(word) for word in re.findall(r"^v\(n\d+\) = (\S+)", printed.stdout, re.MULTILINE)]
    return np.array(volts) if len(volts) == count else None


def driving_point_ohm(solution: Solution, column: int, a: np.ndarray, b: np.ndarray) -> float:
    """Return the largest resistance [Ω] seen from any pair of points (a, b), every law standing as its slope at the solution."""
    wires = [e for e in solution.netlist.elements if isinstance(e, Resistance | Contact)]
    law = solution.branches
    _, slope, _ = law.tangent(column, solution.branch_volts()[:, column])
    ends_a = np.concatenate(([solution.index[e.a] for e in wires], law.a)).astype(int)
    ends_b = np.concatenate(([solution.index[e.b] for e in wires], law.b)).astype(int)
    siemens = np.concatenate((solution.conductance_s[:, column], slope))
    matrix = np.diag(solution.grounds[:, column])
    for rows, cols, sign in ((ends_a, ends_a, 1), (ends_b, ends_b, 1), (ends_a, ends_b, -1), (ends_b, ends_a, -1)):
        np.add.at(matrix, (rows, cols), sign * siemens)
    inverse = np.linalg.inv(matrix)
    return float(np.max(np.abs(inverse[a, a] + inverse[b, b] - inverse[a, b] - inverse[b, a])))


def compare(ngspice: str, solution: Solution, column: int) -> Compared:
    netlist, names = solution.netlist, list(solution.index)
    theirs, second_try = None, False
    for digits in (2, 17):
        second_try = digits == 17
        near = dict(zip(names, (round(volts, digits) for volts in solution.volts[:, column].tolist()), strict=True))
        text = deck(netlist, solution.scenarios[column], grounds=solution.references(column), start_v=near)
        theirs = operating_point(ngspice, text.replace("reltol=1e-9", f"reltol={STEP}"), len(names))
        if theirs is not None:
            break
    a = np.array([solution.index[e.a] for e in netlist.elements])
    b = np.array([solution.index[e.b] for e in netlist.elements])
    inside = solution.island[a, column] == solution.island[b, column]
    a, b = a[inside], b[inside]
    seen_ohm = driving_point_ohm(solution, column, a, b)
    if theirs is None:
        return Compared(title=netlist.title, worst_v=np.nan, seen_ohm=seen_ohm, second_try=True, settled=False)
    ours = solution.volts[:, column]
    worst = float(np.max(np.abs((theirs[a] - theirs[b]) - (ours[a] - ours[b]))))
    return Compared(title=netlist.title, worst_v=worst, seen_ohm=seen_ohm, second_try=second_try)


def conditions_met(solution: Solution, column: int) -> Iterator[str]:
    """Yield the name of every element's working condition: its kind and the piece of its law."""
    for row, element in enumerate(solution.branches.elements):
        word = element.law.value if isinstance(element, Load) else type(element).__name__
        yield f"{word} {solution.piece[row, column]}"


@pytest.fixture(scope="module")
def solutions() -> list[tuple[Solution, int]]:
    """Return every random network solved in four conditions, and the one that is compared: each of them in its turn."""
    return [(solve(random_network(seed), four_from(seed)), 0) for seed in range(DECKS)]


def four_from(seed: int) -> tuple[Scenario, ...]:
    """Return the condition whose turn it is and three far from it: that company makes no difference is a law of its own."""
    return tuple(CONDITIONS[(seed + apart) % len(CONDITIONS)] for apart in range(0, len(CONDITIONS), 6))


def test_random_networks(ngspice: str, solutions: list[tuple[Solution, int]]) -> None:
    with ThreadPoolExecutor(2) as pool:
        tried = list(pool.map(lambda one: compare(ngspice, *one), solutions))
    compared, unsettled = [one for one in tried if one.settled], [one for one in tried if not one.settled]
    well = [one for one in compared if one.seen_ohm < WELL_OHM]
    second = sum(one.second_try for one in compared)
    report = (
        f"{len(compared)} decks, worst {max(one.worst_v for one in compared):.1e} V; {len(well)} well-conditioned, worst "
        f"{max(one.worst_v for one in well):.1e} V; {second} needed the full node set; {len(unsettled)} not settled by ngspice"
    )
    print(report)
    assert len(compared) >= DECKS - MOST_UNSETTLED, report
    assert [one for one in unsettled if one.seen_ohm < LEAKS_ALONE_OHM] == [], report
    assert [one for one in compared if one.worst_v > AGREE_V] == [], report
    assert [one for one in well if one.worst_v > WELL_AGREE_V] == [], report
    assert len(well) > DECKS // 4, report
    assert second <= MOST_SECOND_TRIES, report


def test_the_random_networks_meet_every_piece_of_every_law(solutions: list[tuple[Solution, int]]) -> None:
    met = Counter(word for solution, column in solutions for word in conditions_met(solution, column))
    asked = ["Source 0", "Source 1", "Source 2", "Battery 0", "Battery 1", "Charger 0", "Charger 1", "Charger 2"]
    asked += [
        "Diode 0",
        "Diode 1",
        "PullUp 0",
        "constant-current 0",
        "constant-current 1",
        "constant-power 0",
        "constant-power 1",
        "resistive 0",
    ]
    assert {word: met[word] for word in asked if met[word] < DECKS // 48} == {}
    two_islands = [1 for solution, column in solutions if {"p.0v", "q.0v"} <= set(solution.references(column))]
    assert len(two_islands) > DECKS // 20


def test_there_are_example_jobs() -> None:
    assert loopwright.demo.names()


@pytest.mark.parametrize("name", loopwright.demo.names())
def test_example_jobs(name: str, ngspice: str) -> None:
    """Every condition of every example job, within 1 µV across every element."""
    job = read(loopwright.demo.text(name)).job
    assert job is not None
    network = compile_power(job)
    solution = solve(network.netlist, (*scenarios(), *further_scenarios()))
    with ThreadPoolExecutor(2) as pool:
        compared = list(pool.map(lambda column: compare(ngspice, solution, column), range(len(solution.scenarios))))
    assert [one.settled for one in compared] == [True] * 20
    assert [one for one in compared if one.worst_v > AGREE_V] == []
