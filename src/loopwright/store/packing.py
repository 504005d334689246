"""How texts are kept small: whole every so often, and between as the piece that is not as in the text before.

A text of a job is about 30 kB, and an edit changes a few characters of it. Kept whole and compressed, each revision takes 7 kB; as the
changed piece it takes a hundred bytes. The row of pieces after a whole text is short, so that damage to one row cannot reach far.
"""

from __future__ import annotations

import zlib
from typing import NamedTuple

from loopwright.store.store import Damaged

LONGEST_ROW = 15
"""Pieces after a whole text at most."""
WORTH_IT = 0.5
"""A piece over this share of the whole is kept whole instead."""


class Packed(NamedTuple):
    """A text as kept: compressed whole when ``base`` is empty, otherwise the piece between ``head`` and ``tail`` bytes of another."""

    raw: bytes
    base: str = ""
    head: int = 0
    tail: int = 0
    row: int = 0


def pack(text: bytes, *, base: str = "", before: bytes = b"", row: int = 0) -> Packed:
    """Return the text packed, as a piece of the text ``before`` it when that is worth it; ``row`` is that one's place in its row."""
    whole = Packed(zlib.compress(text, 6))
    if not base or row >= LONGEST_ROW:
        return whole
    head = alike(text, before)
    tail = alike(text[head:][::-1], before[head:][::-1])
    piece = Packed(zlib.compress(text[head : len(text) - tail], 6), base, head, tail, row + 1)
    return piece if len(piece.raw) < WORTH_IT * len(whole.raw) else whole


def alike(one: bytes, other: bytes) -> int:
    """Return how many bytes from the start are the same in both.

    >>> alike(b"length: 42", b"length: 60")
    8
    """
    same, most = 0, min(len(one), len(other))
    while same < most:
        middle = (same + most + 1) // 2
        if one[same:middle] == other[same:middle]:
            same = middle
        else:
            most = middle - 1
    return same


def unpack(packed: Packed, before: bytes = b"") -> bytes:
    """Return the text. Raises Damaged when it was not packed so."""
    try:
        middle = zlib.decompress(packed.raw)
    except zlib.error as error:
        raise Damaged("a kept text cannot be unpacked.") from error
    if not packed.base:
        return middle
    if packed.head + packed.tail > len(before) or min(packed.head, packed.tail) < 0:
        raise Damaged("a kept text does not fit the one it is a piece of.")
    return before[: packed.head] + middle + before[len(before) - packed.tail :]
