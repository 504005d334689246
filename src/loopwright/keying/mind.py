"""What a change of the programme may do on a live system: sirens, the receiving centre, people who rely on it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from loopwright.explain.caution import SENTENCES
from loopwright.keying.form import NONE, Kind
from loopwright.keying.spot import Spot

if TYPE_CHECKING:
    from collections.abc import Sequence

    from loopwright.keying.plan import Entry

SOUNDS, SENDS = "may sound the sirens", "may send to the receiving centre"
AT_ONCE = frozenset({"24-hour", "hold-up", "tamper"})
"""Responses that answer in every state, so that a zone open or untied when they are entered raises an alarm at once."""
LIVE_SENTENCE = (
    "This system is in use: have the receiving centre put it on test, tell the people in the building, unset every area, and take it "
    "off test only when the last entry has been read back and one signal of each kind has arrived."
)
RESTORE_SENTENCE = (
    "A factory restore takes every user, code and text out at once, and zones and lids may then alarm: nothing protects the premises "
    "until the last entry is done."
)
"""Common practice, no source."""


def minds_of(spot: Spot) -> tuple[str, ...]:
    """Return what entering a setting may do by itself."""
    if spot.form.kind in (Kind.SECRET, Kind.CLOCK, Kind.TEXT):
        return ()
    head = spot.path.partition("/")[0]
    words = set(str(spot.wanted).split("_")) if isinstance(spot.wanted, str) else set()
    if head == "zones" and words & AT_ONCE:
        return (SOUNDS, SENDS)
    if head == "outputs" and spot.wanted != NONE:
        return (SOUNDS,)
    return (SENDS,) if head == "signalling" else ()


def warnings_of(entries: Sequence[Entry], *, live: bool, restore: bool) -> tuple[str, ...]:
    """Return the usual cautions of what a plan does, in whole sentences."""
    found = [LIVE_SENTENCE] if live and (entries or restore) else []
    found += [RESTORE_SENTENCE] if restore else []
    told = {mind for entry in entries for mind in entry.minds}
    found += [SENTENCES["noise"]] if SOUNDS in told or restore else []
    return (*found, *((SENTENCES["hold-up"],) if SENDS in told or restore else ()))
