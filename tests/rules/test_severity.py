"""The law of severities: a source that is not binding never makes a must, whatever the ruleset and whoever asks."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.edit import RemoveField, SetField
from loopwright.rules.ruleset import rulesets
from loopwright.values.finding import Finding, Severity
from loopwright.values.source import source, sources

Appraise = Callable[..., Appraisal]

SMALL = SetField("sheets/batteries/seven/capacity_ah", "0.5")
UNBOUND = [key for key, item in sources().items() if not item.binding]


@pytest.mark.parametrize("key", UNBOUND)
def test_no_must_can_be_built_on_a_source_that_does_not_bind(key: str) -> None:
    with pytest.raises(ValueError, match="cannot make a must"):
        Finding(code="x", severity=Severity.MUST, subject="", sentence="", source=key)
    assert Finding(code="x", severity=Severity.SHOULD, subject="", sentence="", source=key).source == key


@pytest.mark.parametrize("ruleset", rulesets())
def test_every_limit_of_a_ruleset_names_its_source_and_clause(ruleset: str) -> None:
    for limit in rulesets()[ruleset].limits.values():
        assert source(limit.source) and limit.clause and limit.unit
        assert limit.least is not None or limit.most is not None


@pytest.mark.parametrize("ruleset", [name for name in rulesets() if name != "custom"])
def test_hours_of_a_ruleset_make_a_should_with_their_mark_and_hours_of_the_job_a_must(ruleset: str, appraised: Appraise) -> None:
    by_ruleset = appraised(SetField("region/ruleset", ruleset), RemoveField("region/standby_h"), RemoveField("region/alarm_min"), SMALL)
    found = next(f for f in by_ruleset.findings if f.code == "battery-too-small")
    assert found.severity is Severity.SHOULD
    assert str(source(found.source).standing) in found.sentence
    by_job = appraised(SetField("region/ruleset", ruleset), SMALL)
    found = next(f for f in by_job.findings if f.code == "battery-too-small")
    assert found.severity is Severity.MUST


def test_what_ageing_adds_makes_a_should(appraised: Appraise) -> None:
    """A new battery of this size carries the job's hours; the same at the end of its life does not."""
    found = appraised(SetField("region/standby_h", "6"), SetField("sheets/batteries/seven/capacity_ah", "0.95")).findings
    assert next(f for f in found if f.code == "battery-too-small").severity is Severity.SHOULD


def test_alarm_minutes_nobody_stated_do_not_make_the_must(appraised: Appraise) -> None:
    # The alarm leg alone takes a new battery over what is fitted: 0.74 Ah for the hours at rest, 0.87 Ah with 15 minutes of alarm.
    hours = (SetField("region/standby_h", "6"), SetField("sheets/batteries/seven/capacity_ah", "0.8"))
    stated = next(f for f in appraised(*hours).findings if f.code == "battery-too-small")
    assumed = next(f for f in appraised(*hours, RemoveField("region/alarm_min")).findings if f.code == "battery-too-small")
    assert (stated.severity, assumed.severity) == (Severity.MUST, Severity.SHOULD)


def test_a_charging_current_that_hangs_on_a_figure_from_memory_makes_no_must(appraised: Appraise) -> None:
    """A stated limit is above the battery's by their sheets; without one, how flat a flat battery is decides, and that is from memory."""
    charger = "sheets/equipment/panel-8/supply/charger"
    most = SetField("sheets/batteries/seven/most_charge_a", "300 mA")
    limited, free = (appraised(most, *more).findings for more in ((), (SetField(f"{charger}/kind", "constant-voltage"),)))
    found = [next(f for f in findings if f.code == "charge-current-too-high") for findings in (limited, free)]
    assert [f.severity for f in found] == [Severity.MUST, Severity.SHOULD]


def test_volts_through_copper_clad_aluminium_make_no_must(appraised: Appraise) -> None:
    """That such a core resists 1.55 times as much as copper is common practice, no source; a resistance stated by its sheet binds."""
    far, sheet = SetField("cables/W06/length_m", "90"), "sheets/cables/six-core"
    clad = (far, SetField(f"{sheet}/material", "copper-clad-aluminium"))
    unstated = (*clad, RemoveField(f"{sheet}/ohm_per_km"))
    found = [next(f for f in appraised(*edits).findings if f.code == "volts-below-minimum") for edits in ((far,), clad, unstated)]
    assert [f.severity for f in found] == [Severity.MUST, Severity.MUST, Severity.SHOULD]


@pytest.mark.parametrize(("stage", "severity"), [("design", Severity.GAP), ("first-fix", Severity.GAP), ("in-service", Severity.MUST)])
def test_what_is_not_done_yet_is_a_gap_until_it_is_due(stage: str, severity: Severity, appraised: Appraise) -> None:
    found = appraised(SetField("stage", stage), RemoveField("cables/W05/feeds")).findings
    assert [f.severity for f in found if f.code == "not-fed"] == [severity]


def test_findings_stand_most_binding_first(appraised: Appraise) -> None:
    order = [Severity.MUST, Severity.SHOULD, Severity.GAP, Severity.NOTE]
    found = appraised(
        SMALL, RemoveField("zones/z1/areas"), SetField("circuits/c01/end_at", "control-unit"), RemoveField("region/standby_h")
    )
    ranks = [order.index(f.severity) for f in found.findings]
    assert ranks == sorted(ranks) and len(set(ranks)) >= 3


@pytest.mark.parametrize(("report", "hours"), [("yes", 30), ("local", 60), ("no", 60)])
def test_reported_loss_of_mains_halves_the_hours_of_the_higher_grades(report: str, hours: float, appraised: Appraise) -> None:
    """60 h become 30 h where loss of mains is reported: EN 50131-1 clause 9.2, note (published, page not named)."""
    grade_3 = (SetField("region/ruleset", "en-grade-3"), RemoveField("region/standby_h"))
    assert appraised(*grade_3, SetField("signalling/reports/mains-failure", report)).standby[0].requirement.standby_h == hours


@pytest.mark.parametrize(("entered", "gravity"), [("", [Severity.SHOULD]), ("every-set", [Severity.MUST]), ("full", [])])
def test_a_door_that_begins_no_entry_in_a_part_set_is_as_grave_as_is_said_of_coming_in_then(
    appraised: Appraise, entered: str, gravity: list[Severity]
) -> None:
    said = [SetField("areas/house/entered", entered)] if entered else []
    found = appraised(SetField("zones/z1/response/night", "immediate"), *said).findings
    assert [each.severity for each in found if each.code == "entry-door-refused"] == gravity
