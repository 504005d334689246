"""How one setting is written at the unit: numbers by digits and steps, words by what is keyed for them, texts, and lists of ticks."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from loopwright.job.quantity import parse_quantity

Value = str | float | tuple[str, ...]
"""What a setting holds, as the programme says it: a word or a text, a number in the document's unit, or what is ticked."""

SECONDS = {"s": 1.0, "min": 60.0, "h": 3600.0}
NONE = "none"
"""The word whose keys stand for nothing ticked."""
FINE = 1e-9
_LIKE_A_CODE = re.compile(r"[0-9][0-9 -]{2,}[0-9]")
_RANGE = re.compile(r"(.)-(.)")


class Kind(StrEnum):
    """What kind of thing is keyed."""

    NUMBER = "number"
    CHOICE = "choice"
    TEXT = "text"
    TICKS = "ticks"
    SECRET = "code"
    CLOCK = "clock"


class Right(NamedTuple):
    """What cannot stand at a place of the unit, and what would be right."""

    sentence: str
    right: str


class Unfit(ValueError):  # noqa: N818 - a value that does not fit; the program is in order
    """A value that the unit cannot hold, or what it shows and means nothing there."""

    def __init__(self, sentence: str, right: str) -> None:
        super().__init__(f"{sentence} {right}")
        self.said = Right(sentence, right)


@dataclass(frozen=True, kw_only=True)
class Form:
    """How one setting is keyed. ``options`` are the words it takes and what is keyed for each; ``unit_s`` is worth of a keyed 1 [s]."""

    kind: Kind
    unit_s: float = 1.0
    unit: str = ""
    digits: int | None = None
    least: float | None = None
    most: float | None = None
    step: float = 1.0
    options: Mapping[str, str] = field(default_factory=dict)
    longest: int | None = None
    characters: str = ""

    def keyed(self, value: Value) -> str:
        """Return what is keyed for a value. Raises Unfit with what the unit takes; a code and the clock are never written out."""
        if self.kind is Kind.NUMBER and isinstance(value, float):
            return self._number(value)
        if self.kind is Kind.TEXT and isinstance(value, str):
            return self._text(value)
        if self.kind is Kind.TICKS and isinstance(value, tuple):
            return self._ticks(value)
        if self.kind is Kind.CHOICE and isinstance(value, str):
            if value in self.options:
                return self.options[value]
            raise Unfit(f"This unit has no word for ‘{value}’.", f"It takes {_either(self.options)}.")
        raise Unfit("This cannot be keyed.", "A code or the clock is entered by hand.")

    def meant(self, text: str) -> Value:
        """Return the value that what the unit shows stands for. Raises Unfit; the text is not repeated, for it may be a code."""
        shown = " ".join(text.split())
        if not shown and self.kind is not Kind.TEXT:
            raise Unfit("Nothing is written.", self.shows)
        if self.kind in (Kind.SECRET, Kind.CLOCK):
            raise Unfit("This is a code, or the clock: what it reads is not taken down.", "Try it instead.")
        try:
            return self._meant(shown)
        except Unfit:
            raise Unfit("This is nothing it can hold.", self.shows) from None

    def _meant(self, shown: str) -> Value:
        if self.kind is Kind.NUMBER:
            return self._number_meant(shown)
        if self.kind is Kind.CHOICE:
            return self._word(shown)
        if self.kind is Kind.TICKS:
            return self._ticked(shown)
        if _LIKE_A_CODE.fullmatch(shown):
            raise Unfit("This looks like a code.", "A code is not taken down.")
        self._text(shown)
        return shown

    def said(self, text: str) -> Value:
        """Return the value a data sheet states in words, such as its default. Raises Unfit."""
        words = " ".join(text.split())
        if self.kind is Kind.NUMBER:
            return self._held(self._parsed(words))
        if self.kind is Kind.TICKS:
            return () if words == NONE else tuple(part.strip() for part in words.split(",") if part.strip())
        if self.kind is Kind.CHOICE and words not in self.options:
            return self._word(words)
        return words

    @property
    def takes(self) -> str:
        """Return in words what the unit takes here."""
        if self.kind is Kind.NUMBER:
            return self._range_words()
        if self.kind is Kind.TEXT:
            most = f"at most {self.longest} characters" if self.longest else "a text"
            return f"It takes {most}{f' out of {self.characters}' if self.characters else ''}."
        return f"It takes {_either(self.options)}." if self.options else "It takes what its sheet says."

    @property
    def shows(self) -> str:
        """Return in words what the unit may show here: where words are keyed otherwise, what stands for each."""
        other = [f"{key} for {word}" for word, key in self.options.items() if key.casefold() != word.casefold()]
        return f"It shows {_either(other)}." if other else self.takes

    @cached_property
    def pattern(self) -> str:
        """Return a pattern of what is keyed here, for an entry that several settings share."""
        if self.kind is Kind.NUMBER:
            return rf"\d{{{self.digits}}}" if self.digits else r"\d+(?:\.\d+)?"
        keys = "|".join(re.escape(key) for key in sorted(set(self.options.values()), key=len, reverse=True))
        if self.kind is Kind.CHOICE:
            return keys or "(?!)"
        return rf"(?:(?:{keys})\s?)+" if self.kind is Kind.TICKS and keys else ".*"

    @property
    def width(self) -> int | None:
        """Return how many characters are keyed, where it is always as many."""
        if self.kind is Kind.NUMBER:
            return self.digits
        lengths = {len(key) for key in self.options.values()}
        return lengths.pop() if self.kind is Kind.CHOICE and len(lengths) == 1 else None

    def words(self, value: Value) -> str:
        """Return a value as people say it, a number in the unit in which it is keyed."""
        if isinstance(value, tuple):
            return ", ".join(value) or NONE
        if isinstance(value, float):
            return self._words(round(value / self.unit_s, 9))
        return f"‘{value}’" if self.kind is Kind.TEXT else value.replace("_", ", ")

    def _number(self, value: float) -> str:
        number = value / self.unit_s
        held = self._held(value)
        if abs(held / self.unit_s - number) > FINE:
            raise Unfit(f"{self._words(number)} cannot be keyed.", self._range_words(number))
        text = f"{round(number, 9):.10g}"
        return text.rjust(self.digits, "0") if self.digits else text

    def _held(self, value: float) -> float:
        """Return a value that is inside the bounds and on a step. Raises Unfit."""
        number, low = value / self.unit_s, self.least or 0.0
        steps = (number - low) / self.step if self.step > 0 else 0.0
        inside = number >= low - FINE and (self.most is None or number <= self.most + FINE)
        if not inside or abs(steps - round(steps)) > 1e-6 or not self._has_digits(number):
            raise Unfit(f"{self._words(number)} cannot be keyed.", self._range_words(number))
        return value

    def _has_digits(self, number: float) -> bool:
        return self.digits is None or (abs(number - round(number)) < FINE and len(str(round(number))) <= self.digits)

    def _words(self, number: float) -> str:
        return f"{number:.10g} {self.unit}".strip()

    def _range_words(self, near: float | None = None) -> str:
        low = self.least or 0.0
        top = f" to {self._words(self.most)}" if self.most is not None else f" {self.unit} or more" if self.unit else " or more"
        steps = f" in steps of {self.step:.10g}" if self.step != 1 else ""
        digits = f", with {self.digits} digits" if self.digits else ""
        nearest = self.nearest(near * self.unit_s) if near is not None else ()
        hint = f" Nearest: {' or '.join(self._words(each / self.unit_s) for each in nearest)}." if nearest else ""
        return f"It takes {low:.10g}{top}{steps}{digits}.{hint}"

    def nearest(self, value: float) -> tuple[float, ...]:
        """Return the numbers this unit takes next to a value, below and above it, in the document's unit."""
        number, low = value / self.unit_s, self.least or 0.0
        step = self.step if self.step > 0 else 1.0
        floor = low + step * ((number - low + FINE) // step)
        found = []
        for each in (floor, floor if abs(floor - number) < FINE else floor + step):
            most = self.most if self.most is not None else each
            kept = min(max(each, low), low + step * ((most - low + FINE) // step))
            if self._has_digits(kept) and kept not in found:
                found.append(kept)
        return tuple(each * self.unit_s for each in found)

    def _number_meant(self, shown: str) -> float:
        if re.fullmatch(r"\d+(?:\.\d+)?", shown, re.ASCII):
            return self._held(float(shown) * self.unit_s)
        return self._held(self._parsed(shown))

    def _parsed(self, words: str) -> float:
        try:
            return parse_quantity(words, "s" if self.unit else "")
        except ValueError:
            raise Unfit("This is no number that can stand here.", self._range_words()) from None

    def _text(self, value: str) -> str:
        allowed = characters_of(self.characters)
        text = value.upper() if allowed and not any(each.islower() for each in allowed) else value
        strange = sorted({each for each in text if each not in allowed}) if allowed else []
        if strange:
            shown = " ".join(f"‘{each}’" for each in strange)
            raise Unfit(f"The text {_quoted(value)} has {shown}, which this unit cannot show.", self.takes)
        if self.longest is not None and len(text) > self.longest:
            raise Unfit(f"The text {_quoted(value)} has {len(text)} characters.", self.takes)
        return text

    def _ticks(self, value: tuple[str, ...]) -> str:
        unknown = [word for word in value if word not in self.options]
        if unknown:
            raise Unfit(f"This unit has nothing to tick for ‘{unknown[0]}’.", f"It has {_either(self.options)}.")
        if not value and NONE not in self.options:
            raise Unfit("This unit has no way to say that nothing is ticked.", f"It takes {_either(self.options)}.")
        keys = [key for word, key in self.options.items() if word in value] or [self.options[NONE]]
        return ("" if len({len(key) for key in self.options.values()}) == 1 else " ").join(keys)

    def _word(self, shown: str) -> str:
        found = [word for word, key in self.options.items() if key.casefold() == shown.casefold()]
        found += [word for word in self.options if word.casefold() == shown.casefold()]
        if not found:
            raise Unfit("This means nothing there.", f"It shows {_either(self.options.values())}.")
        return found[0]

    def _ticked(self, shown: str) -> tuple[str, ...]:
        left, found = shown, []
        while left:
            longest = sorted(self.options, key=lambda each: -len(self.options[each]))
            word = next(
                (each for each in longest if self.options[each] and left.casefold().startswith(self.options[each].casefold())), None
            )
            if word is None:
                raise Unfit("This means nothing there.", f"It shows {_either(self.options.values())}.")
            found.append(word)
            left = left[len(self.options[word]) :].lstrip()
        return tuple(word for word in self.options if word in found and word != NONE)


def characters_of(words: str) -> frozenset[str]:
    """Return the characters a sheet's words name; ranges are written A-Z, and ``blank`` stands for one. Empty: any.

    >>> sorted(characters_of("A-C 1 blank"))
    [' ', '1', 'A', 'B', 'C']
    """
    found: set[str] = set()
    for word in words.split():
        span = _RANGE.fullmatch(word)
        if span:
            found |= {chr(each) for each in range(ord(span[1]), ord(span[2]) + 1)}
        else:
            found |= {" "} if word == "blank" else set(word)
    return frozenset(found)


def same(one: Value, other: Value) -> bool:
    """Return whether two values are the same to a unit: numbers to within rounding, what is ticked in any order."""
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= FINE * max(1.0, abs(one))
    if isinstance(one, tuple) and isinstance(other, tuple):
        return set(one) == set(other)
    return one == other


def alike(words: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return pairs of words for which the same is keyed, so that nobody could read one back."""
    ordered = sorted(words.items(), key=lambda item: item[1].casefold())
    return [(first, second) for (first, key), (second, other) in pairwise(ordered) if key.casefold() == other.casefold()]


def _quoted(text: str) -> str:
    return f"‘{text}’"


def _either(words: object) -> str:
    every = [str(word) for word in words]  # type: ignore[attr-defined]
    return " or ".join(part for part in (", ".join(every[:-1]), every[-1]) if part) if every else "nothing yet: its sheet names no words"
