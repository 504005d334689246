"""An area that sets itself when its time comes: row 22 of docs/programme.md. The time may come whenever it is unset."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.rehearse import setting
from loopwright.rehearse.moment import Moment
from loopwright.rehearse.plan import Person, Programme
from loopwright.rehearse.state import UNSET, Event

FULL_SET = 0
OF_A_SCHEDULE = ("its-time", "warning-ends")


def events(programme: Programme, area: str) -> Iterator[Event]:
    """Yield what can happen: its time comes, with nothing in the way or something not remembered; the warning ends; it is put off."""
    warns = programme.areas[area].warns_s
    sets = "warning-ends" if warns else "its-time"
    yield Event("its-time", area)
    if warns:
        yield Event("warning-ends", area)
        yield from (Event("put-off", area, person.name) for person in programme.people if _may_put_off(person, area))
    yield from (Event(sets, area, "", FULL_SET, name) for name in setting.not_remembered(programme, area))


def _may_put_off(person: Person, area: str) -> bool:
    return any(person.right(area, act) for act in ("set", "unset"))


def happens(now: Moment, event: Event, person: Person | None) -> bool:
    """Work out what an event of a schedule does; return whether it can happen."""
    area = event.place
    if now[f"{area}.mode"] != UNSET:
        return False
    if not now.programme.areas[area].warns_s:
        return event.kind == "its-time" and _sets(now, area, event.over)
    warns = now[f"{area}.warns"]
    if event.kind == "its-time":
        if warns:
            return False
        now[f"{area}.warns"] = 1
        now.begin(f"{area}.warning-clock")
        now.say("warning", area)
        return True
    if not warns or (event.kind == "put-off" and (person is None or not _may_put_off(person, area))):
        return False
    now[f"{area}.warns"] = 0
    now.begin(f"{area}.warning-clock")
    if event.kind == "put-off":
        now.say("put-off", area)
        return True
    now.due = f"{area}.warning-clock"
    return _sets(now, area, event.over)


def _sets(now: Moment, area: str, over: str) -> bool:
    """Nobody is there to override anything: what is in the way keeps the area unset, and that is sent."""
    for name in setting.conditions(now, area, FULL_SET, over):
        now.say("prevented", area, name)
        now.send("setting-failed", area)
        return True
    if over:
        return False
    setting.begin_exit(now, area, FULL_SET)
    return True
