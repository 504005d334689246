"""What a fault makes a meter read, against ngspice: the networks with the faults in them as decks, on example and made-up jobs."""

from __future__ import annotations

import math
import random
import re
import subprocess
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

import loopwright.demo
from loopwright.demo.synthetic import synthetic
from loopwright.explain.circuit.part import circuit_variants
from loopwright.explain.power.check import SCENARIOS
from loopwright.explain.power.part import PowerVariant, power_variants
from loopwright.explain.power.place import PowerPlaces, focus_on, near
from loopwright.job.read import read
from loopwright.netlist.compile import compile_power
from loopwright.netlist.element import Netlist, Resistance, Scenario
from loopwright.netlist.loop import NODE_LEAK_S, LoopNetwork, read_loops
from loopwright.netlist.spice import deck

CIRCUIT_FAULTS, POWER_FAULTS = 72, 24
AGREE = 1e-6
STEADY = Scenario("steady", 0, True, SCENARIOS[0].battery)


def operating_point(ngspice: str, text: str, count: int) -> np.ndarray:
    printed = subprocess.run([ngspice, "-b"], input=text, capture_output=True, text=True, check=False, timeout=120)
    volts = [float(word) for word in re.findall(r"^v\(n\d+\) = (\S+)", printed.stdout, re.MULTILINE)]
    assert len(volts) == count, printed.stdout[-2000:] + printed.stderr[-2000:]
    return np.array(volts)


def in_act(network: LoopNetwork, act: int) -> Netlist:
    """Return the circuit as it is in an act, with the leaks that hold points cut off from everything."""
    changed = dict(network.acts[act].changes)
    elements = [e._replace(ohm=changed[e.name]) if isinstance(e, Resistance) and e.name in changed else e for e in network.netlist.elements]
    leaks = [Resistance(f"leak:{p}", p, network.common, 1 / NODE_LEAK_S) for p in network.netlist.nodes() if p != network.common]
    return replace(network.netlist, elements=(*elements, *leaks))


def test_faults_of_random_circuits(ngspice: str) -> None:
    draw = random.Random(11)
    jobs = [read(loopwright.demo.text("business")).job, read(synthetic(40, 5)).job]
    cases = []
    while len(cases) < CIRCUIT_FAULTS:
        job = draw.choice(jobs)
        hypotheses, variants = circuit_variants(job, draw.choice(list(job.circuits)))
        for variant in draw.sample(variants[1:], 9):
            reading = read_loops([variant.network])[0]
            act = draw.randrange(len(variant.network.acts))
            cases.append(
                (hypotheses[variant.owner].fault.id, variant.network, act, float(reading.volts_v[act]), float(reading.field_ohm[act]))
            )

    def theirs(case: tuple[str, LoopNetwork, int, float, float]) -> float:
        _, network, act, _, _ = case
        netlist = in_act(network, act)
        names = netlist.nodes()
        # The decks carry the leak of the supply network's laws, which the circuits' solver has no need of.
        lines = deck(netlist, STEADY, grounds=(network.common,)).splitlines(keepends=True)
        volts = operating_point(ngspice, "".join(line for line in lines if not line.startswith("Rleak")), len(names))
        return float(volts[names.index(network.terminal)] - volts[names.index(network.common)])

    with ThreadPoolExecutor(2) as pool:
        found = list(pool.map(theirs, cases))
    assert len({case[0] for case in cases}) > 20
    for (fault, network, _, volts, ohm), other in zip(cases, found, strict=True):
        assert volts == pytest.approx(other, rel=AGREE, abs=1e-8), fault
        if math.isfinite(ohm):
            pull = network.pull_up
            # The ohms a meter reads with both wires out, from ngspice's volts through the divider.
            assert ohm == pytest.approx(pull.ohm * other / (pull.open_v - other), rel=10 * AGREE, abs=1e-4), fault


def test_faults_of_supplies_and_runs(ngspice: str) -> None:
    draw = random.Random(3)
    job = read(loopwright.demo.text("business")).job
    network = compile_power(job)
    devices = [m.equipment for m in network.landings if m.runs and m.supply == "control"]
    focus = focus_on(job, network, draw.sample(devices, 6), [], ["control"])
    netlist = near(network, focus)
    hypotheses, variants = power_variants(PowerPlaces(job, network, focus, netlist), netlist)
    chosen = draw.sample(variants[1:], POWER_FAULTS)

    def worst(variant: PowerVariant) -> float:
        solution, column = variant.solved.solution, draw.randrange(len(SCENARIOS))
        names = list(solution.index)
        start = {name: round(volts, 6) for name, volts in zip(names, solution.volts[:, column].tolist(), strict=True)}
        text = deck(solution.netlist, SCENARIOS[column], grounds=solution.references(column), start_v=start)
        other = operating_point(ngspice, text, len(names))
        pairs = [(m.plus, m.minus) for m in focus.landings if m.plus in solution.index and m.minus in solution.index]
        pairs.append(("control.bus", "control.0v"))
        out = 0.0
        for plus, minus in pairs:
            ours = float(solution.across(plus, minus)[column])
            if not math.isnan(ours):
                out = max(out, abs(ours - float(other[names.index(plus)] - other[names.index(minus)])))
        return out

    for variant in chosen:
        assert worst(variant) < 5 * AGREE, hypotheses[variant.owner].key
