"""What is confirmed: rows 13 and 16 of docs/programme.md.

An observer, except in areas with a zone that an unconfirmed alarm may leave inhibited: what that zone does depends on it.
"""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.rehearse.moment import Moment
from loopwright.rehearse.state import CONFIRMED, FIRST, NOT_ASKED, UNCONFIRMED, UNSET, Output, number_of


def follows(now: Moment, area: str, here: Sequence[Output]) -> None:
    """Row 13: an alarm of another zone in time confirms the first (BS 8243, from memory)."""
    field = f"{area}.confirm"
    for each in here:
        if each.word in ("unset", "setting-fails", "setting-stops"):
            if now[field] != UNCONFIRMED:
                now[field] = UNCONFIRMED
                now.begin(f"{area}.confirm-clock")
        elif each.word in ("entry", "exit-error") and not now.programme.told.confirm_in_entry:
            now[field] = NOT_ASKED
            now.begin(f"{area}.confirm-clock")
        elif each.word == "alarm" and now.programme.told.confirm_s:
            _alarm(now, area, each.about)


def _alarm(now: Moment, area: str, zone: str) -> None:
    field, who = f"{area}.confirm", _first(now, zone)
    stands = now[field]
    if stands == UNCONFIRMED:
        now[field] = who
        now.begin(f"{area}.confirm-clock")
    elif stands >= FIRST and stands != who:
        now[field] = CONFIRMED
        now.begin(f"{area}.confirm-clock")
        now.say("confirmed", area, zone)
        now.send("confirmed-alarm", area)


def _first(now: Moment, zone: str) -> int:
    """Return what stands for the alarm of a zone, or of an exit error (no zone), being the first."""
    return FIRST + (number_of(now.programme, zone) - 1 if zone else 0)


def ends(now: Moment, area: str) -> bool:
    """Rows 13 and 16: no second alarm in time. The first is forgotten; its zone, still open, is left inhibited where that is how it is."""
    stands = now[f"{area}.confirm"]
    if stands < FIRST:
        return False
    now.due = f"{area}.confirm-clock"
    now[f"{area}.confirm"] = UNCONFIRMED
    now.begin(f"{area}.confirm-clock")
    now.say("unconfirmed", area)
    for name in now.programme.left:
        if stands == _first(now, name) and area in now.programme.zones[name].areas and now[f"{area}.mode"] != UNSET and now[f"{name}.open"]:
            now[f"{name}.inhibited"] = 1
            now.say("left-inhibited", area, name)
            now.send("zone-inhibited", area)
    return True
