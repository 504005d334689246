"""The result of explaining: answers ranked, what else each would show, where to put the meter next, and when to stop. Plain and frozen."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from loopwright.explain.along.chain import Halving
from loopwright.values.source import source

VALUE_KEYS = {"Ω": "value_ohm", "V": "value_v", "A": "value_a", "nF": "value_nf"}
CHANCES = (
    (0.99, "all but certain"),
    (0.9, "very likely"),
    (0.7, "likely"),
    (0.4, "about as likely as not"),
    (0.15, "quite possible"),
    (0.03, "unlikely"),
    (0.0, "very unlikely"),
)


def chance_words(probability: float) -> str:
    """Return a probability in words.

    >>> chance_words(0.93), chance_words(0.01)
    ('very likely', 'very unlikely')
    """
    return next(words for least, words in CHANCES if probability >= least)


@dataclass(frozen=True, kw_only=True, slots=True)
class Expected:
    """What a check would show: in words, and as a number with its unit where it is a meter's (infinite over range)."""

    check: str
    shows: str
    value: float | None = None
    unit: str = ""

    def as_data(self) -> dict[str, Any]:
        """Return it for another program, the unit in the key's name."""
        out: dict[str, Any] = {"check": self.check, "shows": self.shows}
        if self.value is not None:
            finite = math.isfinite(self.value)
            out[VALUE_KEYS[self.unit]] = float(f"{self.value:.6g}") if finite else None
            out["over_range"] = not finite
        return out


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One line of the working: a reading, what this fault makes it, what is read with nothing wrong, and the chance of it either way."""

    check: str
    read: str
    here: str
    sound: str
    chance_here: float
    chance_sound: float

    def as_data(self) -> dict[str, Any]:
        """Return it for another program."""
        return {name: getattr(self, name) for name in ("check", "read", "here", "sound", "chance_here", "chance_sound")}


@dataclass(frozen=True, kw_only=True, slots=True)
class Cause:
    """One fault at one place, with what mends it. ``part`` is a document path; ``source`` are keys of the source register."""

    key: str
    fault: str
    words: str
    where: str
    part: str
    place: str
    probability: float
    fix: str
    parts: tuple[str, ...]
    caution: str
    reason: str
    source: tuple[str, ...]
    expected: tuple[Expected, ...] = ()
    working: tuple[Step, ...] = ()

    def as_data(self) -> dict[str, Any]:
        """Return it for another program."""
        plain = ("key", "fault", "words", "where", "part", "place", "probability", "fix", "caution", "reason")
        return {name: getattr(self, name) for name in plain} | {
            "chance": chance_words(self.probability),
            "parts": list(self.parts),
            "sources": [str(source(key)) for key in self.source],
            "expected": [each.as_data() for each in self.expected],
            "working": [each.as_data() for each in self.working],
        }


@dataclass(frozen=True, kw_only=True, slots=True)
class Answer:
    """One answer: a cause, or causes that no check at hand tells apart, the likeliest first."""

    probability: float
    causes: tuple[Cause, ...]

    def as_data(self) -> dict[str, Any]:
        """Return it for another program."""
        return {"probability": self.probability, "chance": chance_words(self.probability), "causes": [c.as_data() for c in self.causes]}


@dataclass(frozen=True, kw_only=True, slots=True)
class Outlook:
    """What a check may show next: how likely that is, and what then leads."""

    shows: str
    chance: float
    leads: str
    leads_chance: float


@dataclass(frozen=True, kw_only=True, slots=True)
class NextCheck:
    """A check worth doing: in words, minutes, what it needs, expected information [bit], expected minutes to the end with it first.

    ``entry`` is how its result is written in an observation file, the reading or answer left open. ``unit`` is that of a meter's reading,
    empty where the check ends in one of the words ``outcomes``. ``caution`` is what to mind, in brief; ``by`` who can do it
    (:data:`loopwright.explain.check.BY`).
    """

    words: str
    minutes: float
    needs: tuple[str, ...]
    bits: float
    end_minutes: float
    outlook: tuple[Outlook, ...]
    entry: dict[str, str]
    unit: str = ""
    outcomes: tuple[str, ...] = ()
    caution: str = ""
    by: str = "eyes"

    def as_data(self) -> dict[str, Any]:
        """Return it for another program, units in the keys."""
        return {
            "check": self.words,
            "minutes": self.minutes,
            "needs": list(self.needs),
            "by": self.by,
            "caution": self.caution,
            "unit": self.unit,
            "outcomes": list(self.outcomes),
            "expected_information_bit": self.bits,
            "expected_minutes_to_the_end": self.end_minutes,
            "entry": self.entry,
            "may_show": [
                {"shows": each.shows, "chance": each.chance, "then_leads": each.leads, "then_leads_chance": each.leads_chance}
                for each in self.outlook
            ],
        }


@dataclass(frozen=True, kw_only=True, slots=True)
class Doubt:
    """A reading that was probably a mistake of measurement: which, what kind, how likely."""

    check: str
    read: str
    kind: str
    probability: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Explanation:
    """Everything that follows from what was seen.

    The probabilities of ``nothing``, ``answers``, ``others`` (single faults too unlikely to be listed), ``none_of_these`` and
    ``two_faults`` sum to one. ``halving`` are plans for circuits that read open or high where several places share the blame.
    """

    nothing: float
    answers: tuple[Answer, ...]
    others: float
    none_of_these: float
    two_faults: float
    pairs: tuple[tuple[float, Cause, Cause], ...]
    doubts: tuple[Doubt, ...]
    contradictions: tuple[tuple[str, str, str], ...]
    next_checks: tuple[NextCheck, ...]
    stop: bool
    verdict: str
    looked_at: tuple[str, ...]
    used: int
    left_out: tuple[str, ...]
    halving: tuple[Halving, ...] = ()

    def as_data(self) -> dict[str, Any]:
        """Return it for another program."""
        return {
            "verdict": self.verdict,
            "stop": self.stop,
            "nothing_wrong": self.nothing,
            "answers": [each.as_data() for each in self.answers],
            "other_faults": self.others,
            "none_of_these": self.none_of_these,
            "two_faults": self.two_faults,
            "pairs": [{"probability": p, "first": a.as_data(), "second": b.as_data()} for p, a, b in self.pairs],
            "doubtful_readings": [{"check": d.check, "read": d.read, "mistake": d.kind, "probability": d.probability} for d in self.doubts],
            "contradictions": [{"check": c, "first": a, "second": b} for c, a, b in self.contradictions],
            "next_checks": [each.as_data() for each in self.next_checks],
            "looked_at": list(self.looked_at),
            "readings_used": self.used,
            "left_out": list(self.left_out),
            "halving": [each.as_data() for each in self.halving],
        }
