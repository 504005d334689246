"""The observers: what is reported, what sounds. They read what an area does and gives out; it never reads them."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.rehearse import confirm
from loopwright.rehearse.moment import Moment
from loopwright.rehearse.state import (
    CLOSED,
    ENTRY,
    HELD,
    OUTSIDE,
    QUIET_REPORT,
    SENT,
    SILENT,
    SOUNDING,
    WAITS,
    WINDOW,
    Output,
    counts_soundings,
    remembers_told,
)  # fmt: skip


def observe(now: Moment, outputs: Sequence[Output]) -> None:
    """Let each observer follow what was given out."""
    for area in filter(now.programme.observes, now.programme.areas):
        here = [each for each in outputs if each.place == area]
        if "report" in now.programme.observers:
            _reports(now, area, here)
        if "sound" in now.programme.observers:
            _sounds(now, area, here)
        if "confirm" in now.programme.observers and area not in now.programme.judged:
            confirm.follows(now, area, here)


def _reports(now: Moment, area: str, here: Sequence[Output]) -> None:
    """Rows 9, 11 and 12: what is sent of an alarm, and when."""
    field = f"{area}.report"
    for each in here:
        if each.word == "alarm":
            _report_alarm(now, area)
        elif each.word == "trips-forgotten" and remembers_told(now.programme):
            now[f"{area}.told"] = 0
        elif each.word in ("unset", "cleared", "setting-fails", "setting-stops"):
            stands = now[field]
            if stands in (WINDOW, HELD, WAITS):
                now.say("aborted", area)
            elif stands == SENT:
                now.send("cancel", area)
            if stands != QUIET_REPORT:
                now[field] = QUIET_REPORT
                now.begin(f"{area}.report-clock")
    if now.programme.told.entry_alarm_s and any(each.word in ("alarm", "set") for each in here):
        if now[field] == WAITS and now[f"{area}.mode"] != ENTRY:
            _window(now, area)


def _report_alarm(now: Moment, area: str) -> None:
    stands = now[f"{area}.report"]
    if stands in (WINDOW, HELD, WAITS):
        return
    if now.programme.told.entry_alarm_s and now[f"{area}.mode"] == ENTRY and stands == QUIET_REPORT:
        now[f"{area}.report"] = HELD
        now.begin(f"{area}.report-clock")
    elif stands == QUIET_REPORT:
        _window(now, area)
    else:
        _send_alarm(now, area)


def _window(now: Moment, area: str) -> None:
    if now.programme.told.abort_s:
        now[f"{area}.report"] = WINDOW
        now.begin(f"{area}.report-clock")
        now.say("abort-window", area)
    else:
        _send_alarm(now, area)


def _send_alarm(now: Moment, area: str) -> None:
    now[f"{area}.report"] = SENT
    now.begin(f"{area}.report-clock")
    if remembers_told(now.programme) and "alarm" in now.programme.told.reports:
        now[f"{area}.told"] = 1
    now.send("alarm", area)


def report_ends(now: Moment, area: str) -> bool:
    """Row 16: the abort window ends and the alarm is sent, the cancel window closes, or the hold during entry is over."""
    stands = now[f"{area}.report"]
    if stands == WINDOW:
        _send_alarm(now, area)
    elif stands == SENT and now.programme.told.cancel_s is not None:
        now[f"{area}.report"] = CLOSED
        now.begin(f"{area}.report-clock")
    elif stands == HELD:
        if now[f"{area}.mode"] == ENTRY:
            now[f"{area}.report"] = WAITS
            now.begin(f"{area}.report-clock")
        else:
            _window(now, area)
    else:
        return False
    return True


def _sounds(now: Moment, area: str, here: Sequence[Output]) -> None:
    """Rows 7 and 15: a sound begins the time of the sounders anew, as often as it may; unsetting or clearing ends it."""
    for each in here:
        if each.word == "sound" and now.programme.told.sounder_s:
            _sound(now, area, each.about)
        elif each.word in ("unset", "cleared", "setting-fails", "setting-stops"):
            if counts_soundings(now.programme):
                now[f"{area}.sounded"] = 0
            if now[f"{area}.sound"]:
                now[f"{area}.sound"] = SILENT
                now.begin(f"{area}.sound-clock")
                now.say("silent", area)


def _sound(now: Moment, area: str, which: str) -> None:
    wanted = OUTSIDE if now.programme.apart and which == "external" else SOUNDING
    if _goes_on(now, area, wanted):
        now.say("sounds-already", area)
        return
    if counts_soundings(now.programme):
        if now[f"{area}.sounded"] >= now.programme.told.soundings:
            now.say("sounded-enough", area)
            return
        now[f"{area}.sounded"] = now[f"{area}.sounded"] + 1
    now[f"{area}.sound"] = wanted
    now.begin(f"{area}.sound-clock")
    now.say("sounds", area, which)


def _goes_on(now: Moment, area: str, wanted: int) -> bool:
    """Return whether it sounds already as is wanted, or outside where only inside is, and its time is not begun anew."""
    if now.programme.told.sounder_anew:
        return now.programme.apart and wanted == SOUNDING and now[f"{area}.sound"] == OUTSIDE
    return now[f"{area}.sound"] >= wanted


def sound_ends(now: Moment, area: str) -> bool:
    """Row 15: the sounders fall silent; the next alarm sounds again."""
    if not now[f"{area}.sound"]:
        return False
    now[f"{area}.sound"] = SILENT
    now.begin(f"{area}.sound-clock")
    now.say("silent", area)
    return True
