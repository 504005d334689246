"""The document's electrical meaning: runs entered from either end, joints, shared returns, equipment in the same box."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loopwright.demo import text
from loopwright.job.read import read
from loopwright.netlist.compile import compile_power, scenarios
from loopwright.netlist.solve import solve

JOB = read(text("business")).job


def volts(job, point: str, unit: str) -> list[float]:
    """Return the volts from a point to a unit's 0 V in the twelve scenarios."""
    network = compile_power(job)
    return solve(network.netlist, scenarios()).across(point, f"{unit}.0v").tolist()


def test_a_run_may_be_entered_from_either_end() -> None:
    """Turned round, W31 feeds the same sounder with the same volts over the same way."""
    run = JOB.cables["W31"]
    turned = replace(JOB, cables={**JOB.cables, "W31": replace(run, start=run.end, end=run.start)})
    first, second = compile_power(JOB), compile_power(turned)
    there = [next(m for m in network.landings if m.equipment == "sounder-press") for network in (first, second)]
    assert there[0] == there[1]
    assert there[0].runs == ("W31",)
    assert volts(turned, "sounder-press.supply", "sounder-press") == pytest.approx(volts(JOB, "sounder-press.supply", "sounder-press"))


def test_equipment_in_the_same_box_has_the_output_at_its_terminals() -> None:
    """The communicator inside the control unit's box reads the very volts of the output."""
    landing = next(m for m in compile_power(JOB).landings if m.equipment == "communicator")
    assert (landing.plus, landing.minus, landing.runs) == ("control.aux-1", "control.0v", ())


def test_a_shared_return_has_one_core() -> None:
    """The trigger pair of the street sounder shares the hold-off's return: one minus conductor in W32, two plus."""
    names = [element.name for element in compile_power(JOB).netlist.elements if element.name.startswith("W32")]
    assert sorted(names) == ["W32.minus", "W32.plus", "W32/1.plus"]


def test_a_joint_adds_its_resistance_to_each_core() -> None:
    """The run into the box in the packing room carries the joint's 0.02 Ω on both cores."""
    job = replace(JOB, joints={"box-packing": replace(JOB.joints["box-packing"], joint_ohm=0.0)})
    with_joint, without = (compile_power(j).netlist.named("W24.plus") for j in (JOB, job))
    assert with_joint.ohm - without.ohm == pytest.approx(0.02)


def test_a_zero_volt_core_to_equipment_in_the_box_lands_on_the_box() -> None:
    """A 0 V core that ends at the communicator inside the control unit's box joins the control unit's 0 V."""
    run = replace(JOB.cables["W06"], end="communicator", start="supply-2", bus=False)
    joined = compile_power(replace(JOB, cables={**JOB.cables, "W06": run})).netlist.named("W06.0v")
    assert {joined.a, joined.b} == {"supply-2.0v", "control.0v"}
