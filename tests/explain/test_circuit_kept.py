"""A circuit's predictions are kept by what they come from: the digits are those of the whole job, and never those of another one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import loopwright.demo
from loopwright.explain.circuit.part import circuit_part, worked_out
from loopwright.explain.hypothesis import Part
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.job.sheet import InputsSheet

JOB = read(loopwright.demo.text("business")).job
CIRCUIT, OTHER = "c05", "c11"


def same(one: Part, other: Part) -> bool:
    """Return whether two parts say the same, to the last digit and word."""
    a, b = one.predicted, other.predicted
    figures = (np.array_equal(getattr(a, name), getattr(b, name), equal_nan=True) for name in ("mean", "sd", "owner", "share", "present"))
    checks = [(c, c.words, c.minutes, c.needs, c.by) for c in a.checks] == [(c, c.words, c.minutes, c.needs, c.by) for c in b.checks]
    chances = a.chances.keys() == b.chances.keys() and all(np.array_equal(a.chances[column], b.chances[column]) for column in a.chances)
    return (
        all(figures)
        and checks
        and chances
        and one.hypotheses == other.hypotheses
        and (one.hidden, one.operated) == (other.hidden, other.operated)
    )


@pytest.mark.parametrize("circuit", sorted(JOB.circuits)[::3])
def test_what_is_left_out_of_the_job_moves_nothing(circuit: str) -> None:
    assert same(circuit_part(JOB, circuit), worked_out(JOB, circuit))


def changed(job: Any, of: str, key: str, **fields: Any) -> Any:  # noqa: ANN401 - a job or its sheets, and any field
    rows = getattr(job, of)
    return replace(job, **{of: {**rows, key: replace(rows[key], **fields)}})


def inputs_of(job: Job) -> InputsSheet:
    inputs = job.sheet_of(UNIT).inputs
    assert inputs is not None
    return inputs


HOP = JOB.circuits[CIRCUIT].path[-1]
UNIT = (JOB.circuits[CIRCUIT].input or "").partition(".")[0]
ELSEWHERE: dict[str, Callable[[Job], Job]] = {
    "another circuit": lambda job: changed(job, "circuits", OTHER, leak_ohm=9000.0),
    "another run": lambda job: changed(job, "cables", JOB.circuits[OTHER].path[0].cable, length_m=77.0),
    "another device": lambda job: changed(job, "equipment", JOB.circuits[OTHER].path[0].device or "", label="The far one"),
    "title": lambda job: replace(job, title="Another title"),
    "zones": lambda job: replace(job, zones={}),
}
ITS_OWN: dict[str, Callable[[Job], Job]] = {
    "circuit": lambda job: changed(job, "circuits", CIRCUIT, leak_ohm=9000.0),
    "run": lambda job: changed(job, "cables", HOP.cable, length_m=77.0),
    "device": lambda job: changed(job, "equipment", HOP.device or "", label="The far one"),
    "device's sheet": lambda job: replace(job, sheets=changed(job.sheets, "equipment", job.equipment[HOP.device or ""].sheet, loads={})),
    "cable's sheet": lambda job: replace(
        job, sheets=changed(job.sheets, "cables", job.cables[HOP.cable].sheet, core_to_core_pf_per_m=300.0)
    ),
    "unit's sheet": lambda job: replace(
        job,
        sheets=changed(job.sheets, "equipment", job.equipment[UNIT].sheet, inputs=replace(inputs_of(job), pull_up_ohm=3000.0)),
    ),
    "box": lambda job: replace(job, joints={HOP.device or "": next(iter(job.joints.values()))}),
    "the only circuit": lambda job: replace(job, circuits={CIRCUIT: job.circuits[CIRCUIT]}),
}


@pytest.mark.parametrize("edit", ELSEWHERE)
def test_an_edit_elsewhere_leaves_it_as_it_was(edit: str) -> None:
    before = circuit_part(JOB, CIRCUIT)
    assert circuit_part(ELSEWHERE[edit](JOB), CIRCUIT) is before


@pytest.mark.parametrize("edit", ITS_OWN)
def test_an_edit_of_its_own_is_worked_out(edit: str) -> None:
    before, job = circuit_part(JOB, CIRCUIT), ITS_OWN[edit](JOB)
    after = circuit_part(job, CIRCUIT)
    assert same(after, worked_out(job, CIRCUIT))
    assert not same(after, before)
    assert same(circuit_part(JOB, CIRCUIT), before)
