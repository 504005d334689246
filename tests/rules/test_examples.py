"""The example jobs: each planted defect is found by its code, and nothing else is a must."""

from __future__ import annotations

import pytest

from loopwright import demo
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.demo.synthetic import synthetic
from loopwright.job.read import read
from loopwright.values.finding import Severity

PLANTED = {
    ("volts-below-minimum", "equipment/sounder-press", Severity.MUST),
    ("battery-too-small", "equipment/control/battery", Severity.SHOULD),  # the hours of the grade were seen, their source is withheld
    ("supply-overloaded-charging", "equipment/supply-2", Severity.MUST),
    ("circuit-misread", "circuits/c11", Severity.SHOULD),
    ("common-area-detector", "zones/z02/areas", Severity.SHOULD),
    ("walk-in-too-slow", "areas/offices/entry_s", Severity.MUST),
    ("entry-door-refused", "zones/z04", Severity.SHOULD),  # in a part set it may be meant
}


@pytest.fixture(scope="module")
def business() -> Appraisal:
    return appraise(read(demo.text("business")).job)


def test_the_planted_defects_are_found(business: Appraisal) -> None:
    found = {(finding.code, finding.subject, finding.severity) for finding in business.findings}
    assert found >= PLANTED


def test_nothing_else_is_a_must(business: Appraisal) -> None:
    musts = {(finding.code, finding.subject) for finding in business.findings if finding.severity is Severity.MUST}
    assert musts == {(code, subject) for code, subject, severity in PLANTED if severity is Severity.MUST}


def test_what_puts_the_far_sounder_right_is_said_with_figures(business: Appraisal) -> None:
    finding = next(finding for finding in business.findings if finding.code == "volts-below-minimum")
    for words in ("W31", "0.5 mm²", "2 cores", "28.6 m"):
        assert words in finding.sentence + finding.remedy


def test_life_safety_is_refused_in_words(business: Appraisal) -> None:
    finding = next(finding for finding in business.findings if finding.code == "life-safety-on-supply")
    assert "is not done here" in finding.sentence and "0.012 A" in finding.sentence


def test_the_dwelling_has_no_must_and_one_siren_output_without_its_resistor() -> None:
    found = appraise(read(demo.text("dwelling")).job).findings
    assert not [finding.code for finding in found if finding.severity is Severity.MUST]
    assert [finding.subject for finding in found if finding.code == "output-without-resistor"] == ["equipment/panel"]


@pytest.mark.parametrize(("devices", "seed"), [(12, 1), (60, 2), (140, 3)])
def test_sound_premises_made_from_a_seed_have_no_must(devices: int, seed: int) -> None:
    found = appraise(read(synthetic(devices, seed)).job).findings
    assert not [(finding.code, finding.sentence) for finding in found if finding.severity is Severity.MUST]
