"""Checks on events that are of no use unless they are reported, and on times in which nothing is watched."""

from __future__ import annotations

from loopwright.programme.event import silent_here
from loopwright.programme.unprotected import unprotected
from loopwright.rules.facts import Facts
from loopwright.values.finding import Finding, Severity


def check_silent_events(facts: Facts) -> list[Finding]:
    """Hold-up and duress make no sound where they happen, so they are reported to somebody."""
    signalling, found = facts.job.signalling, []
    for event, why in silent_here(facts.job).items():
        if signalling.sends(event) or (event not in signalling.reports and (signalling.paths or signalling.centre is not None)):
            continue
        found.append(
            Finding(
                code="silent-event-not-reported",
                severity=Severity.SHOULD,
                subject="signalling/reports",
                sentence=f"{event[:1].upper()}{event[1:]} ({why}) is reported to nobody, and is silent where it happens.",
                remedy=f"Report {event} to a receiving centre, or take {why} out.",
                source="practice",
            )
        )
    return found


def check_unprotected(facts: Facts) -> list[Finding]:
    """Of every time in which something is not watched, somebody knows how long it lasts at most."""
    found = []
    for each in unprotected(facts.job):
        # A time that is not entered is a gap of its own.
        if each.most_s is not None or each.unknown.endswith(("entry_s", "exit_s")):
            continue
        remedy = (
            "Enter the longest time the area stays set, holidays too."
            if each.unknown.endswith("longest_set_h")
            else "Let it end with a time."
        )
        found.append(
            Finding(
                code="unprotected-time-unknown",
                severity=Severity.GAP,
                subject=each.subject,
                sentence=f"{each.what[:1].upper()}{each.what[1:]}: not watched ({each.why}), {each.ends}; nobody has said for how long.",
                remedy=remedy,
                source="job-document",
            )
        )
    return found
