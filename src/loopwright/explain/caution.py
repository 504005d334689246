"""The usual cautions of the trade in whole sentences: where work can hurt, and whose word counts."""

from __future__ import annotations

from loopwright.explain.catalogue import faults
from loopwright.explain.check import Check, CheckKind

SENTENCES = {
    "mains": "Mains: fixed wiring and whatever lies behind the mains cover are for licensed people. Isolate, lock off, prove dead.",
    "battery": "Battery: never short the lugs, no rings or metal watches, connect in the order the unit's own instructions give.",
    "ladder": "Ladder: three points of contact, footed, a second person outdoors or at height.",
    "noise": "Noise: warn the people in the building, cover your ears; a sounder at arm's length harms hearing.",
    "hold-up": "Hold-up: agree with the receiving centre before anything is touched, and tell the users that no help comes on test.",
}
"""Common practice, no source."""
WORDS = {
    "mains": "mains", "shock": "mains", "prove dead": "mains", "battery": "battery", "lugs": "battery", "jewellery": "battery",
    "ladder": "ladder", "noise": "noise", "ear protection": "noise", "neighbours": "noise", "hold-up": "hold-up",
}  # fmt: skip
"""What a caution in brief speaks of, by the words it may use."""
_BATTERY = frozenset({CheckKind.BATTERY_VOLTS, CheckKind.LEADS_VOLTS, CheckKind.FUSE_VOLTS})


def in_full(brief: str) -> tuple[str, ...]:
    """Return the sentences behind a caution in brief; one that speaks of nothing known stands as it is.

    >>> in_full("ladder; ear protection")[1][:5], in_full("do not bridge"), in_full("")
    ('Noise', ('Do not bridge.',), ())
    """
    meant = dict.fromkeys(key for word, key in WORDS.items() if word in brief.casefold())
    if not brief or meant:
        return tuple(SENTENCES[key] for key in meant)
    return (f"{brief[0].upper()}{brief[1:]}{'' if brief.endswith('.') else '.'}",)


def caution_of(check: Check) -> str:
    """Return the caution of a check in brief; empty where nothing can hurt."""
    if check.kind is CheckKind.LOOK:
        brief = faults()[check.fault].caution if check.fault in faults() else ""
        # What is done from the floor needs no ladder, though mending it may.
        climbs = check.by not in ("caller", "eyes")
        return brief if climbs else "; ".join(part for part in brief.replace(", ", "; ").split("; ") if part != "ladder")
    found = ["mains"] if check.kind in (CheckKind.SECONDARY_VOLTS, CheckKind.FUSE_VOLTS) else []
    found += ["battery"] if check.kind in _BATTERY else []
    found += ["noise"] if check.scenario.startswith("alarm") else []
    found += ["ladder"] if any("ladder" in need for need in check.needs) else []
    return "; ".join(found)
