"""``loopwright forecast``: every reading, by table and by JSON."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job.document import Stage
from loopwright.job.read import read

Run = Callable[..., Any]


@pytest.fixture(scope="module")
def business(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the path of the business example."""
    file = tmp_path_factory.mktemp("jobs") / "business.yaml"
    file.write_text(demo.text("business"), encoding="utf-8")
    return str(file)


@pytest.fixture(scope="module")
def appraisal(business: str) -> Appraisal:
    """Return the appraisal the command should tell."""
    return appraise(read(Path(business).read_bytes()).job)


def same(told: float | None, computed: float | None) -> bool:
    """Return whether a figure was told right: to six figures, null when there is none or it is infinite."""
    if computed is None or not math.isfinite(computed):
        return told is None
    return told is not None and math.isclose(told, computed, rel_tol=1e-5, abs_tol=1e-30)


def test_every_reading_is_the_one_computed(run: Run, business: str, appraisal: Appraisal) -> None:
    data = run("forecast", business, "--json").data()
    power = appraisal.power
    names = [scenario["name"] for scenario in data["scenarios"]]
    assert tuple(names) == power.names
    assert len(data["terminals"]) == len(power.loads)
    for told, load in zip(data["terminals"], power.loads, strict=True):
        assert f"{told['equipment']}.{told['load']}" == load.name
        assert told["plus"] != told["minus"]
        for column, name in enumerate(names):
            assert same(told["volts_v"][name], float(load.volts_v[column]))
            assert same(told["current_a"][name], float(load.amps_a[column]))
    for told, output in zip(data["outputs"], power.outputs, strict=True):
        assert told["output"] == output.name
        assert same(told["limit_a"], output.limit_a)
        assert all(same(told["current_a"][name], float(output.amps_a[column])) for column, name in enumerate(names))
    for told, supply in zip(data["supplies"], power.supplies, strict=True):
        assert told["supply"] == supply.name
        assert all(same(told["charge_a"][name], float(supply.charge_a[column])) for column, name in enumerate(names))
    for told, item in zip(data["batteries"], appraisal.standby, strict=True):
        assert same(told["capacity_ah"], item.fitted_ah)
        assert same(told["hours"]["to_cut_out_h"], item.to_cut_out_h)


def test_every_act_of_every_circuit_is_the_one_computed(run: Run, business: str, appraisal: Appraisal) -> None:
    data = run("forecast", business, "--json").data()
    assert [circuit["circuit"] for circuit in data["circuits"]] == [item.circuit for item in appraisal.circuits]
    ranges = set()
    for told, item in zip(data["circuits"], appraisal.circuits, strict=True):
        for act, computed in zip(told["acts"], item.acts, strict=True):
            assert (act["act"], act["device"]) == (str(computed.act.kind), computed.act.device)
            assert same(act["field_ohm"], computed.field_ohm)
            assert act["over_range"] is math.isinf(computed.field_ohm)
            assert act["high_over_range"] is math.isinf(computed.high_ohm)
            assert same(act["volts_v"], computed.volts_v)
            assert same(act["misread_probability"], computed.misread)
            assert act["taken_for"] == (None if computed.taken_for is None else str(computed.taken_for))
            ranges.add(act["over_range"])
    assert ranges == {True, False}


def test_the_stage_given_is_echoed_and_the_document_left_alone(run: Run, business: str) -> None:
    before = Path(business).read_bytes()
    plain, other = run("forecast", business, "--json").data(), run("forecast", business, "--json", "--stage", "proved").data()
    assert (plain["stage"], plain["stage_from"]) == ("in-service", "document")
    assert (other["stage"], other["stage_from"]) == ("proved", "option")
    assert plain["terminals"] == other["terminals"]
    assert Path(business).read_bytes() == before


@pytest.mark.parametrize("stage", ["kit-on-bench", "first-fix"])
def test_before_power_only_ohms_are_told(run: Run, business: str, stage: str) -> None:
    data = run("forecast", business, "--json", "--stage", stage).data()
    assert data["applies"]["live_readings"] is False
    assert data["terminals"] == data["outputs"] == data["supplies"] == data["batteries"] == data["scenarios"] == []
    acts = [act for circuit in data["circuits"] for act in circuit["acts"]]
    assert any(act["field_ohm"] is not None for act in acts)
    assert all(act["volts_v"] is act["taken_for"] is act["misread_probability"] is None for act in acts)
    told = run("forecast", business, "--stage", stage)
    assert " V" not in told.out
    assert " Ω" in told.out
    assert f"Stage: {stage}. " in told.out


def test_a_stage_that_is_none_lists_those_there_are(run: Run, business: str) -> None:
    done = run("forecast", business, "--stage", "finished")
    assert done.status == 2
    assert all(stage in done.err for stage in Stage)


def test_the_help_names_every_stage(run: Run) -> None:
    words = " ".join(run("forecast", "--help").out.split())
    assert ", ".join(Stage) in words


def test_tables_hold_every_device_and_their_figures_stand_under_each_other(run: Run, business: str, appraisal: Appraisal) -> None:
    out = run("forecast", business).out
    for load in appraisal.power.loads:
        assert f"\n{load.name} " in out
    lines = out.split("\n")
    head = next(number for number, line in enumerate(lines) if line.startswith("device "))
    edge = lines[head].index("needs") + len("needs")
    rows = lines[head + 1 : head + 1 + len(appraisal.power.loads)]
    assert all(row[edge - 2 : edge + 1] == " V " for row in rows)
    assert not any(line.endswith(" ") for line in lines)


def test_a_device_short_of_volts_is_said_to_be_in_a_word(run: Run, business: str, appraisal: Appraisal) -> None:
    out = run("forecast", business).out.split("\n")
    for load in appraisal.power.loads:
        row = next(line for line in out if line.startswith(f"{load.name} "))
        assert (" short " in row) is bool((load.margin_v < 0).any())
