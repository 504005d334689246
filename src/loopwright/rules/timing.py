"""Checks on times: entry, exit, sounders and the abort window against the ruleset."""

from __future__ import annotations

from loopwright.job.sheet import Kind
from loopwright.rules.facts import Facts
from loopwright.rules.ruleset import Limit
from loopwright.rules.worked import marked, severity_by, some
from loopwright.values.finding import Finding, Severity


def check_area_times(facts: Facts) -> list[Finding]:
    """Entry and exit times of every area are within the ruleset."""
    found, unknown = [], []
    for name, area in facts.job.areas.items():
        for field, code, words in (("entry_s", "entry-time", "Entry time"), ("exit_s", "exit-time", "Exit time")):
            value = getattr(area, field)
            if value is None and facts.ruleset.limits_on(field):
                unknown.append(f"{words.lower()} of {area.name}")
            found += _against(facts, field, value, code=code, what=f"{words} of {area.name}", subject=f"areas/{name}/{field}")
        if area.entry_s is not None and facts.job.programme.abort_s is not None:
            both = area.entry_s + facts.job.programme.abort_s
            what = f"Entry time of {area.name} and abort window together"
            found += _against(facts, "entry_abort_s", both, code="entry-and-abort-time", what=what, subject=f"areas/{name}/entry_s")
    if unknown:
        found.append(_unknown("areas", unknown))
    return found


def check_programme_times(facts: Facts) -> list[Finding]:
    """Sounder time and abort window are within the ruleset, and so is every output that a sounder hangs on."""
    programme, found, unknown = facts.job.programme, [], []
    for field, code, what in (("sounder_s", "sounder-time", "Sounder time"), ("abort_s", "abort-time", "Abort window")):
        value = getattr(programme, field)
        if value is None and facts.ruleset.limits_on(field):
            unknown.append(what.lower())
        found += _against(facts, field, value, code=code, what=what, subject=f"programme/{field}")
    sounding = {load.landing.output for load in facts.power.loads if facts.job.sheet_of(load.landing.equipment).kind is Kind.SOUNDER}
    for name, rule in facts.job.outputs.items():
        if rule.terminal in sounding and rule.follows.startswith("alarm") and rule.duration_s is not None:
            what = f"Time of output {rule.terminal}, which a sounder hangs on,"
            found += _against(facts, "sounder_s", rule.duration_s, code="sounder-time", what=what, subject=f"outputs/{name}/duration_s")
    if unknown:
        found.append(_unknown("programme", unknown))
    return found


def _unknown(subject: str, names: list[str]) -> Finding:
    words = some(names)
    return Finding(
        code="time-missing",
        severity=Severity.GAP,
        subject=subject,
        sentence=f"{words[0].upper()}{words[1:]} {'is' if len(names) == 1 else 'are'} not entered.",
        remedy="Enter the times the unit is set to; the factory's are on its sheet.",
        source="job-document",
    )


def _against(facts: Facts, quantity: str, value: float | None, *, code: str, what: str, subject: str) -> list[Finding]:
    """Return a finding for every limit on a quantity that a value is outside of."""
    if value is None:
        return []
    return [
        Finding(
            code=code,
            severity=severity_by(limit.source),
            subject=subject,
            sentence=f"{what} is {value:g} s; {_limit_words(limit)}.",
            remedy=f"Set it to {_nearest(limit, value):g} s.",
            clause=limit.clause,
            source=limit.source,
        )
        for limit in facts.ruleset.limits_on(quantity)
        if not _inside(limit, value)
    ]


def _inside(limit: Limit, value: float) -> bool:
    return (limit.least is None or value >= limit.least) and (limit.most is None or value <= limit.most)


def _nearest(limit: Limit, value: float) -> float:
    if limit.least is not None and value < limit.least:
        return limit.least
    return limit.most if limit.most is not None else value


def _limit_words(limit: Limit) -> str:
    if limit.least is not None and limit.most is not None:
        words = f"{limit.least:g} to {limit.most:g} s are allowed"
    elif limit.most is not None:
        words = f"no more than {limit.most:g} s is allowed"
    else:
        words = f"no less than {limit.least:g} s is allowed"
    return f"{marked(words, limit.source)} by {limit.clause}"
