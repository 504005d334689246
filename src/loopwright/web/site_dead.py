"""Dead checks of a visit: what is entered and taken out, what is signed past with a reason, and what keeps the steps of power-up shut."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from loopwright.appraisal.appraise import Appraisal
from loopwright.explain.dead.check import NO_POWER, DeadCheck, DeadKind
from loopwright.explain.dead.entry import Checked, entered, stops
from loopwright.explain.dead.every import dead_checks
from loopwright.explain.dead.judge import Judged, Weight
from loopwright.explain.expected.situation import ORDER, Step
from loopwright.explain.terminal import circuit_of
from loopwright.job.document import Job
from loopwright.store.visit import Entry, Past, Visit
from loopwright.web.site_change import Moment, SiteChange, refuse
from loopwright.web.site_reading import instrument_of, understood

POWERED = frozenset(ORDER[ORDER.index(Step.DEAD_CHECKS) :])
"""The steps that are shut while a finding stands: the dead checks themselves are not done, nor anything after them."""
LEAST_REASON = 8


class Noted(NamedTuple):
    """A check with the entry that stands, what it comes to, and what was signed past it."""

    checked: Checked
    entry: Entry | None
    past: Past | None


def checks_of(appraisal: Appraisal) -> tuple[DeadCheck, ...]:
    """Return the dead checks of a job."""
    return dead_checks(appraisal.job, appraisal.power.network, appraisal.circuits)


def noted(job: Job, checks: tuple[DeadCheck, ...], visit: Visit) -> list[Noted]:
    """Return every check with what this visit says of it, the last entry counting."""
    meter = instrument_of(visit.meter)
    standing = {_key(job, entry): entry for entry in visit.standing if entry.state == NO_POWER}
    past = {each.key: each for each in visit.past}
    out = []
    for check in checks:
        entry = standing.get(check.key)
        judged = None
        if entry is not None:
            try:
                judged = entered(check, entry.reading, entry.shows, meter)
            except ValueError as error:
                judged = Judged(Weight.ODD, str(error))
        checked = Checked(check=check, text=(entry.reading or entry.shows) if entry else "", judged=judged)
        out.append(Noted(checked, entry, past.get(check.key)))
    return out


def stopping(rows: list[Noted]) -> tuple[Checked, ...]:
    """Return what keeps the steps of power-up shut."""
    return stops([row.checked for row in rows], [row.past.key for row in rows if row.past is not None])


def dead_changed(change: SiteChange, visit: Visit, appraisal: Appraisal, now: Moment) -> Visit:
    """Return the visit with a dead check entered (``dead``) or signed past (``past``). Raises JobError with the field and the words."""
    checks = {check.key: check for check in checks_of(appraisal)}
    check = checks.get(change.place)
    if check is None:
        refuse("", "There is no such dead check in this job any more.")
    if change.do == "past":
        return _past(change, visit, check, appraisal, now)
    reading = understood(change.fields.get("reading", ""), change.unit)
    word = change.fields.get("shows", "")
    try:
        entered(check, reading, word, instrument_of(visit.meter))
    except ValueError as error:
        refuse("reading", str(error))
    place = "" if check.kind is DeadKind.PAIR else str(check.kind)
    entry = Entry(id=change.mark, at=now.minute, by=now.by, where=check.where, place=place, state=NO_POWER, reading=reading, shows=word)
    kept = tuple(each for each in visit.entries if each.state != NO_POWER or _key(appraisal.job, each) != check.key)
    # What is entered anew has to be signed past anew.
    return replace(visit, entries=(*kept, entry), past=tuple(each for each in visit.past if each.key != check.key))


def shut(change: SiteChange, visit: Visit, appraisal: Appraisal) -> None:
    """Refuse a step of power-up while a finding stands. Raises JobError."""
    if change.do != "step" or not change.on or change.step not in POWERED:
        return
    if not any(entry.state == NO_POWER for entry in visit.standing):
        return
    found = stopping(noted(appraisal.job, checks_of(appraisal), visit))
    if found:
        first = found[0]
        sentence = first.judged.sentence if first.judged is not None else ""
        refuse("step", f"Power stays off. {first.check.words}: {first.text}. {sentence} Mend it and read it again.")


def _past(change: SiteChange, visit: Visit, check: DeadCheck, appraisal: Appraisal, now: Moment) -> Visit:
    row = next(each for each in noted(appraisal.job, (check,), visit))
    if row.checked.judged is None or row.checked.judged.weight in (Weight.RIGHT, Weight.ODD):
        refuse("text", "There is nothing here that stops the power-up.")
    if row.checked.judged.weight is Weight.NEVER:
        refuse("text", f"This cannot be signed past. {row.checked.judged.sentence}")
    reason = " ".join(change.text.split())
    if len(reason) < LEAST_REASON:
        refuse("text", "Write the reason in a few words: what it is, and why power may come on all the same.")
    kept = tuple(each for each in visit.past if each.key != check.key)
    return replace(visit, past=(*kept, Past(key=check.key, reason=reason, by=now.by, at=now.minute)))


def _key(job: Job, entry: Entry) -> str:
    return f"{circuit_of(job, entry.where) or entry.where}/{entry.place or DeadKind.PAIR}"
