"""All power is lost and comes back: row 20 of docs/programme.md.

Modes and inhibits stand; exit, entry and windows begin again (common practice, no source).
"""

from __future__ import annotations

from loopwright.rehearse.moment import Moment
from loopwright.rehearse.setting import leave, served
from loopwright.rehearse.state import BLIND, GONE, ON, UNSET, clocks

EVENTS = ("power-lost", "power-back", "awake")


def happens(now: Moment, kind: str) -> bool:
    """Work out what losing all power does, and having it back; return whether it can happen."""
    stands = now["power"]
    if kind == "power-lost":
        now["power"] = GONE
        _all_clocks(now)
        now.say(kind)
        return stands != GONE
    if kind == "power-back":
        _all_clocks(now)
        now["power"] = BLIND if now.programme.told.blind_s else ON
        now.say(kind)
        if now.programme.told.after_power == "unset":
            _unset_all(now)
        return stands == GONE
    now["power"] = ON
    now.due = "power-clock"
    now.begin("power-clock")
    now.say(kind)
    return stands == BLIND


def _unset_all(now: Moment) -> None:
    """A unit that forgets its set state comes back unset, and nobody is told that it is (its data sheet says whether it does)."""
    for area in now.programme.areas:
        if now[f"{area}.mode"] == UNSET:
            continue
        if now.programme.areas[area].stand_in:
            now[f"{area}.mode"] = now[f"{area}.part"] = 0
            served(now, area)
        else:
            leave(now, area)
            now.say("unset", area)


def _all_clocks(now: Moment) -> None:
    for clock in clocks(now.programme):
        now.begin(clock)
