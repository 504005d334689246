"""What a reading is taken for, and what a part of a circuit is, in words that are true of the circuit."""

from __future__ import annotations

from functools import cache

import loopwright.demo
from loopwright.circuits.forecast import CircuitForecast, forecast_circuits, ohm_figure
from loopwright.circuits.said import part_words, taken_words
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.job.sheet import Reads, Topology
from loopwright.netlist.loop import ActKind


@cache
def business() -> Job:
    return read(loopwright.demo.text("business")).job


@cache
def circuits() -> dict[str, CircuitForecast]:
    return {item.circuit: item for item in forecast_circuits(business())}


def test_a_circuit_of_two_zones_says_which_of_them_is_active() -> None:
    job = business()
    pairs = [name for name, circuit in job.circuits.items() if circuit.topology is Topology.PAIR]
    assert pairs
    for name in pairs:
        zone_of = {hop.device: zone.number for hop in job.circuits[name].path for zone in job.zones.values()
                   if hop.device is not None and zone.circuit == name and zone.part == (hop.part or "a")}  # fmt: skip
        acts = [act for act in circuits()[name].acts if act.act.kind is ActKind.ACTIVATED]
        assert len(acts) == 2
        for act in acts:
            assert taken_words(job, name, act.taken_for) == f"zone {zone_of[act.act.device]} active"
        assert taken_words(job, name, circuits()[name].act(ActKind.ALL_ACTIVATED).taken_for) == "both zones active"


def test_elsewhere_a_fault_is_a_fault_and_no_word_of_the_document_shows() -> None:
    job = business()
    plain = next(name for name, circuit in job.circuits.items() if circuit.topology is Topology.TRIPLE)
    for where in (plain, "control.sounders"):
        assert taken_words(job, where, Reads.FAULT) == "fault"
        assert taken_words(job, where, Reads.BOTH) == "active and fault"
        assert taken_words(job, where, None) == "nothing the sheet promises"


def test_the_working_of_a_circuit_names_its_parts_as_people_do() -> None:
    job = business()
    for name, item in circuits().items():
        for act in item.acts:
            for given in ohm_figure(job, item, act).working().inputs:
                assert not given.name.startswith(f"{name}."), given.name
    assert part_words(job, "c11", "c11.0.core-out") == f"{job.circuits['c11'].path[0].cable}, core out"
    assert part_words(job, "c11", "c11.0.alarm-resistor") == "alarm resistor in Yard door"
    assert part_words(job, "c11", "c11.end") == "end-of-line resistor"
    assert part_words(job, "control.sounders", "control.sounders.end") == "control.sounders.end"
