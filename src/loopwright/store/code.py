"""What a rule may know of a code: its length, and how near it is to others. A rule never gets the code itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loopwright.store.secret import Secret


@dataclass(frozen=True, kw_only=True, slots=True)
class CodeFacts:
    """Facts of one code. The nearest are the smallest distances to any other code, None where there is none to compare with."""

    length: int
    digits_only: bool
    is_factory: bool
    nearest_hamming: int | None
    nearest_edit: int | None


def facts_of(code: Secret, others: Sequence[Secret], factory: Sequence[Secret]) -> CodeFacts:
    """Return the facts of a code held against other codes and the codes as delivered."""
    text = code.reveal()
    alike = [hamming(text, other.reveal()) for other in others if len(other.reveal()) == len(text)]
    return CodeFacts(
        length=len(text),
        digits_only=text.isascii() and text.isdigit(),
        # Every one is looked at, so that the time does not tell which it was.
        is_factory=sum(code == each for each in factory) > 0,
        nearest_hamming=min(alike, default=None),
        nearest_edit=min((edits(text, other.reveal()) for other in others), default=None),
    )


def hamming(one: str, other: str) -> int:
    """Return in how many places two texts of one length differ.

    >>> hamming("1234", "1243")
    2
    """
    return sum(a != b for a, b in zip(one, other, strict=True))


def edits(one: str, other: str) -> int:
    """Return how many characters must be put in, taken out or exchanged to make one text of another (Levenshtein distance).

    >>> edits("1234", "234")
    1
    """
    row = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        before, row = row, [i]
        for j, b in enumerate(other, 1):
            row.append(min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b)))
    return row[-1]
