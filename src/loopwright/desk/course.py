"""Where a call stands: the one question to ask now, what may be said, what may be so, and when to stop.

Openings lead from a complaint to something the model knows; then the next question is the check a caller can do with no tool and no lid off
that is expected to tell most a minute. Until the caller is identified nothing is said or asked that concerns this design.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from loopwright.appraisal.appraise import Appraisal
from loopwright.desk.caller import is_of_hold_up
from loopwright.desk.case import CHECK, HINDRANCE, NO_DANGER, OPENING, Case, Said
from loopwright.desk.figures import IN_ALARM, Verdict
from loopwright.desk.normal import HOUR_S, answer, charging_h, hours, should_show, standby_of, verdicts
from loopwright.desk.opening import Choice, Danger, asks, complaints, dangers
from loopwright.desk.question import (
    Question,
    also_told,
    check_question,
    choice_of,
    hindrance_question,
    key_of,
    named,
    opening_question,
    queue_of,
)  # fmt: skip
from loopwright.explain.caution import in_full
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.expected.charging import RECOVERING
from loopwright.explain.expected.expect import Expectation
from loopwright.explain.expected.setting import Applies, Cause, Hindrance, wont_set
from loopwright.explain.expected.trouble import TroubleKind
from loopwright.explain.explain import part_of
from loopwright.explain.explanation import Cause as Fault
from loopwright.explain.explanation import Explanation, NextCheck
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import Noted, Observations, seen_of, settle
from loopwright.explain.power.part import PART as POWER
from loopwright.explain.telling import entry_of
from loopwright.explain.unclear import Unclear
from loopwright.explain.weigh.likelihood import Seen
from loopwright.explain.written import Unreadable
from loopwright.job.document import Job

CALLER = "caller"
LEAST_TURN = 0.05
"""A check changes what is done after the call if what it may show leads elsewhere, and rightly, in so many calls at least (a choice)."""
MOST_CHECKS = 12
"""So many checks are asked of a caller at most: for more nobody stays on the line (a choice)."""
MOSTLY = 0.5
ENOUGH = 0.9
"""Parts for a visit are those of the likeliest causes that together reach this share of all causes."""
LEAST_PART = 0.03
LIKELY_PART = 0.1
"""A part is named in the sentence of the end if it is wanted in so many calls at least (a choice)."""
SPEAKS = 2.0
"""A cause is one to send for if it makes something that was told so many times likelier than it is with nothing wrong (a choice)."""
Explaining = Callable[[Observations, Callable[[Check], bool]], Explanation]
"""Returns what follows from what was told, with the next check among those that may be done."""
SAFE = (
    "Nobody opens a box, climbs, or touches wires or a battery.",
    "No code is said on the telephone, not even by the one it belongs to; of pass-words only the one agreed for this.",
    "Where they feel unsafe they leave, and call the police.",
)
"""What may be said to anybody (common practice, no source)."""
NOT_UNTIL = (
    "Until the caller is identified nothing is said of codes, isolating, resetting, setting in spite of a condition, or of this system."
)
NOTHING_FURTHER = "Nothing further the caller can do would change what we do"
KEPT_BY = "This keeps it from being set."
NOTHING_TOLD = (
    "Nothing was told that can be weighed. Back leads to the question before, and to what else it may be about; where it is none of those, "
    "take down what the caller sees and hears, and send a visit with the usual kit."
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Visit:
    """What to send: parts with the chance they are wanted, the cautions, what may be the cause."""

    parts: tuple[tuple[str, float], ...]
    cautions: tuple[str, ...]
    causes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Course:
    """Where a call stands. ``step`` is danger, stop, caller, complaint, question or end.

    ``say`` may be said to anybody, ``verdicts`` are for whoever ``identified`` allows; ``done`` is the sentence of the end, gone on with
    in the ``part`` of the room On site where there is one.
    """

    step: str
    danger: Danger | None = None
    question: Question | None = None
    say: tuple[str, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    hindrances: tuple[Cause, ...] = ()
    found: Explanation | None = None
    left_out: tuple[str, ...] = ()
    done: str = ""
    part: str = ""
    visit: Visit | None = None


def course(case: Case, appraisal: Appraisal, explaining: Explaining) -> Course:
    """Return where a call stands."""
    if case.danger in dangers():
        return Course(step="stop", danger=dangers()[case.danger])
    if case.danger != NO_DANGER:
        return Course(step="danger")
    if not case.caller.verified:
        return Course(step="caller", say=SAFE)
    if case.complaint not in complaints():
        return Course(step="complaint", say=SAFE)
    about = complaints()[case.complaint]
    say = (*about.say, *SAFE)
    if (ended := _ended(case)) is not None:
        return Course(step="end", say=say, done=ended.end, part=ended.part)
    question = _opening(case, appraisal.job, about.ask)
    if not case.caller.identified:
        return Course(step="question" if question else "end", question=question, say=say, done="" if question else NOT_UNTIL)
    should = should_show(case, appraisal)
    told = verdicts(case, appraisal, should)
    causes = _hindrances(case, appraisal.job, should) if case.complaint == "wont-set" else ()
    observed, left_out = observations(case, appraisal, should)
    found = None
    if observed.seen:
        found = explaining(observed, _may(case, appraisal.job))
    if question is None and not any(cause.applies is Applies.YES for cause in causes):
        asked = (hindrance_question(cause) for cause in causes if cause.applies is Applies.ASK)
        question = next((each for each in asked if case.answered(each.key) is None), None)
    hinders = any(cause.applies is Applies.YES for cause in causes)
    settled = hinders or (bool(told) and all(each.normal for each in told) and not causes)
    patient = sum(said.key.startswith(f"{CHECK}:") for said in case.standing) < MOST_CHECKS
    if question is None and found is not None and not found.stop and not settled and patient:
        turning = [check for check in found.next_checks if turns(check) >= LEAST_TURN]
        best = max(turning, key=lambda check: check.bits / max(check.minutes, 0.1), default=None)
        question = check_question(appraisal.job, best) if best is not None else None
    common = {"say": say, "verdicts": told, "hindrances": causes, "found": found, "left_out": left_out}
    if question is not None:
        return Course(step="question", question=question, **common)  # type: ignore[arg-type]
    visit = None if (settled and not hinders) or (found is not None and found.nothing > MOSTLY) else _visit(found)
    return Course(step="end", done=_done(told, causes, found, visit), visit=visit, **common)  # type: ignore[arg-type]


def _ended(case: Case) -> Choice | None:
    """Return the answer that was an end, None where none was one that may be said to this caller."""
    for said in case.standing:
        kind, _, name = said.key.partition(":")
        choice = choice_of(asks()[name], said.answer) if kind == OPENING and name in asks() else None
        if choice is not None and choice.end and (case.caller.identified or not asks()[name].guarded):
            return choice
    return None


def turns(check: NextCheck) -> float:
    """Return in which share of calls a check leads to something else than what it shows most often, and that is so."""
    usual = max(check.outlook, key=lambda each: each.chance, default=None)
    return sum(each.chance * each.leads_chance for each in check.outlook if usual is not None and each.leads != usual.leads)


def _opening(case: Case, job: Job, ask: tuple[str, ...]) -> Question | None:
    """Return the first opening question without an answer that may be put to this caller."""
    for name in queue_of(case, ask):
        row = asks()[name]
        if case.answered(f"{OPENING}:{name}") is None and (case.caller.identified or not row.guarded):
            question = opening_question(job, row)
            if question is not None and not _is_answered(case, name):
                return question
    return None


def _is_answered(case: Case, name: str) -> bool:
    """Return whether an answer to another question is one to this: what was never off is not back, what restarts is lit before."""
    return (name == "back" and hours(case, "outage") == 0) or (name == "keypad-lit" and answer(case, "keypad-when") == IN_ALARM)


def observations(case: Case, appraisal: Appraisal, should: Expectation) -> tuple[Observations, tuple[str, ...]]:
    """Return what the answers tell explain, what follows from hours among it, and a sentence for each that tells nothing here."""
    seen, left_out = list[Seen](), list[str]()
    keypad = answer(case, "keypad")
    told = [(said.question, noted_of(said)) for said in case.standing if said.where and said.settles]
    told += [
        (said.question, noted_of(_also(said, row)))
        for said in case.standing
        for row in also_told(appraisal.job, said.key, said.answer, keypad)
    ]
    about = complaints()[case.complaint]
    told += [(about.words, Noted(**about.seen))] if about.seen else []
    for words, noted in told:
        try:
            seen.append(seen_of(appraisal.job, noted, Instrument()))
        except (Unclear, Unreadable) as error:
            left_out.append(f"{words}: {error}")
    recharging = _recharging(case, appraisal, should)
    if recharging is not None and any(part_of(each.check) == POWER for each in seen):
        seen.append(seen_of(appraisal.job, recharging, Instrument()))
    kept, contradictions = settle(seen)
    return Observations(seen=kept, contradictions=contradictions), tuple(left_out)


def _also(said: Said, row: Mapping[str, str]) -> Said:
    """Return what an answer tells besides, as if it had been answered by itself."""
    told: Mapping[str, Any] = row
    return Said(key=said.key, at=said.at, by=said.by, question=said.question, answer=said.answer, **told)


def noted_of(said: Said) -> Noted:
    """Return an answer as an observation file has it."""
    answer = said.told_answer or (said.answer if said.look or said.told else "")
    return Noted(where=said.where, at=said.place, state=said.state, shows=said.shows, look=said.look, told=said.told, answer=answer)


def _recharging(case: Case, appraisal: Appraisal, should: Expectation) -> Noted | None:
    """Return whether a battery is still within its time of charging, which hours told answer better than a question; None if not known."""
    standby = standby_of(appraisal)
    if standby is None or (hours(case, "outage") is None and not hours(case, "battery-since")):
        return None
    waits = [
        each.wait_s for each in should.troubles if each.kind is TroubleKind.BATTERY_LOW and each.place == f"equipment/{standby.supply}"
    ]
    within = any(wait is not None and (charging_h(case) or 0.0) * HOUR_S < wait[1] for wait in waits)
    return Noted(where=POWER, look=RECOVERING, at=standby.supply, answer="yes" if within else "no")


def _may(case: Case, job: Job) -> Callable[[Check], bool]:
    """Return which checks may be asked of the caller: those with no tool and no lid off that were not passed over, and no hold-up's."""
    passed = {said.key for said in case.standing if said.key.startswith(f"{CHECK}:")}

    def may(check: Check) -> bool:
        if check.by != CALLER or (check.kind is CheckKind.LOOK and check.fault == RECOVERING and hours(case, "back") is not None):
            return False
        if is_of_hold_up(job, check.where) or is_of_hold_up(job, check.place):
            return False
        return not passed or check_key(check) not in passed

    return may


def check_key(check: Check) -> str:
    """Return the key under which a check is asked."""
    return key_of(named(entry_of(check)))


def _hindrances(case: Case, job: Job, should: Expectation) -> tuple[Cause, ...]:
    """Return what can keep the area from being set, what the caller said of each taken in; nothing where the design has no area."""
    area = answer(case, "area") or (next(iter(job.areas)) if len(job.areas) == 1 else "")
    if area not in job.areas:
        return ()
    said = {each.key.partition(":")[2]: each.answer for each in case.standing if each.key.startswith(f"{HINDRANCE}:")}
    denied = [name for name, told in said.items() if told == "no" and name in set(Hindrance)]
    zone = answer(case, "zone-open")
    if zone == "none":
        denied.append(Hindrance.ZONE_OPEN)
    found = wont_set(
        job,
        area,
        should,
        open_zones=[zone] if zone in job.zones else [],
        denied=[Hindrance(name) for name in denied],
    )
    told = [_with_answer(cause, said.get(cause.hindrance, "")) for cause in found]
    order = (Applies.YES, Applies.ASK, Applies.NO)
    return tuple(sorted(told, key=lambda cause: order.index(cause.applies)))


def _with_answer(cause: Cause, said: str) -> Cause:
    """Return a cause with what the caller said of it. Service mode left on stands in no document: it is asked."""
    if said == "yes":
        return replace(cause, applies=Applies.YES, sentence=cause.sentence.replace("It may be that", "The caller says that"))
    if cause.hindrance is Hindrance.SERVICE_MODE and cause.applies is Applies.NO and not said:
        return replace(cause, applies=Applies.ASK, sentence=cause.sentence.replace("Not so: t", "It may be that t"))
    return cause


def _speaks(cause: Fault) -> bool:
    """Return whether a cause makes something that was told likelier than it is with nothing wrong."""
    return any(step.chance_here > SPEAKS * step.chance_sound for step in cause.working)


def _visit(found: Explanation | None) -> Visit | None:
    """Return what to send for the likeliest causes; None where none is likely enough to send anybody for."""
    if found is None or not found.answers:
        return None
    parts: dict[str, float] = {}
    cautions: dict[str, None] = {}
    causes: list[str] = []
    answers = [each for each in found.answers if each.probability >= LEAST_PART and _speaks(each.causes[0])]
    whole = sum(each.probability for each in answers)
    reached = 0.0
    for each in answers:
        for cause in each.causes:
            for part in cause.parts:
                parts[part] = parts.get(part, 0.0) + cause.probability
            cautions |= dict.fromkeys(in_full(cause.caution))
        causes.append(f"{each.causes[0].words}, {each.causes[0].where}")
        reached += each.probability
        if reached >= ENOUGH * whole:
            break
    wanted = sorted(((part, chance) for part, chance in parts.items() if chance >= LEAST_PART), key=lambda row: -row[1])
    return Visit(parts=tuple(wanted), cautions=tuple(cautions), causes=tuple(causes))


def _done(told: tuple[Verdict, ...], causes: tuple[Cause, ...], found: Explanation | None, visit: Visit | None) -> str:
    """Return the sentence of the end."""
    applies = next((cause for cause in causes if cause.applies is Applies.YES), None)
    if applies is not None:
        more = "".join(
            f" It is kept by this too: {each.sentence}" for each in causes if each.applies is Applies.YES and each is not applies
        )
        return (
            f"{KEPT_BY} {applies.sentence} May set in spite of it: {', '.join(applies.override_by) or 'nobody'}. "
            f"May clear it: {', '.join(applies.clear_by) or 'nobody by a press; its cause goes'}.{more}"
        )
    if told and all(each.normal for each in told):
        return told[0].words
    if found is None:
        wrong = next((each.words for each in told if each.normal is False), "")
        return wrong or NOTHING_TOLD
    if found.nothing > MOSTLY:
        return f"{NOTHING_FURTHER}: what was told is as it should be. If it comes back, the caller notes when, and rings again."
    parts = ", ".join(part for part, chance in visit.parts if chance >= LIKELY_PART) if visit is not None else ""
    return f"{NOTHING_FURTHER}: send a visit with {parts or 'the usual kit; no part is likely enough to bring for this'}."
