"""All power is lost and comes back: the set state, alarms of what warms up, and what is sent before."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from loopwright.job.document import Job
from loopwright.job.sheet import Kind
from loopwright.rehearse.rehearsal import rehearse
from rehearse.test_promises import broken, good


def with_unit(job: Job, **told: Any) -> Job:
    sheets = {key: replace(sheet, **told) if sheet.kind is Kind.CONTROL else sheet for key, sheet in job.sheets.equipment.items()}
    return replace(job, sheets=replace(job.sheets, equipment=sheets))


def test_a_unit_that_comes_back_as_it_was_keeps_the_promise() -> None:
    assert broken(with_unit(good(blind_s=60.0), after_power="as-before")) == {}


def test_a_unit_that_comes_back_unset_is_told_with_its_story() -> None:
    """SIA CP-01 4.4.3 draft (STD-077 of the values): the same set state resumes."""
    (only,) = broken(with_unit(good(blind_s=60.0), after_power="unset")).values()
    assert only.promise == "power" and only.subject.endswith("/after_power")
    assert "all power is lost" in only.lines[-2] and "House is unset" in only.lines[-1] and only.course


@pytest.mark.parametrize("blind_s, kept", [(60.0, True), (59.0, False), (0.0, False)])
def test_inputs_are_ignored_for_as_long_as_the_detectors_warm_up(blind_s: float, kept: bool) -> None:
    """The detectors of the example warm up for 60 s."""
    found = {name: each for name, each in broken(good(blind_s=blind_s)).items() if name.startswith("power")}
    assert (found == {}) == kept
    for each in found.values():
        assert each.lines[-1].startswith(f"{each.story[-2].at_s:g} s: Zone") and "alarm in House" in each.lines[-1]
        assert each.story[-1].at_s - each.story[-2 - (blind_s > 0)].at_s == blind_s


def test_a_supply_that_goes_is_sent_before_it_is_gone() -> None:
    job = good()
    reports = {**job.signalling.reports, "mains-failure": "no", "low-battery": "no"}
    found = broken(replace(job, signalling=replace(job.signalling, reports=reports)))
    only = found["power signalling/reports/mains-failure"]
    assert [scene.event.kind for scene in only.story][-1] == "power-lost" and not any("sent" in line for line in only.lines[-3:])
    reports |= {"low-battery": "yes"}
    assert "power signalling/reports/mains-failure" not in broken(replace(job, signalling=replace(job.signalling, reports=reports)))


def test_what_is_not_said_of_power_coming_back_is_told() -> None:
    told = rehearse(with_unit(good(blind_s=None), after_power=None)).not_covered
    assert any("data sheet does not say" in line for line in told) and any("inputs are ignored" in line for line in told)
