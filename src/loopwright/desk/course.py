"""Where a call stands: the one question to ask now, what may be said, what may be so, and when to stop.

Openings lead from a complaint to something the model knows; then the next question is the check a caller can do with no tool and no lid off
that is expected to tell most a minute. Until the caller is identified nothing is said or asked that concerns this design.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from loopwright.appraisal.appraise import Appraisal
from loopwright.desk.caller import is_of_hold_up
from loopwright.desk.case import CHECK, HINDRANCE, NO_DANGER, OPENING, Case, Said
from loopwright.desk.normal import HOUR_S, Verdict, answer, charging_h, hours, should_show, standby_of, verdicts
from loopwright.desk.opening import Danger, asks, complaints, dangers
from loopwright.desk.question import Question, check_question, choice_of, hindrance_question, key_of, named, opening_question, queue_of
from loopwright.explain.caution import in_full
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.expected.charging import RECOVERING
from loopwright.explain.expected.expect import Expectation
from loopwright.explain.expected.setting import Applies, Cause, Hindrance, wont_set
from loopwright.explain.expected.trouble import TroubleKind
from loopwright.explain.explain import part_of
from loopwright.explain.explanation import Explanation
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import Noted, Observations, seen_of, settle
from loopwright.explain.power.part import PART as POWER
from loopwright.explain.telling import entry_of
from loopwright.explain.unclear import Unclear
from loopwright.explain.weigh.likelihood import Seen
from loopwright.explain.written import Unreadable
from loopwright.job.document import Job

CALLER = "caller"
LEAST_BITS = 0.1
"""A check that tells less than this [bit] changes nothing that is done after the call: a visit asks it better (a choice)."""
MOST_CHECKS = 12
"""So many checks are asked of a caller at most: for more nobody stays on the line (a choice)."""
MOSTLY = 0.5
ENOUGH = 0.9
"""Parts for a visit are those of the likeliest causes that together reach this share of all causes."""
LEAST_PART = 0.03
Explaining = Callable[[Observations, Callable[[Check], bool]], Explanation]
"""Returns what follows from what was told, with the next check among those that may be done."""
SAFE = (
    "Nobody opens a box, climbs, or touches wires or a battery.",
    "No code and no pass-word is said on the telephone, not even by the one it belongs to, but the pass-word agreed for this.",
    "Where they feel unsafe they leave, and call the police.",
)
"""What may be said to anybody (common practice, no source)."""
NOT_UNTIL = (
    "Until the caller is identified nothing is said of codes, isolating, resetting, setting in spite of a condition, or of this system."
)
NOTHING_FURTHER = "Nothing further the caller can do would change what we do"


@dataclass(frozen=True, kw_only=True, slots=True)
class Visit:
    """What to send: parts with the chance they are wanted, the cautions, what may be the cause."""

    parts: tuple[tuple[str, float], ...]
    cautions: tuple[str, ...]
    causes: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Course:
    """Where a call stands. ``step`` is danger, stop, caller, complaint, question or end.

    ``say`` may be said to anybody, ``verdicts`` are for whoever ``identified`` allows; ``done`` is the sentence of the end.
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
    ended = _ended(case)
    if ended:
        return Course(step="end", say=say, done=ended)
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
        best = max(found.next_checks, key=lambda check: check.bits / max(check.minutes, 0.1), default=None)
        question = check_question(appraisal.job, best) if best is not None and best.bits >= LEAST_BITS else None
    common = {"say": say, "verdicts": told, "hindrances": causes, "found": found, "left_out": left_out}
    if question is not None:
        return Course(step="question", question=question, **common)  # type: ignore[arg-type]
    visit = None if settled and not hinders else _visit(found)
    return Course(step="end", done=_done(told, causes, found, visit), visit=visit, **common)  # type: ignore[arg-type]


def _ended(case: Case) -> str:
    """Return the end an answer was, empty where none was one."""
    for said in case.standing:
        kind, _, name = said.key.partition(":")
        choice = choice_of(asks()[name], said.answer) if kind == OPENING and name in asks() else None
        if choice is not None and choice.end:
            return choice.end
    return ""


def _opening(case: Case, job: Job, ask: tuple[str, ...]) -> Question | None:
    """Return the first opening question without an answer that may be put to this caller."""
    for name in queue_of(case, ask):
        row = asks()[name]
        if case.answered(f"{OPENING}:{name}") is None and (case.caller.identified or not row.guarded):
            question = opening_question(job, row)
            if question is not None and not (name == "back" and hours(case, "outage") == 0):
                return question
    return None


def observations(case: Case, appraisal: Appraisal, should: Expectation) -> tuple[Observations, tuple[str, ...]]:
    """Return what the answers tell explain, what follows from hours among it, and a sentence for each that tells nothing here."""
    seen, left_out = list[Seen](), list[str]()
    told = [(said.question, noted_of(said)) for said in case.standing if said.where and said.settles]
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
    area = answer(case, "area") or next(iter(job.areas), "")
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
    told = [replace(cause, applies=Applies.YES) if said.get(cause.hindrance) == "yes" else cause for cause in found]
    order = (Applies.YES, Applies.ASK, Applies.NO)
    return tuple(sorted(told, key=lambda cause: order.index(cause.applies)))


def _visit(found: Explanation | None) -> Visit | None:
    """Return what to send for the likeliest causes; None where none is likely enough to send anybody for."""
    if found is None or not found.answers:
        return None
    parts: dict[str, float] = {}
    cautions: dict[str, None] = {}
    causes: list[str] = []
    whole = sum(each.probability for each in found.answers)
    reached = 0.0
    for each in found.answers:
        for cause in each.causes:
            for part in cause.parts:
                parts[part] = parts.get(part, 0.0) + cause.probability
            cautions |= dict.fromkeys(in_full(cause.caution))
        causes.append(f"{each.causes[0].words} ({each.causes[0].where})")
        reached += each.probability
        if reached >= ENOUGH * whole:
            break
    wanted = sorted(((part, chance) for part, chance in parts.items() if chance >= LEAST_PART), key=lambda row: -row[1])
    return Visit(parts=tuple(wanted), cautions=tuple(cautions), causes=tuple(causes))


def _done(told: tuple[Verdict, ...], causes: tuple[Cause, ...], found: Explanation | None, visit: Visit | None) -> str:
    """Return the sentence of the end."""
    applies = next((cause for cause in causes if cause.applies is Applies.YES), None)
    if applies is not None:
        return f"{NOTHING_FURTHER}: {applies.sentence}"
    if told and all(each.normal for each in told):
        return told[0].words
    if found is None:
        wrong = next((each.words for each in told if each.normal is False), "")
        return wrong or f"{NOTHING_FURTHER}: nothing told so far can be weighed. Send a visit, with the usual kit."
    if found.nothing > MOSTLY:
        return f"{NOTHING_FURTHER}: what was told is as it should be. If it comes back, the caller notes when, and rings again."
    parts = ", ".join(part for part, _ in visit.parts) if visit is not None else ""
    return f"{NOTHING_FURTHER}: send a visit{f' with {parts}' if parts else ', no parts foreseen'}."
