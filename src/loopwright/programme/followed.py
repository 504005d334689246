"""The events a switched output may follow: what begins each, and what ends it. Common practice, no source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Followed:
    """An event an output may follow: the words that begin it and those that end it (none: it is a moment).

    It lasts in an area, or in the system: ``of_system`` names the conditions that are the event.
    """

    begins: frozenset[str]
    ends: frozenset[str] = frozenset()
    of_system: frozenset[str] = frozenset()


def _lasting(begins: str, ends: str, *of_system: str) -> Followed:
    return Followed(begins=frozenset(begins.split()), ends=frozenset(ends.split()), of_system=frozenset(of_system))


_UNSET = "unset setting-fails setting-stops"
_ENTRY = "entry exit-error"
EVENTS: Mapping[str, Followed] = {
    "alarm": _lasting("alarm", f"cleared {_UNSET}"),
    "strobe": _lasting("alarm", f"cleared {_UNSET}"),
    "confirmed": _lasting("confirmed", f"cleared {_UNSET}"),
    "tamper": _lasting("tamper", "cleared", "tamper"),
    "hold-up": _lasting("hold-up", "cleared", "hold-up"),
    "duress": _lasting("duress", ""),
    "chime": _lasting("chime", ""),
    "soak": _lasting("soak-test", ""),
    "lock": _lasting("locked-out", ""),
    "unset": _lasting(_UNSET, "exit-begins set"),
    "set": _lasting("set exit-error", _UNSET),
    "entry": _lasting(_ENTRY, f"alarm {_UNSET}"),
    "exit": _lasting("exit-begins", f"set exit-error {_UNSET}"),
    "sounder": _lasting("sounds", "silent"),
    "mains": _lasting("fault", "restored", "mains"),
    "battery": _lasting("fault", "restored", "battery"),
    "low": _lasting("fault", "restored", "battery"),
    "path": _lasting("fault", "restored", "path"),
    "fault": _lasting("fault", "restored", "mains", "battery", "path"),
}
"""By the word with which what is followed begins."""
UNTOLD = ("part", "zone", "reset", "test", "all", "code", "area")
"""Words with which further events begin that a unit may switch by; the rehearsal does not tell them."""


def is_event(follows: str) -> bool:
    """Return whether what an output is said to follow begins with a word of an event.

    >>> is_event("alarm in any area"), is_event("Hold-up"), is_event("bananas")
    (True, True, False)
    """
    return follows.strip().lower().startswith((*EVENTS, *UNTOLD))
