"""The usual cautions of the trade in whole sentences: where work can hurt, and whose word counts."""

from __future__ import annotations

from loopwright.explain.catalogue import faults
from loopwright.explain.check import Check, CheckKind

SENTENCES = {
    "mains": "Mains: fixed wiring and whatever lies behind the mains cover are for licensed people. Isolate, lock off, prove dead.",
    "battery": "Battery: never short the lugs, no rings or metal watches; it gives off gas while it charges; connect in the order the "
    "unit's own instructions give.",
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
UNTOUCHED = ("ladder", "battery")
"""Cautions of a fault that are none of a look at it from the floor with nothing taken off."""
_BATTERY = frozenset({CheckKind.BATTERY_VOLTS, CheckKind.LEADS_VOLTS, CheckKind.FUSE_VOLTS})


def in_full(brief: str) -> tuple[str, ...]:
    """Return the sentences behind a caution in brief, and what of it says more than they do.

    >>> in_full("ladder; ear protection")[1][:5], in_full("do not bridge"), in_full("mains; never open a live spur")[1], in_full("")
    ('Noise', ('Do not bridge.',), 'Never open a live spur.', ())
    """
    parts = [part.strip() for part in brief.split(";") if part.strip()]
    meant = dict.fromkeys(key for word, key in WORDS.items() if word in brief.casefold())
    own = [part for part in parts if not all(each.strip().casefold() in WORDS for each in part.split(","))]
    return (*(SENTENCES[key] for key in meant), *(f"{part[0].upper()}{part[1:]}{'' if part.endswith('.') else '.'}" for part in own))


def caution_of(check: Check) -> str:
    """Return the caution of a check in brief; empty where nothing can hurt."""
    if check.kind is CheckKind.LOOK:
        brief = faults()[check.fault].caution if check.fault in faults() else ""
        if check.by not in ("caller", "eyes"):
            return brief
        # What is only asked or looked at climbs nowhere and touches no battery, though mending it may.
        return "; ".join(part for part in brief.replace(", ", "; ").split("; ") if part not in UNTOUCHED)
    found = ["mains"] if check.kind in (CheckKind.SECONDARY_VOLTS, CheckKind.FUSE_VOLTS) else []
    found += ["battery"] if check.kind in _BATTERY else []
    # Of what is told a scenario is the word that is asked: nobody is near a sounder for it.
    found += ["noise"] if check.kind is not CheckKind.TOLD and check.scenario.startswith("alarm") else []
    found += ["ladder"] if any("ladder" in need for need in check.needs) else []
    return "; ".join(found)
