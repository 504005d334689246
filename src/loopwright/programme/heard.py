"""What sounds on an alarm, and where: the cells of ``sounds`` of a programme, in words and as usual (common practice, no source)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from loopwright.programme.response import ON_THE_WAY, Response

FULL_SET, PART_SET, LEAVING, COMING_IN, EXIT_ERROR = "intruder-full", "intruder-part", "intruder-exit", "intruder-entry", "exit-error"


class Sound(NamedTuple):
    """A cell: what it is about in words, and what sounds where a programme says nothing."""

    words: str
    usual: str


SOUNDS: Mapping[str, Sound] = {
    FULL_SET: Sound("intruder alarm, set in full", "external"),
    PART_SET: Sound("intruder alarm, set in part", "external"),
    LEAVING: Sound("intruder alarm during exit", "external"),
    COMING_IN: Sound("intruder alarm during entry", "external"),
    EXIT_ERROR: Sound("exit error", "external"),
    "tamper-unset": Sound("tamper, unset", "internal"),
    "tamper-set": Sound("tamper, set", "external"),
    "hold-up-unset": Sound("hold-up, unset", "silent"),
    "hold-up-set": Sound("hold-up, set", "silent"),
    "24-hour-unset": Sound("24-hour, unset", "internal"),
    "24-hour-set": Sound("24-hour, set", "external"),
}
"""EN 50131-1 Table 7 allows no external sound while unset, neither for intruders nor for tamper."""
_WHILE_UNSET = frozenset(key for key in SOUNDS if key.endswith("-unset"))
_LATCHED = {Response.TAMPER: "tamper-set", Response.HOLD_UP: "hold-up-set", Response.ROUND_THE_CLOCK: "24-hour-set"}


def told_apart(sounds: Mapping[str, str], *, anew: bool) -> bool:
    """Return whether it matters if it sounds outside or inside only.

    It does where inside only may be asked for while it sounds outside: unsetting silences, so that is while set. Where no alarm begins
    the sounders' time ``anew``, it does wherever there are both: what sounds inside is still to sound outside.
    """
    inside = {key for key, which in sounds.items() if which == "internal"}
    return "external" in sounds.values() and bool(inside - _WHILE_UNSET if anew else inside)


def cells_set(does: Iterable[Response]) -> frozenset[str]:
    """Return the cells a zone may come to while its area is not unset; ``does`` is what it does in full set, then in each part set."""
    found = set[str]()
    for number, each in enumerate(does):
        if each in _LATCHED:
            found.add(_LATCHED[each])
        elif each is Response.IMMEDIATE or each in ON_THE_WAY:
            found.add(PART_SET if number else FULL_SET)
            found |= {LEAVING, COMING_IN} if each is Response.IMMEDIATE else set()
    return frozenset(found)
