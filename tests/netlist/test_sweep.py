"""Many faults on one factorisation give what solving each faulty network by itself gives."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from loopwright.job.sheet import LoadLaw
from loopwright.netlist.compile import scenarios
from loopwright.netlist.element import Battery, Contact, Load, Netlist, Resistance, Source
from loopwright.netlist.fault import Bridge, ChangeOhm, Fault, Leak, OpenCore, SwapEnds, apply
from loopwright.netlist.solve import solve
from loopwright.netlist.sweep import sweep


def branching(devices: int, seed: int, limit_a: float) -> Netlist:
    """Return a network of runs branching from one output, a siren output, and a supply with a battery."""
    random = Random(seed)
    elements: list[Source | Battery | Contact | Resistance | Load] = [
        Source("mains", "bus", "0v", 13.8, 0.05, limit_a),
        Battery("battery", "bus", "0v", 12.8, 0.03, 0.05, 10.5),
        Contact("siren", "bus", "siren+", 0.1, (False, False, False, True)),
        Resistance("aux", "bus", "aux+", 0.1),
    ]
    places = [("aux+", "0v"), ("siren+", "0v")]
    for number in range(devices):
        plus, minus = random.choice(places)
        far, back = f"d{number}+", f"d{number}-"
        ohm = random.uniform(0.3, 4.0)
        elements += [Resistance(f"r{number}+", plus, far, ohm), Resistance(f"r{number}-", minus, back, ohm)]
        amps = random.uniform(0.005, 0.03)
        law = random.choice(list(LoadLaw))
        elements.append(Load(f"l{number}", far, back, law, (amps, amps, amps, 2 * amps), random.uniform(7.0, 10.0), 12.0))
        places.append((far, back))
    return Netlist(elements=tuple(elements), references=("0v",))


def faults_of(netlist: Netlist, seed: int, count: int) -> list[Fault]:
    """Return ``count`` random single faults of every kind a sweep takes."""
    random = Random(seed)
    wires = [e for e in netlist.elements if isinstance(e, Resistance)]
    nodes = netlist.nodes()
    out: list[Fault] = []
    for _ in range(count):
        wire = random.choice(wires)
        kind = random.randrange(4)
        if kind == 0:
            out.append(OpenCore(wire.name))
        elif kind == 1:
            out.append(ChangeOhm(wire.name, wire.ohm * random.uniform(0.2, 30.0)))
        elif kind == 2:
            out.append(Leak(*random.sample(nodes, 2), 10 ** random.uniform(1.0, 5.0)))
        else:
            out.append(Bridge(*random.sample(nodes, 2)))
    return out


@pytest.mark.parametrize(("seed", "limit_a"), [(1, 5.0), (2, 5.0), (3, 0.6), (4, 1.2)])
def test_a_sweep_equals_solving_each_fault(seed: int, limit_a: float) -> None:
    """Twelve watched pairs under sixty faults, on mains and at the end of discharge, supply limit in play or not."""
    netlist = branching(30, seed, limit_a)
    wanted = scenarios()
    solution = solve(netlist, wanted)
    faults = faults_of(netlist, seed, 60)
    watch = [(f"d{n}+", f"d{n}-") for n in range(12)]
    for column in (3, 11):
        found = sweep(solution, column, faults, watch)
        for position, fault in enumerate(faults):
            alone = solve(apply(netlist, fault), (wanted[column],))
            expected = [float(alone.across(*pair)[0]) for pair in watch]
            assert found.volts_v[:, position] == pytest.approx(expected, abs=2e-6), fault


def test_a_fault_that_brings_the_limit_into_play_is_solved_by_itself() -> None:
    """A dead short at the bus is beyond any correction of the sound network."""
    netlist = branching(10, 5, 1.0)
    solution = solve(netlist, scenarios())
    found = sweep(solution, 0, [Bridge("bus", "0v"), OpenCore("r0+")], [("d0+", "d0-")])
    short = solve(apply(netlist, Bridge("bus", "0v")), (scenarios()[0],))
    assert found.volts_v[0, 0] == pytest.approx(float(short.across("d0+", "d0-")[0]), abs=1e-6)
    assert np.isfinite(found.volts_v).all()


def test_a_fault_of_another_kind_is_refused() -> None:
    """Swapping a core is no change of one resistance."""
    solution = solve(branching(3, 6, 5.0), scenarios())
    with pytest.raises(KeyError):
        sweep(solution, 0, [SwapEnds("r0+")], [("d0+", "d0-")])
