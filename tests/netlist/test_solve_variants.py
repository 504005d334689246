"""Variants of a supply network solved together, against each solved by itself: every fault of the catalogue, and edits drawn at random."""

from __future__ import annotations

import dataclasses
import math
from random import Random

import numpy as np
import pytest

import loopwright.demo
from loopwright.demo.synthetic import synthetic
from loopwright.explain.catalogue import of_group
from loopwright.explain.power.check import SCENARIOS
from loopwright.explain.power.edit import power_edited
from loopwright.explain.power.place import PowerPlaces, focus_on, near
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.job.sheet import LoadLaw
from loopwright.netlist.compile import compile_power
from loopwright.netlist.element import Battery, Contact, Load, Netlist, Resistance, Scenario, Source
from loopwright.netlist.solve import SolveError, solve
from loopwright.netlist.solve_variants import solve_variants

AGREE = 1e-7
"""Volts and amperes: ten thousand times finer than any meter shows. Constant power is iterated to 1e-11 V, on factorisations in another
order."""


def compared(networks: list[Netlist], scenarios: tuple[Scenario, ...]) -> int:
    """Hold variants solved together against each by itself; return how many settled."""
    settled = 0
    for network, ours in zip(networks, solve_variants(networks, scenarios), strict=True):
        try:
            theirs = solve(network, scenarios)
        except SolveError:
            assert ours is None
            continue
        assert ours is not None
        settled += 1
        assert ours.netlist is network
        assert (ours.index, ours.branches.names, ours.branches.elements) == (theirs.index, theirs.branches.names, theirs.branches.elements)
        for name in ("conductance_s", "grounds", "energised"):
            assert (getattr(ours, name) == getattr(theirs, name)).all()
        assert ours.volts == pytest.approx(theirs.volts, abs=AGREE, rel=0)
        assert ours.currents == pytest.approx(theirs.currents, abs=AGREE, rel=0)
        joined = theirs.island[:, None] == theirs.island[None]
        assert ((ours.island[:, None] == ours.island[None]) == joined).all()
    return settled


@pytest.mark.parametrize(
    ("job", "whole"),
    [
        pytest.param(read(loopwright.demo.text("business")).job, True, id="several supplies, all states"),
        pytest.param(read(synthetic(60, 4)).job, False, id="quiet on mains"),
    ],
)
def test_every_fault_of_the_catalogue(job: Job, whole: bool) -> None:  # noqa: FBT001
    network = compile_power(job)
    devices = [m.equipment for m in network.landings if m.runs]
    focus = focus_on(job, network, Random(5).sample(devices, 2), [], [], whole=whole)
    netlist = near(network, focus)
    places = PowerPlaces(job, network, focus, netlist)
    networks = [netlist]
    for fault in of_group("power"):
        for spot in (spot for spot in places.spots(fault.at)[:1] if spot.has(fault.needs)):
            amounts = fault.amount.numbers()[-1:] if fault.amount else (0.0,)
            networks += [power_edited(netlist, way, spot.names | {"x": f"{x!r}"})[0] for way in fault.ways for x in amounts]
    assert compared(networks, SCENARIOS if whole else SCENARIOS[:1]) > 10


def odd(netlist: Netlist, draw: Random) -> Netlist:
    """Return a network with elements taken out, moved, changed or added, at random."""
    elements = list(netlist.elements)
    for number in range(draw.randint(1, 3)):
        place = draw.randrange(len(elements))
        element = elements[place]
        kind = draw.randrange(5)
        if kind == 0:
            elements.pop(place)
        elif kind == 1:
            a, b = draw.sample(netlist.nodes(), 2)
            elements.append(Resistance(f"more-{number}", a, b, 10 ** draw.uniform(-1, 4)))
        elif kind == 2:
            ends = (element.a, draw.choice(netlist.nodes()))
            elements.append(Load(f"load-{number}", *ends, draw.choice(list(LoadLaw)), (draw.uniform(0, 4),) * 4, 6.0, 12.0))
        elif isinstance(element, Resistance | Contact):
            elements[place] = Resistance(element.name, element.a, draw.choice([element.b, "nowhere"]), draw.choice([math.inf, 0.5, 30.0]))
        elif isinstance(element, Source):
            elements[place] = element._replace(open_v=draw.uniform(1, 15), limit_a=draw.uniform(0.1, 3))
        elif isinstance(element, Battery):
            elements[place] = element._replace(emf_v=draw.uniform(9, 13), inner_ohm=draw.uniform(0.01, 5))
        elif isinstance(element, Load):
            elements[place] = element._replace(amps=tuple(draw.uniform(0, 3) for _ in element.amps))
    return dataclasses.replace(netlist, elements=tuple(elements))


@pytest.mark.parametrize("seed", range(3))
def test_edits_drawn_at_random(seed: int) -> None:
    draw = Random(seed)
    netlist = compile_power(read(synthetic(14, seed + 1)).job).netlist
    assert compared([netlist, *(odd(netlist, draw) for _ in range(16))], SCENARIOS) >= 14


def test_what_limits_a_supply_is_settled_as_by_itself() -> None:
    """Loads of constant power beyond what a supply gives come down from no load by themselves, and only those."""
    base = (
        Source("mains", "bus", "0", 13.7, 0.05, 1.0),
        Resistance("lead", "bus", "far", 2.0),
        Load("keys", "far", "0", LoadLaw.POWER, (0.2,) * 4, 6.0, 12.0),
    )
    networks = [Netlist(elements=base, references=("0",))]
    networks += [
        Netlist(elements=(*base[:2], base[2]._replace(amps=(amps,) * 4)), references=("0",)) for amps in (0.5, 0.9, 1.1, 1.3, 2.0, 9.0)
    ]
    assert compared(networks, SCENARIOS[:1]) == len(networks)
    volts = [float(found.across("far", "0")[0]) for found in solve_variants(networks, SCENARIOS[:1]) if found is not None]
    assert volts == sorted(volts, reverse=True)
    assert volts[0] > 12 > 6 > volts[-1]
    assert np.isfinite(volts).all()
