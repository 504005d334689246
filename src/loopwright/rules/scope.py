"""Checks on what this program may speak about: the ruleset named, grades, and devices that protect life."""

from __future__ import annotations

from loopwright.job.sheet import Kind
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.ruleset import rulesets
from loopwright.rules.worked import some
from loopwright.values.finding import Finding, Severity

REFUSAL = "The design of fire, carbon-monoxide or medical alarm is not done here"
EN = "en-grade-"


def check_ruleset(facts: Facts) -> list[Finding]:
    """The job names a ruleset that is known."""
    name = facts.job.region.ruleset
    if name in rulesets():
        return []
    return [
        Finding(
            code="ruleset-unknown",
            severity=Severity.GAP,
            subject="region/ruleset",
            sentence=f"There is no ruleset called {name}; what is stated in the job alone is held against it.",
            remedy=f"Name one of {', '.join(sorted(rulesets()))}.",
            source="job-document",
        )
    ]


def check_life_safety(facts: Facts) -> list[Finding]:
    """Devices that protect life are counted on the supply and otherwise left to those who may design them."""
    names = [name for name in facts.job.equipment if facts.job.sheet_of(name).kind is Kind.LIFE_SAFETY]
    if not names:
        return []
    draws = [draw.amperes() for name in names for draw in facts.job.sheet_of(name).loads.values()]
    unset_a, alarm_a = sum(draw[0] for draw in draws), sum(draw[-1] for draw in draws)
    return [
        Finding(
            code="life-safety-on-supply",
            severity=Severity.NOTE,
            subject=f"equipment/{names[0]}",
            sentence=f"{some([label_of(facts.job, name) for name in names])} protects life; its {unset_a:.3f} A "
            f"({alarm_a:.3f} A in alarm) are counted on the supply. "
            f"{REFUSAL}.",
            remedy="Have it checked by those who may design it, by the standard it falls under.",
            source="practice",
        )
    ]


def check_grades(facts: Facts) -> list[Finding]:
    """No piece of equipment is of a lower grade than the system is to be."""
    name = facts.ruleset.key
    if not name.startswith(EN):
        return []
    grade = int(name.removeprefix(EN))
    low = [item for item in facts.job.equipment if (own := facts.job.sheet_of(item).grade) is not None and own < grade]
    if not low:
        return []
    lowest = min(facts.job.sheet_of(item).grade or grade for item in low)
    return [
        Finding(
            code="grade-too-low",
            severity=Severity.MUST,
            subject=f"equipment/{low[0]}",
            sentence=f"{some([label_of(facts.job, item) for item in low])}: declared below grade {grade}, which makes the whole system "
            f"grade {lowest}.",
            remedy=f"Fit equipment of grade {grade} or higher, or have the grade asked for lowered by whoever asked.",
            clause="the system's grade is that of its lowest component",
            source="en-50131-1-grade",
        )
    ]
