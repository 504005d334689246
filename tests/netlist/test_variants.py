"""Variants of a circuit read together, against each read by itself: the same digits, in every act, at every fault the catalogue knows."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from random import Random

import numpy as np
import pytest

import loopwright.demo
from loopwright.demo.synthetic import synthetic
from loopwright.explain.circuit.edit import Variants, edited, with_lifting
from loopwright.explain.circuit.part import circuit_variants
from loopwright.explain.circuit.reading import contacts_wanted
from loopwright.job.document import EndPlace, Job
from loopwright.job.read import read
from loopwright.job.sheet import Topology
from loopwright.netlist import loop, variants
from loopwright.netlist.element import Resistance
from loopwright.netlist.loop import LoopNetwork, compile_loop, read_loops
from loopwright.netlist.shared import Shared
from loopwright.netlist.variants import read_variants, spread_of

JOBS = [read(loopwright.demo.text("business")).job, read(synthetic(24, 3)).job]
AGREE = 1e-12
"""Both ways add up the same few conductances, at most in another order: the last of sixteen digits may differ."""


def odd_jobs() -> Iterator[tuple[Job, str]]:
    """Yield circuits of every wiring, with the end resistor in either place, and a row of devices."""
    draw = Random(8)
    for job in JOBS:
        for name in draw.sample(list(job.circuits), 2):
            yield job, name
    job, name = JOBS[1], next(c for c, circuit in JOBS[1].circuits.items() if len(circuit.path) == 1)
    circuit = job.circuits[name]
    for topology in (Topology.NONE, Topology.SINGLE):
        changed = dataclasses.replace(circuit, topology=topology, end_at=EndPlace.CONTROL_UNIT)
        yield dataclasses.replace(job, circuits={**job.circuits, name: changed}), name
    row = dataclasses.replace(circuit, path=circuit.path * 5)
    yield dataclasses.replace(job, circuits={**job.circuits, name: row}), name


@pytest.mark.parametrize(("job", "name"), list(odd_jobs()))
def test_together_as_by_themselves(job: Job, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    networks = [variant.network for variant in circuit_variants(job, name)[1]]
    wanted = contacts_wanted(networks[0])
    monkeypatch.setattr(loop, "LEAST_ROW", 0)
    ours = read_variants(networks, wanted)
    monkeypatch.setattr(variants, "AT_ONCE", 40)
    in_portions = read_variants(networks, wanted)
    assert all((getattr(ours, f.name) == getattr(in_portions, f.name)).all() for f in dataclasses.fields(ours))
    for row, (network, reading) in enumerate(zip(networks, read_loops(networks), strict=True)):
        assert ours.volts_v[row] == pytest.approx(reading.volts_v, rel=AGREE, abs=1e-15)
        assert ours.field_ohm[row] == pytest.approx(reading.field_ohm, rel=AGREE)
        assert ours.spread_ohm[row] == pytest.approx(spread_of(network, reading), rel=1e-9, abs=1e-9)
        assert ours.ohm[row] == pytest.approx([reading.ohm[act, reading.names.index(each)] for each, act in wanted], rel=AGREE)


def test_few_variants_need_to_be_read_by_themselves() -> None:
    """Only the end resistor in the other place turns the row of points round."""
    for job, name in odd_jobs():
        networks = list({id(v.network): v.network for v in circuit_variants(job, name)[1]}.values())
        assert len(Shared(networks).alone) <= 1


def test_ohms_of_ten_and_of_a_million_millions_in_any_act(monkeypatch: pytest.MonkeyPatch) -> None:
    """Single resistances anywhere between nothing and everything, moved ends and bridges, drawn at random."""
    monkeypatch.setattr(loop, "LEAST_ROW", 0)
    draw = Random(2)
    sound = compile_loop(JOBS[0], "c13")
    networks = [sound, *(odd(sound, draw) for _ in range(60))]
    ours = read_variants(networks)
    theirs = np.array([read_loops([network])[0].field_ohm for network in networks])
    assert ours.field_ohm == pytest.approx(theirs, rel=AGREE)
    assert len({tuple(row) for row in theirs.tolist()}) > 20


def odd(sound: LoopNetwork, draw: Random) -> LoopNetwork:
    """Return a network with one to three elements changed, moved or added."""
    elements = list(sound.netlist.elements)
    for _ in range(draw.randint(1, 3)):
        place = draw.randrange(len(elements))
        element = elements[place]
        if isinstance(element, Resistance):
            ohm = draw.choice([math.inf, 10.0 ** draw.uniform(-4, 12)])
            points = draw.sample([element.a, element.b, sound.common], 2)
            changed = element._replace(ohm=ohm), element._replace(a=element.b, b=element.a), element._replace(name="extra", ohm=ohm)
            kind = draw.randrange(3)
            if kind < 2:
                elements[place] = changed[kind]
            elif points[0] != points[1] and all(e.name != "extra" for e in elements):
                elements.append(changed[2]._replace(a=points[0], b=points[1]))
    return dataclasses.replace(sound, netlist=dataclasses.replace(sound.netlist, elements=tuple(elements)))


def test_lifting_taken_over_is_lifting_worked_out() -> None:
    """An edit that leaves alone what hangs at the devices takes over the acts of the sound circuit; the others do not."""
    taken = 0
    for job, name in odd_jobs():
        network = compile_loop(job, name)
        devices = {n: hop.device for n, hop in enumerate(job.circuits[name].path) if hop.device is not None}
        made = Variants(job, network, devices)
        first = f"{name}.0"
        names = {"far": first, "back": f"{first}.back", "core": f"{first}.core-out", "c": name}
        ways = [
            (("open", "{core}"),),
            (("bridge", "{far}", "{back}", "0.05"),),
            (("bridge", "{far}", "{c}.in", "3"),),
            (("move", "{core}", "{c}.in", "{back}"),),
            (("still",),),
        ]
        for way in ways:
            ours, theirs = made.edited(way, names), with_lifting(edited(job, network, way, names), devices)
            assert ours.acts == theirs.acts
            assert ours.netlist == theirs.netlist
            assert made.edited(way, names) is ours
            taken += ours.acts[-1] is made.sound.acts[-1]
    assert taken > 0
