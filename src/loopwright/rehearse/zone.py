"""What an activated zone does: rows 7 to 10, 13 and 14 of docs/programme.md."""

from __future__ import annotations

from loopwright.programme.heard import COMING_IN, FULL_SET, LEAVING, PART_SET
from loopwright.programme.response import ON_THE_WAY, Response
from loopwright.rehearse.moment import Moment
from loopwright.rehearse.setting import ends_by_act, forget_trips, leave, served
from loopwright.rehearse.state import (
    ANOTHER,
    ENTRY,
    EXIT,
    NOBODY,
    NOT_USED,
    ON,
    SET,
    SETTLING,
    UNSET,
    USED,
    USED_AGAIN,
    fields,
    forgets_when_quiet,
    known,
    number_of,
)  # fmt: skip


def opens(now: Moment, name: str) -> bool:
    """A zone is activated: a contact that is followed opens and stays open, anything else gives a pulse."""
    zone = now.programme.zones[name]
    if zone.contact and zone.followed:
        if now[f"{name}.open"]:
            return False
        now[f"{name}.open"] = 1
    if "power" in now.programme.tracks and now["power"] != ON:
        now.say("ignored-without-power", "", name)
        return True
    areas = zone.areas
    if now.programme.told.shared_zones == "all" and len(areas) > 1 and any(now[f"{area}.mode"] == UNSET for area in areas):
        areas = tuple(area for area in areas if now[f"{area}.mode"] == UNSET)
    counted = [_answer(now, name, area) for area in areas]
    if any(counted):
        _count(now, name)
    return True


def _count(now: Moment, name: str) -> None:
    """Row 7: one more alarm of a zone towards its lock-out."""
    if f"{name}.trips" in fields(now.programme):
        now[f"{name}.trips"] = min(now[f"{name}.trips"] + 1, now.programme.told.trips)


def _not_quiet(now: Moment, name: str) -> None:
    """Row 21a: the time a zone has been quiet begins anew, with an alarm that does not count too."""
    if name in forgets_when_quiet(now.programme):
        now.begin(f"{name}.quiet-clock")


def quiet_ends(now: Moment, name: str) -> bool:
    """Row 21a: a zone was quiet for a time, and its alarms are forgotten."""
    if not now[f"{name}.trips"]:
        return False
    now.due = f"{name}.quiet-clock"
    forget_trips(now, [name])
    for area in now.programme.zones[name].areas:
        now.say("trips-forgotten", area, name)
    return True


def shuts(now: Moment, name: str) -> bool:
    """A contact shuts. A final door that does ends the exit where that is how it is set."""
    zone = now.programme.zones[name]
    if zone.followed:
        if not zone.contact or not now[f"{name}.open"]:
            return False
        now[f"{name}.open"] = 0
        if "power" in now.programme.tracks and now["power"] != ON:
            return True
    elif now.programme.told.set_by != "final-door" or not zone.contact or ("power" in now.programme.tracks and now["power"] != ON):
        return False
    if now.programme.told.set_by == "final-door":
        doors = [area for area in zone.areas if now[f"{area}.mode"] == EXIT and now.does(name, area) is Response.FINAL_EXIT]
        return any([ends_by_act(now, area) for area in doors]) or zone.followed
    return True


def _answer(now: Moment, name: str, area: str) -> bool:
    """Answer a zone in one area; return whether it is an alarm that counts towards lock-out."""
    does, mode = now.does(name, area), now[f"{area}.mode"]
    if does is Response.HOLD_UP:
        return _latches(now, name, area, "hold-up")
    if does in (Response.IGNORED, Response.SOAK_TEST, Response.CHIME):
        word = {Response.SOAK_TEST: "soak-test", Response.CHIME: "chime" if mode == UNSET else "ignored"}.get(does, "ignored")
        now.say(word, area, name)
        return False
    quiet = _quiet(now, name) if mode != UNSET else ""
    if quiet:
        now.say(quiet, area, name)
        if _locked_out(now, name):
            _not_quiet(now, name)
        return False
    if does is Response.TAMPER:
        return _latches(now, name, area, "tamper")
    if does is Response.ROUND_THE_CLOCK:
        return _alarm(now, name, area, f"24-hour-{'unset' if mode == UNSET else 'set'}")
    if mode == UNSET:
        now.say("ignored", area, name)
        return False
    return _armed(now, name, area, does, mode)


def _armed(now: Moment, name: str, area: str, does: Response, mode: int) -> bool:
    if mode == EXIT and does in ON_THE_WAY:
        if does is Response.FINAL_EXIT:
            _door_used(now, area)
        now.say("tolerated", area, name)
        return False
    if mode == EXIT and now.programme.told.exit_alarm == "stops":
        now.say("setting-stops", area, name)
        leave(now, area)
        return False
    if mode == ENTRY and does in ON_THE_WAY:
        now.say("tolerated", area, name)
        return False
    if mode == SET and does is Response.FINAL_EXIT:
        now[f"{area}.mode"] = ENTRY
        now[f"{area}.starter"] = number_of(now.programme, name)
        now.begin(f"{area}.clock")
        now.say("entry", area, name)
        served(now, area)
        return False
    return _alarm(now, name, area, _intruder(now, area))


def _intruder(now: Moment, area: str) -> str:
    """Return the cell for an intruder's alarm: of the set state, or of the exit or entry that runs."""
    mode, sounds = now[f"{area}.mode"], now.programme.sounds
    if mode != SET:
        return LEAVING if mode == EXIT else COMING_IN
    return PART_SET if sounds[FULL_SET] != sounds[PART_SET] and now[f"{area}.part"] else FULL_SET


def _door_used(now: Moment, area: str) -> None:
    """A use of the final door during exit: the second begins the exit time again, once (SIA CP-01 4.2.2.3). Settling is broken off."""
    used = now[f"{area}.door"]
    if used == SETTLING:
        now[f"{area}.door"] = USED
        now.begin(f"{area}.clock")
    elif used == NOT_USED:
        now[f"{area}.door"] = USED
    elif used == USED and now.programme.told.exit_restart and now.programme.told.set_by == "timed":
        now[f"{area}.door"] = USED_AGAIN
        now.begin(f"{area}.clock")


def _quiet(now: Moment, name: str) -> str:
    """Row 8: why a zone says nothing, by name."""
    remembered = fields(now.programme)
    if f"{name}.inhibited" in remembered and now[f"{name}.inhibited"]:
        return "inhibited"
    return "locked-out" if _locked_out(now, name) else ""


def _locked_out(now: Moment, name: str) -> bool:
    return f"{name}.trips" in fields(now.programme) and now[f"{name}.trips"] >= now.programme.told.trips


def _alarm(now: Moment, name: str, area: str, cell: str) -> bool:
    """Row 7: an alarm, which sounds as the programme's ``cell`` says. It counts towards lock-out while its area is not unset."""
    now[f"{area}.memory"] = 1
    _not_quiet(now, name)
    now.say("alarm", area, name)
    now.sound(area, cell)
    return now[f"{area}.mode"] != UNSET


def _latches(now: Moment, name: str, area: str, what: str) -> bool:
    """Row 14: a tamper or hold-up is latched, signalled at once, and sounds as the programme's cell says."""
    if "conditions" in now.programme.tracks:
        now[what] = 1
    now.say(what, area, name)
    now.send(what, area)
    now.sound(area, f"{what}-{'unset' if now[f'{area}.mode'] == UNSET else 'set'}")
    return False


def entry_ends(now: Moment, area: str) -> bool:
    """Row 10: nobody unset in time. The area is set as before, and the door that started entry raises its alarm."""
    starter = now[f"{area}.starter"]
    now[f"{area}.mode"] = SET
    now[f"{area}.starter"] = NOBODY
    now.begin(f"{area}.clock")
    served(now, area)
    if starter == NOBODY:
        now.send("exit-error", area)
    name = "" if starter in (NOBODY, ANOTHER) else known(now.programme)[starter - 2]
    _alarm(now, name, area, _intruder(now, area))
    _count(now, name)
    return True
