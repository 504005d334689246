"""Is it normal? What the caller tells is held first against the troubles that should show now, with how long each still lasts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from types import MappingProxyType

from loopwright.appraisal.appraise import Appraisal
from loopwright.appraisal.expected import expected
from loopwright.desk.case import OPENING, Case, Said
from loopwright.desk.figures import Verdict, earth_verdict, keypad_verdicts, trend_verdict
from loopwright.desk.opening import HOURS, asks
from loopwright.desk.question import choice_of, control_of
from loopwright.explain.expected.expect import Expectation, Shown, compare
from loopwright.explain.expected.situation import Situation, situation_of
from loopwright.explain.expected.trouble import Trouble, TroubleKind, lore
from loopwright.job.document import Job
from loopwright.power.standby import StandbyForecast
from loopwright.values.duration import duration_words

HOUR_S = 3600.0
NEVER = 0.0
ALARMS = "false-alarms"
IP_KINDS = frozenset({"ip", "network", "cellular", "radio", "mobile"})
"""Kinds of path that are no telephone line."""


def hours(case: Case, name: str) -> float | None:
    """Return the hours told in answer to an opening question; naught where it never was, None where nobody knows."""
    said = case.answered(f"{OPENING}:{name}")
    if said is None or not said.settles or asks()[name].of != HOURS:
        return None
    return NEVER if said.answer == "none" else float(said.answer)


def answer(case: Case, name: str) -> str:
    """Return the answer to an opening question, empty where it settles nothing."""
    said = case.answered(f"{OPENING}:{name}")
    return said.answer if said is not None and said.settles else ""


def situation(case: Case, job: Job, standby: StandbyForecast | None) -> Situation:
    """Return how things stand after what the caller told: the battery as an outage left it, or as one comes from a shelf."""
    found = situation_of(job)
    charge = charge_now(case, standby)
    back = hours(case, "back")
    since = None if not back else back * HOUR_S
    if standby is None or charge is None:
        return replace(found, since_mains_s=since)
    return replace(found, since_mains_s=since, charge=MappingProxyType({standby.supply: charge}))


def charge_now(case: Case, standby: StandbyForecast | None) -> float | None:
    """Return the state of charge [1] at which charging began: a fresh battery is taken as flat, an outage drains evenly (a shortcut)."""
    fresh, outage = hours(case, "battery-since"), hours(case, "outage")
    if fresh:
        return 0.0
    if outage is None or standby is None or standby.to_cut_out_h is None:
        return None
    return min(max(1.0 - outage / standby.to_cut_out_h, 0.0), 1.0)


def charging_h(case: Case) -> float | None:
    """Return for how many hours the battery has been charging, None where nobody knows."""
    known = [each for each in (hours(case, "battery-since"), hours(case, "back")) if each]
    return min(known) if known else None


def standby_of(appraisal: Appraisal) -> StandbyForecast | None:
    """Return the standby forecast of the control unit."""
    control = control_of(appraisal.job)
    return next((item for item in appraisal.standby if item.supply == control), None)


def troubles_told(case: Case) -> tuple[TroubleKind, ...]:
    """Return the kinds of trouble the caller read out."""
    kinds: dict[TroubleKind, None] = {}
    for said in case.standing:
        kind = _trouble_of(said)
        if kind is not None:
            kinds[kind] = None
    return tuple(kinds)


def _trouble_of(said: Said) -> TroubleKind | None:
    group, _, name = said.key.partition(":")
    if group != OPENING or not said.settles or name not in asks():
        return None
    ask = asks()[name]
    choice = choice_of(ask, said.answer)
    return choice.trouble if choice is not None else ask.trouble if said.answer != "none" else None


def should_show(case: Case, appraisal: Appraisal) -> Expectation:
    """Return what should show after what the caller told."""
    return expected(appraisal, situation(case, appraisal.job, standby_of(appraisal)))


def verdicts(case: Case, appraisal: Appraisal, should: Expectation) -> tuple[Verdict, ...]:
    """Return what can be said before any fault is thought of; ``should`` is what should show now."""
    return tuple(_verdicts(case, appraisal, should))


def _verdicts(case: Case, appraisal: Appraisal, should: Expectation) -> Iterator[Verdict]:
    standby = standby_of(appraisal)
    kinds = troubles_told(case)
    met = compare(should, [Shown(kind=kind) for kind in kinds]).expected
    for kind in kinds:
        due = [trouble for trouble in met if trouble.kind is kind and trouble.normal]
        if kind is TroubleKind.BATTERY_LOW:
            yield _battery(case, due, standby)
        elif kind is TroubleKind.CLOCK_NOT_SET and not due:
            yield _clock(case, standby)
        elif kind is TroubleKind.PATH:
            yield from _path(case, appraisal.job)
        elif due:
            yield _due(kind, due[0])
        else:
            known = lore()[kind]
            yield Verdict(normal=None, words=_goes_by(kind, known.clears), never=known.never, caution=known.caution, guarded=True)
    if answer(case, "siren-when") == "outage":
        yield Verdict(
            normal=False,
            words="A siren with a battery of its own that sounds in every power cut is as a rule telling that the main battery is dead: "
            "its hold-off goes with the mains. The main battery first, then the pair that carries the hold-off.",
            caution="ear protection; ladder; battery",
        )
    if answer(case, "keypad-lit"):
        lit = answer(case, "keypad-lit") == "yes"
        words = "It is lit, so it has a supply. What is left is its data, its address, or the list it stands on."
        yield Verdict(normal=None, words=words if lit else "It is dark: no supply reaches it.")
    yield from keypad_verdicts(case.on_file, appraisal, answer(case, "keypad"), answer(case, "keypad-when"))
    if TroubleKind.EARTH in kinds:
        yield from earth_verdict(case.on_file, appraisal.job)
    if case.complaint == ALARMS and case.on_file:
        yield from trend_verdict(appraisal, answer(case, "zone"))


def _goes_by(kind: TroubleKind, clears: str) -> str:
    """Return what makes a trouble go, in a sentence that names it."""
    return f"{kind.capitalize()}. What makes it go: {clears[:1].lower()}{clears[1:]}"


def _due(kind: TroubleKind, trouble: Trouble) -> Verdict:
    known = lore()[kind]
    return Verdict(normal=True, words=f"{trouble.sentence} {known.why} {known.clears}", never=known.never, caution=known.caution)


def _battery(case: Case, due: list[Trouble], standby: StandbyForecast | None) -> Verdict:
    """Say whether a battery trouble is one that goes by charging, and when."""
    known, charged_h = lore()[TroubleKind.BATTERY_LOW], charging_h(case)
    waits = due[0].wait_s if due else None
    if waits is not None:
        passed_s = (charged_h or 0.0) * HOUR_S
        left = [max(seconds - passed_s, 0.0) for seconds in waits]
        if left[1] > 0:
            soon = f"in about {duration_words(left[0])}" if left[0] > 0 else "at the next battery test"
            late = f", at the latest in {duration_words(left[1])}" if left[1] > left[0] else ""
            words = f"This is normal: the battery is being charged, and the trouble goes by itself {soon}{late}."
            return Verdict(normal=True, words=words, never=known.never, caution=known.caution)
        words = f"It has charged for {charged_h:g} h, and by now the trouble should be gone: the battery or its charger is in doubt."
        return Verdict(normal=False, words=words, never="", caution=known.caution)
    outage = hours(case, "outage")
    if outage is not None and standby is not None and standby.to_cut_out_h is not None:
        lasts = f"{_by(case)} the battery carries the system for about {standby.to_cut_out_h:.0f} h"
        told = f"after {outage:g} h without mains it should not be low" if outage else "with no outage it should not be low"
        return Verdict(normal=False, words=f"{lasts}; {told}. The battery is in doubt.", never=known.never, caution=known.caution)
    return Verdict(normal=None, words=_goes_by(TroubleKind.BATTERY_LOW, known.clears), never=known.never, caution=known.caution)


def _by(case: Case) -> str:
    """Return on what ground hours are told: the design's, or what is only taken to be there."""
    return "By the forecast" if case.on_file else "With the battery and the load that are assumed"


def _clock(case: Case, standby: StandbyForecast | None) -> Verdict:
    """Say whether a lost clock follows from the outage, or from a battery that did not hold."""
    known, outage = lore()[TroubleKind.CLOCK_NOT_SET], hours(case, "outage")
    lasts = None if standby is None else standby.to_cut_out_h
    if outage is None or lasts is None:
        words = "A clock is lost when the system was for a moment without any supply: a long outage, or a battery that did not hold."
        return Verdict(normal=None, words=words, never=known.never)
    if outage > lasts:
        words = (
            f"This is normal: {_by(case).lower()} the battery lasts about {lasts:.0f} h, and the outage was {outage:g} h, "
            "so the system was off and lost its clock. Date and time are set again by whoever may."
        )
        return Verdict(normal=True, words=words, never=known.never)
    words = (
        f"{_by(case)} the battery should have held for about {lasts:.0f} h, and the outage was {outage:g} h: "
        "it did not hold, or the clock's own cell is flat."
    )
    return Verdict(normal=False, words=words, never=known.never, caution="battery")


def _path(case: Case, job: Job) -> Iterator[Verdict]:
    """Say whether a path at fault is one the design promises."""
    known = lore()[TroubleKind.PATH]
    for name, words, is_that in (("line", "telephone line", False), ("network", "network or mobile link", True)):
        promised = [key for key, path in job.signalling.paths.items() if (path.kind.casefold() in IP_KINDS) is is_that]
        if answer(case, name) != "no":
            continue
        if promised:
            told = (
                f"The design promises a {words} ({', '.join(promised)}) and the caller says there is none: "
                "it stays watched, and a visit finds why."
            )
            yield Verdict(normal=False, words=told, never=known.never)
        elif case.on_file:
            told = (
                f"The design promises no {words}. A unit may watch one from the factory: then the trouble is no defect, and a technician "
                "switches the watching off. Where an insurer or the centre was promised one, they are told."
            )
            yield Verdict(normal=True, words=told, never=known.never, guarded=True)
        else:
            told = (
                f"There is no {words}. Whether one was promised stands in the papers or the insurer's letter: "
                "look there before the watching is switched off."
            )
            yield Verdict(normal=None, words=told, never=known.never, guarded=True)
