"""Wrong answers that were once given without a word: a feed from nowhere, a battery that is not there, a remedy that does not cure."""

from __future__ import annotations

import numpy as np

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.demo import text
from loopwright.job.edit import Edit, RemoveField, SetField, apply
from loopwright.job.read import read
from loopwright.values.finding import Severity


def after(*edits: Edit) -> Appraisal:
    """Return the appraisal of the bindery after some edits."""
    document = text("business")
    for edit in edits:
        document = apply(document, edit).text
    return appraise(read(document).job)


def codes(appraisal: Appraisal) -> list[str]:
    """Return the codes of all findings."""
    return [finding.code for finding in appraisal.findings]


def test_a_run_moved_to_another_unit_does_not_feed_from_there() -> None:
    """W60 carries the second supply's bells; begun at the control unit it carries nothing, and both sounders behind it are dark."""
    appraisal = after(SetField("cables/W60/start", "control"))
    assert {"sounder-landing.supply", "sounder-archive.supply"} <= set(appraisal.power.unfed)
    assert "feed-astray" in codes(appraisal) and codes(appraisal).count("not-fed") == 2
    control = appraisal.power.supply("control").load_a
    np.testing.assert_allclose(control, after().power.supply("control").load_a, atol=1e-6)


def test_without_a_battery_nothing_is_said_of_volts_on_battery() -> None:
    """One finding names the missing battery; no device is blamed for volts it cannot have."""
    appraisal = after(RemoveField("equipment/control/battery"))
    assert "battery-absent" in codes(appraisal)
    blamed = [f.code for f in appraisal.findings if f.severity is Severity.MUST and "battery" in f.sentence.lower()]
    assert blamed == ["supply-overloaded-charging"]
    assert "volts-below-minimum" not in codes(appraisal)


def test_the_battery_a_finding_advises_is_enough_once_fitted() -> None:
    """12 Ah meets the formula and lasts 11 hours of 12: the advice is 18 Ah, and with the sounder's cable put right nothing is left."""
    before = next(f for f in after().findings if f.code == "battery-too-small")
    assert before.remedy.startswith("Fit 18 Ah")
    cured = after(SetField("equipment/control/battery/sheet", "tb-18"), SetField("cables/W31/sheet", "four-half"))
    assert not {"battery-too-small", "standby-too-short", "volts-below-minimum"} & set(codes(cured))
    item = next(item for item in cured.standby if item.supply == "control")
    assert item.longest.hours > 12


def test_a_circuit_that_leads_through_another_run_is_found() -> None:
    """c11 goes to the yard door; W12 leads to the foot of the stairs."""
    found = [f for f in after(SetField("circuits/c11/path/0/cable", "W12")).findings if f.code == "circuit-way-broken"]
    assert len(found) == 1 and "does not go there" in found[0].sentence
