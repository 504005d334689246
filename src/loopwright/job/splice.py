"""Pieces of text put in place of others, and how to put them back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple


class Splice(NamedTuple):
    """``text`` in place of the characters from ``start`` up to ``end``."""

    start: int
    end: int
    text: str


@dataclass(frozen=True, slots=True)
class Splices:
    """Splices that do not overlap, in the order of the text; all offsets are those of the text before any of them."""

    parts: tuple[Splice, ...]


def in_order(parts: Iterable[Splice]) -> Splices:
    """Return the splices in the order of the text. Raises ValueError when two overlap."""
    ordered = tuple(sorted(parts))
    for before, after in zip(ordered, ordered[1:], strict=False):
        if after.start < before.end:
            raise ValueError(f"{before} and {after} overlap")
    return Splices(ordered)


def spliced(text: str, splices: Splices) -> tuple[str, Splices]:
    """Return the new text, and the splices that turn it back into ``text``. Raises ValueError for offsets outside the text."""
    pieces: list[str] = []
    inverse: list[Splice] = []
    at = shift = 0
    for start, end, new in splices.parts:
        if not at <= start <= end <= len(text):
            raise ValueError(f"there is no text from {start} to {end}")
        pieces += (text[at:start], new)
        inverse.append(Splice(start + shift, start + shift + len(new), text[start:end]))
        shift += len(new) - (end - start)
        at = end
    return "".join([*pieces, text[at:]]), Splices(tuple(inverse))


def difference(text: str, other: str) -> Splices:
    """Return the one splice that turns a text into the other: what lies between where both begin and end alike.

    >>> difference("length: 42 m", "length: 60 m")
    Splices(parts=(Splice(start=8, end=10, text='60'),))
    """
    if text == other:
        return Splices(())
    shortest = min(len(text), len(other))
    start = _alike(text, other, shortest)
    same = _alike(text[::-1], other[::-1], shortest - start)
    return Splices((Splice(start, len(text) - same, other[start : len(other) - same]),))


def _alike(text: str, other: str, most: int) -> int:
    """Return how many of the first ``most`` characters are alike; whole pieces are compared, since texts are long."""
    low, high = 0, most
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if text[low:middle] == other[low:middle] else (low, middle - 1)
    return low
