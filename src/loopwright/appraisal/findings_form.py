"""The findings of a job as plain records for other programs: words and numbers only, no number that JSON cannot write."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loopwright.appraisal.appraise import Appraisal
from loopwright.values.figure import Figure
from loopwright.values.finding import Finding, Severity
from loopwright.values.source import source


@dataclass(frozen=True, kw_only=True, slots=True)
class RulesetForm:
    """The ruleset the job was checked against."""

    key: str
    title: str
    edition: str
    as_of: str


@dataclass(frozen=True, kw_only=True, slots=True)
class SummaryForm:
    """How many findings there are of each severity."""

    must: int
    should: int
    note: int
    gap: int


@dataclass(frozen=True, kw_only=True, slots=True)
class FigureForm:
    """A figure of a finding, with its unit; one that is over range, or has no meaning, has no value."""

    key: str
    label: str
    value: float | None
    unit: str
    over_range: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class FindingForm:
    """One finding: code, severity, the place in the document it is about, what is wrong, what would put it right, on whose word."""

    code: str
    severity: str
    subject: str
    sentence: str
    remedy: str
    clause: str
    source: str
    source_title: str
    standing: str
    figures: tuple[FigureForm, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class FindingsForm:
    """Everything found, the gravest first; what tells something of the codes, where it was asked for, after the rest."""

    title: str
    stage: str
    ruleset: RulesetForm
    summary: SummaryForm
    findings: tuple[FindingForm, ...]


def findings_form(appraisal: Appraisal, *, private: bool = False) -> FindingsForm:
    """Return the findings for another program; with ``private``, those that tell something of the codes after them."""
    rules = appraisal.ruleset
    found = (*appraisal.findings, *(appraisal.private if private else ()))
    return FindingsForm(
        title=appraisal.job.title,
        stage=str(appraisal.job.stage),
        ruleset=RulesetForm(key=rules.key, title=rules.title, edition=rules.edition, as_of=str(rules.as_of)),
        summary=SummaryForm(**{str(severity): sum(each.severity is severity for each in found) for severity in Severity}),
        findings=tuple(_finding(each) for each in found),
    )


def _finding(finding: Finding) -> FindingForm:
    registered = source(finding.source)
    return FindingForm(
        code=finding.code,
        severity=str(finding.severity),
        subject=finding.subject,
        sentence=finding.sentence,
        remedy=finding.remedy,
        clause=finding.clause,
        source=finding.source,
        source_title=registered.title,
        standing=str(registered.standing),
        figures=tuple(figure_form(each) for each in finding.figures),
    )


def figure_form(figure: Figure) -> FigureForm:
    """Return a figure for another program."""
    known = figure.value is not None and math.isfinite(figure.value)
    over = figure.value is not None and math.isinf(figure.value)
    value = float(figure.value) if known and figure.value is not None else None
    return FigureForm(key=figure.key, label=figure.label, value=value, unit=figure.unit, over_range=over)
