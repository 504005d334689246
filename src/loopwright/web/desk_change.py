"""What is said at the desk, from what a page posts to a change of a case. Bad input names its field and what would be right."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Annotated, Any, Literal
from unicodedata import category

from pydantic import BaseModel, Field

from loopwright.desk.assumed import facts_of
from loopwright.desk.case import (
    CHECK,
    FACT,
    HINDRANCE,
    NO_DANGER,
    NOT_IDENTIFIED,
    NOT_KNOWN,
    OPENING,
    OWN_WORDS,
    SKIPPED,
    WAYS,
    Caller,
    Case,
    Closed,
    Said,
    holds_a_code,
    is_cause,
)  # fmt: skip
from loopwright.desk.normal import answer
from loopwright.desk.opening import asks, complaints, dangers
from loopwright.desk.question import LONGEST_HOURS, NAMES, NONE, Question, opening_question, told_by
from loopwright.explain.catalogue import faults
from loopwright.explain.learned import NOTHING_WRONG, UNKNOWN
from loopwright.job.document import Job
from loopwright.web.change import TURNED, TURNS
from loopwright.web.site_change import Moment, refuse

LONGEST, MOST_FIELDS, SHOWN = 300, 12, 20
NO_CODES = "This looks like a code or a pass-word, and no case holds one. Say it without; a number takes its unit, as in 30 min."
WHO_FIRST = "Whoever is on the line has to be identified first; the page shows where."
_HOURS = re.compile(r"([0-9]{1,9}(?:[.,][0-9]{1,6})?) ?(|h|hours?|min|minutes?|d|days?)")
UNIT_H = {"": 1.0, "h": 1.0, "m": 1 / 60, "d": 24.0}
_PHONE = re.compile(r"[+(]?\d[\d ()/.-]{3,24}\d")
Text = Annotated[str, Field(max_length=LONGEST)]


class DeskChange(BaseModel, extra="forbid"):
    """One thing said at the desk. ``case`` is the one it is about, ``mark`` names the change, which is made once."""

    do: Literal[
        "begin",
        "danger",
        "caller",
        "who",
        "complaint",
        "answer",
        "pass",
        "back",
        "out",
        "put-back",
        "fact",
        "close",
        "reopen",
        "hand-over",
        "keep",
    ]
    case: str = Field(default="", max_length=40)
    mark: str = Field(min_length=8, max_length=64)
    key: Text = ""
    answer: Text = ""
    text: Text = ""
    on_file: bool = True
    fields: dict[str, Text] = Field(default_factory=dict, max_length=MOST_FIELDS)
    query: str = Field(default="", max_length=2000)


Asking = Callable[[], Question | None]
"""Returns the question that is asked now."""


def changed(change: DeskChange, case: Case, job: Job, asking: Asking, now: Moment) -> Case:
    """Return the case with what was said. Raises JobError with the field and the words."""
    if case.closed is not None and change.do != "reopen":
        refuse("", "This case is closed. Open it again first.")
    match change.do:
        case "danger":
            # Said with no answer, it asks again: something may begin to smell in the middle of a call.
            if change.answer not in ("", NO_DANGER, *dangers()):
                refuse("danger", "Choose what it is, or that it is none of these.")
            return replace(case, danger=change.answer)
        case "caller":
            return replace(case, caller=_caller(change, now))
        case "who":
            return case.unproved()
        case "complaint":
            if change.answer not in complaints():
                refuse("complaint", "Choose what the caller rings about.")
            return replace(case, complaint=change.answer)
        case "answer" | "pass":
            return _answered(change, case, job, asking, now)
        case "back":
            return case.back()
        case "out" | "put-back":
            return _taken(change, case)
        case "fact":
            return _fact(change, case, now)
        case "close":
            return replace(case, closed=_closed(change, now))
        case "reopen":
            # Whoever rings about it again is somebody until they have said who.
            return replace(case.unproved(), closed=None)
        case _:
            refuse("", "That is nothing that is said of a case.")


def plain(text: str, path: str) -> str:
    """Return a text somebody typed, its blanks put right. Raises JobError where it may hold a code."""
    words = " ".join(text.split())
    if TURNS.search(words) or any(category(letter) == "Cc" for letter in words):
        refuse(path, TURNED)
    if holds_a_code(words):
        refuse(path, NO_CODES)
    return words


def _caller(change: DeskChange, now: Moment) -> Caller:
    name, premises = (plain(change.fields.get(key, ""), key) for key in ("name", "premises"))
    number = " ".join(change.fields.get("call_back", "").split())
    if number and not _PHONE.fullmatch(number):
        refuse("call_back", "Write the call-back number with digits, blanks and a plus only, for example 01632 960 014.")
    verified = change.answer
    if verified not in WAYS:
        refuse("verified", f"Say how the caller was identified: {', '.join(WAYS)}.")
    made = Caller(name=name, premises=premises, call_back=number, verified=verified, at=now.iso)
    if verified != NOT_IDENTIFIED and made.missing:
        refuse(made.missing[0].replace("call-back number", "call_back"), f"Ask for this first: {', '.join(made.missing)}.")
    return made


def _answered(change: DeskChange, case: Case, job: Job, asking: Asking, now: Moment) -> Case:
    question = _question(change, case, job, asking)
    text = plain(change.text, "text")
    if change.do == "pass":
        if change.answer not in (SKIPPED, NOT_KNOWN, OWN_WORDS) or (change.answer == OWN_WORDS and not text):
            refuse("text", "Write what the caller said.")
        told: dict[str, Any] = {name: value for name, value in question.entry.items() if value}
        given = change.answer
    else:
        given = _given(question, change.answer)
        told = dict(told_by(job, question, given, answer(case, "keypad")))
    said = Said(key=question.key, at=now.iso, by=now.by, question=question.words, answer=given, text=text, **told)
    return case.with_said(said)


def _question(change: DeskChange, case: Case, job: Job, asking: Asking) -> Question:
    """Return the question an answer is to: one answered before that is put right, or the one asked now. Raises JobError."""
    kind, _, name = change.key.partition(":")
    before = case.answered(change.key)
    opening = asks().get(name) if kind == OPENING else None
    if not case.caller.verified or (not case.caller.identified and (opening is None or opening.guarded)):
        refuse("", WHO_FIRST)
    if opening is not None:
        question = opening_question(job, opening)
        if question is not None:
            return question
    if before is not None and kind in (CHECK, HINDRANCE):
        entry = {name: getattr(before, name) for name in NAMES} if kind == CHECK else {}
        return Question(key=before.key, words=before.question, choices=(("yes", "Yes"), ("no", "No")), entry=entry)
    now = asking()
    if now is None or now.key != change.key:
        refuse("", "Another question is asked by now; the page shows it.")
    return now


def _given(question: Question, answer: str) -> str:
    """Return an answer that can be one. Raises JobError."""
    if question.hours and answer != NONE:
        hours = hours_in(answer)
        if hours is None or hours > LONGEST_HOURS:
            more = (
                "The longest is 20 years."
                if hours is not None
                else "Write the hours as a number, for example 6 or 0.5; 2 days and 30 min do too."
            )
            refuse("answer", f"{f'‘{answer.strip()[:SHOWN]}’ cannot stand here. ' if answer.strip() else ''}{more}")
        return f"{hours:g}"
    if answer in dict(question.choices) or answer in dict(question.places) or (answer == NONE and question.none):
        return answer
    refuse("answer", "Choose one of the answers.")


def hours_in(text: str) -> float | None:
    """Return hours [h] as people write a time, None where it is none.

    >>> hours_in("0,5"), hours_in(" 2 days"), hours_in("30 min"), hours_in("6h"), hours_in("-5"), hours_in("1,5,2")
    (0.5, 48.0, 0.5, 6.0, None, None)
    """
    found = _HOURS.fullmatch(text.strip().casefold())
    return float(found[1].replace(",", ".")) * UNIT_H[found[2][:1]] if found else None


def _taken(change: DeskChange, case: Case) -> Case:
    """Take an answer back, or put the last one to a question back in; then whatever stands for the same question goes out."""
    if change.do == "out":
        return replace(case, said=tuple(replace(each, out=True) if each.key == change.key else each for each in case.said))
    last = next((each for each in reversed(case.said) if each.key == change.key), None)
    return replace(case, said=tuple(replace(each, out=each is not last) if each.key == change.key else each for each in case.said))


def _fact(change: DeskChange, case: Case, now: Moment) -> Case:
    """Note a fact of a system nobody has on file; an empty answer takes it back."""
    fact = next((each for each in facts_of({}) if each.key == change.key), None)
    if case.on_file or fact is None or (change.answer and change.answer not in dict(fact.choices)):
        refuse(change.key, "Choose one of the answers.")
    key = f"{FACT}:{fact.key}"
    if not change.answer:
        return replace(case, said=tuple(replace(each, out=True) if each.key == key else each for each in case.said))
    return case.with_said(Said(key=key, at=now.iso, by=now.by, question=fact.words, answer=change.answer))


def _closed(change: DeskChange, now: Moment) -> Closed:
    cause = _cause_in(change.fields.get("cause", ""))
    if not is_cause(cause):
        refuse("cause", f"Write the cause as in the list, for example P11, or ‘{UNKNOWN}’ or ‘{NOTHING_WRONG}’.")
    place, fixed = (plain(change.fields.get(key, ""), key) for key in ("place", "fixed_by"))
    if cause in faults() and not fixed:
        refuse("fixed_by", "Write what put it right, in a few words.")
    return Closed(at=now.iso, by=now.by, cause=cause, place=place, fixed_by=fixed)


def _cause_in(text: str) -> str:
    """Return the cause a text means: an id with or without its words, or the words alone.

    >>> _cause_in("p08 Battery absent or lead off"), _cause_in("battery absent or lead off"), _cause_in(" Unknown ")
    ('P08', 'P08', 'unknown')
    """
    words = " ".join(text.split())
    first = words.partition(" ")[0].upper().rstrip(".:,")
    if first in faults():
        return first
    return next((name for name, fault in faults().items() if fault.words.casefold() == words.casefold()), words.casefold())
