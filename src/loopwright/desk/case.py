"""A case of the desk: who called, what was asked and answered, what came of it. Plain and frozen, and never a code or a pass-word in it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from loopwright.explain.catalogue import faults
from loopwright.explain.learned import NOTHING_WRONG, UNKNOWN

RIGHT, CALLED_BACK, NOT_IDENTIFIED = "pass-word right", "called back on the number on record", "not identified"
WAYS = (RIGHT, CALLED_BACK, NOT_IDENTIFIED)
"""How a caller was identified, or that they were not."""
KNOWN_FOR = timedelta(hours=1)
"""So long after anything was last said in it a call is taken to go on; after that whoever is on the line is asked anew (a choice)."""
NO_DANGER = "none"
SKIPPED, NOT_KNOWN, OWN_WORDS = "skipped", "not known", "own words"
"""Answers that settle nothing: what was asked is not asked again."""
FACT, OPENING, HINDRANCE, CHECK = "fact", "opening", "hindrance", "check"
"""What a question is of, by the word before the colon in its key."""
LONGEST_CODE = 12
# A run of digits by itself, or parted as people say them; what has a unit, a decimal point or a colon of the clock is none.
_CODE = re.compile(rf"(?<![\w.,:/+-])\d(?:[ -]?\d){{3,{LONGEST_CODE - 1}}}(?![\w:/]|[.,]\d| ?(?:Ω|k|V|m|A|%|°))")
_SAYS_WORD = re.compile(r"\b(?:pass-?word|pass ?code|code ?word|pin|code)\s*(?:is|was|:|=)\s*\S", re.IGNORECASE)


@dataclass(frozen=True, kw_only=True, slots=True)
class Caller:
    """Who is on the line. ``verified`` is one of WAYS, empty before it is settled; ``at`` is when it was."""

    name: str = ""
    premises: str = ""
    call_back: str = ""
    verified: str = ""
    at: str = ""

    @property
    def identified(self) -> bool:
        """Return whether the caller is who they say: all three told, and one of the ways of being sure."""
        return bool(self.name and self.premises and self.call_back) and self.verified in (RIGHT, CALLED_BACK)

    @property
    def missing(self) -> tuple[str, ...]:
        """Return what has not been asked yet, in words."""
        told = (("name", self.name), ("premises", self.premises), ("call-back number", self.call_back))
        return tuple(words for words, given in told if not given)


@dataclass(frozen=True, kw_only=True, slots=True)
class Said:
    """One question and its answer. ``key`` names the question; what explain takes of it stands in the words of an observation file.

    ``out``: it was taken back. ``text`` holds own words; ``told_answer`` is what ``told`` ends in where the answer has a word of its own.
    """

    key: str
    at: str
    by: str
    question: str
    answer: str
    text: str = ""
    where: str = ""
    place: str = ""
    state: str = ""
    shows: str = ""
    look: str = ""
    told: str = ""
    told_answer: str = ""
    out: bool = False

    @property
    def settles(self) -> bool:
        """Return whether the answer tells something."""
        return self.answer not in (SKIPPED, NOT_KNOWN, OWN_WORDS)


@dataclass(frozen=True, kw_only=True, slots=True)
class Closed:
    """How a case ended: the true cause (a fault's id, UNKNOWN or NOTHING_WRONG), where it was, what fixed it."""

    at: str
    by: str
    cause: str
    place: str = ""
    fixed_by: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """A case. ``on_file`` says that it is about the job it is kept with; ``kept_as`` is the job made of what was assumed.

    ``advice`` is what was said to the caller last, ``handed_at`` when it went over to a visit, ``wrong_words`` when
    a pass-word was held against the vault and was another. Moments are written as ISO 8601 has them.
    """

    id: str
    at: str
    by: str
    on_file: bool = True
    caller: Caller = Caller()
    danger: str = ""
    complaint: str = ""
    said: tuple[Said, ...] = ()
    advice: str = ""
    handed_at: str = ""
    kept_as: str = ""
    wrong_words: tuple[str, ...] = ()
    closed: Closed | None = None

    @property
    def standing(self) -> tuple[Said, ...]:
        """Return the answers that were not taken back."""
        return tuple(each for each in self.said if not each.out)

    @property
    def silent(self) -> bool:
        """Return whether nothing was said in it: nobody named, nothing asked about, no danger, no pass-word tried."""
        who = (self.caller.name, self.caller.premises, self.caller.call_back)
        return self.danger in ("", NO_DANGER) and not any((*who, self.complaint, self.said, self.wrong_words, self.closed))

    def answered(self, key: str) -> Said | None:
        """Return the answer to a question, None where it has none."""
        return next((each for each in reversed(self.said) if each.key == key and not each.out), None)

    def unproved(self) -> Case:
        """Return the case as it stands before whoever is on the line now was identified; what they were asked stays."""
        return replace(self, caller=replace(self.caller, verified=""))

    def over(self, now: str) -> bool:
        """Return whether the call it was last spoken in is over at a moment."""
        spoken = max((self.caller.at or self.at, *(each.at for each in self.said)))
        return bool(spoken) and datetime.fromisoformat(now) - datetime.fromisoformat(spoken) > KNOWN_FOR

    def as_of(self, now: str) -> Case:
        """Return the case as it counts at a moment: a caller identified in an earlier call is nobody's proof in a later one."""
        return self.unproved() if self.caller.verified and self.over(now) else self

    def with_said(self, said: Said) -> Case:
        """Return the case with an answer, in place of the one that stood where the same was asked before."""
        there = self.answered(said.key)
        if there is None:
            return replace(self, said=(*self.said, said))
        return replace(self, said=tuple(said if each is there else each for each in self.said))

    def back(self) -> Case:
        """Return the case one step earlier: without the last answer, else without the complaint, the caller's proof, the word on danger."""
        last = next((each for each in reversed(self.said) if not each.out), None)
        if last is not None:
            return replace(self, said=tuple(replace(each, out=True) if each is last else each for each in self.said))
        if self.complaint:
            return replace(self, complaint="")
        return self.unproved() if self.caller.verified else replace(self, danger="")


def open_of(cases: Iterable[Case], now: str) -> tuple[Case, ...]:
    """Return the open cases in which something was said, as they count at a moment."""
    return tuple(case.as_of(now) for case in cases if case.closed is None and not case.silent)


def holds_a_code(text: str) -> bool:
    """Return whether a text may hold a code or a pass-word, which no case does.

    >>> holds_a_code("they use 4711"), holds_a_code("code is bluebell"), holds_a_code("at 22:30 for 3 hours, 13.72 V")
    (True, True, False)
    """
    return bool(_CODE.search(text) or _SAYS_WORD.search(text))


def is_cause(text: str) -> bool:
    """Return whether a case can be closed with it."""
    return text in (UNKNOWN, NOTHING_WRONG) or text in faults()


def cause_words(cause: str) -> str:
    """Return what a case was closed with, for people.

    >>> cause_words("P08"), cause_words("unknown")
    ('Battery absent or lead off', 'unknown')
    """
    return faults()[cause].words if cause in faults() else cause
