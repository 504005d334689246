"""Times in which something is not watched although the system is set: what, why, how long at most. Answers "the zone went quiet"."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.job.document import Job
from loopwright.programme.response import DOOR, IMMEDIATE, ROUTE, does, set_states

DAY_S = 86_400.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Unprotected:
    """One period: ``most_s`` [s] is its longest, None where nobody has said what would bound it (``unknown`` tells what to enter)."""

    subject: str
    what: str
    why: str
    ends: str
    most_s: float | None
    unknown: str = ""


def unprotected(job: Job) -> tuple[Unprotected, ...]:
    """Return every period in which a set system leaves something unwatched, as the programme says."""
    return (*_locked_out(job), *_left_out(job), *_entry(job), *_exit(job), *_blind(job), *_reported_late(job))


def _set_for(job: Job, area_id: str) -> tuple[float | None, str]:
    """Return the longest time [s] an area stays set, and what to enter where that is not known.

    A shared area is unset as soon as one of the areas that share it is, so none of them outlasts it.
    """
    area = job.areas[area_id]
    hours = [known for name in (area_id, *area.common_to) if (known := job.areas[name].longest_set_h) is not None]
    return (None, f"areas/{area_id}/longest_set_h") if not hours else (min(hours) * 3600, "")


def _alarming(job: Job, area_id: str) -> list[str]:
    """Return the zones of an area that raise an alarm only while it is set, by number and text."""
    found = []
    for zone in job.zones.values():
        if area_id in zone.areas and {IMMEDIATE, ROUTE, DOOR} & {does(zone, state) for state in set_states(job)}:
            found.append(f"zone {zone.number} ({zone.text})")
    return found


def _locked_out(job: Job) -> list[Unprotected]:
    """Lock-out: after so many alarms a zone is quiet until the alarms counted are forgotten."""
    told, found = job.programme, []
    if not told.lock_out_trips:
        return []
    quiet = f", or when the zone was quiet for {time_words(told.lock_out_quiet_s)}" if told.lock_out_quiet_s else ""
    ends = {"unset": "when the area is unset", "set": "when it is set again", "midnight": "at midnight"}[told.lock_out_reset] + quiet
    for area_id, area in job.areas.items():
        zones = _alarming(job, area_id)
        if not zones:
            continue
        most_s, unknown = _set_for(job, area_id)
        if told.lock_out_reset == "midnight":
            most_s, unknown = (DAY_S if most_s is None else min(DAY_S, most_s)), ""
        found.append(
            Unprotected(
                subject=f"areas/{area_id}",
                what=f"any one of the {len(zones)} zones of {area.name}",
                why=f"locked out after {told.lock_out_trips} of its alarms",
                ends=ends, most_s=most_s, unknown=unknown,
            )
        )  # fmt: skip
    return found


def _left_out(job: Job) -> list[Unprotected]:
    """A zone that stood open at setting, or still does when nothing confirmed its alarm, stays inhibited until the area is unset."""
    told, ways = job.programme, list[tuple[str, str]]()
    if told.override_open or told.prevents.get("open", "never") in ("user", "engineer"):
        ways.append(("that stood open", "inhibited when it was set with them open"))
    if told.confirm_s and told.unconfirmed == "inhibited":
        ways.append(("that still stand open", "inhibited after an alarm that nothing confirmed in time"))
    found = []
    for area_id, area in job.areas.items():
        most_s, unknown = _set_for(job, area_id)
        for which, why in ways:
            what, ends = f"zones of {area.name} {which}", "when the area is unset"
            found.append(Unprotected(subject=f"areas/{area_id}", what=what, why=why, ends=ends, most_s=most_s, unknown=unknown))
    return found


def _entry(job: Job) -> list[Unprotected]:
    """Entry: from an entry door the way to the keypad raises no alarm while the entry time runs."""
    found = []
    for area_id, area in job.areas.items():
        zones = [zone for zone in job.zones.values() if area_id in zone.areas]
        if any(does(zone, state) == DOOR for zone in zones for state in set_states(job)):
            unknown = "" if area.entry_s is not None else f"areas/{area_id}/entry_s"
            what, why = f"entry doors and route of {area.name}", "somebody who came in by an entry door is given the entry time"
            subject, ends = f"areas/{area_id}", "when the entry time is over"
            found.append(Unprotected(subject=subject, what=what, why=why, ends=ends, most_s=area.entry_s, unknown=unknown))
    return found


def _exit(job: Job) -> list[Unprotected]:
    """Exit: until it is over the way out is not watched; with a restart it may begin once more."""
    told, found = job.programme, []
    for area_id, area in job.areas.items():
        subject, what = f"areas/{area_id}", f"doors and route of {area.name}"
        if told.set_by != "timed":
            by = "the final door has shut" if told.set_by == "final-door" else "the lock is thrown"
            ends = f"when {by} and {told.settle_s or 0:g} s have passed"
            why = f"setting waits until {by}, however long that takes"
            found.append(Unprotected(subject=subject, what=what, why=why, ends=ends, most_s=None, unknown="programme/set_by"))
            continue
        most_s = None if area.exit_s is None else area.exit_s * (2 if told.exit_restart else 1)
        why = "the exit time runs" + (", and once more where the door is used twice" if told.exit_restart else "")
        ends, unknown = "when the exit time is over", "" if most_s is not None else f"{subject}/exit_s"
        found.append(Unprotected(subject=subject, what=what, why=why, ends=ends, most_s=most_s, unknown=unknown))
    return found


def _blind(job: Job) -> list[Unprotected]:
    """Power back: inputs are ignored for a while."""
    time_s = job.programme.blind_s
    if not time_s:
        return []
    why, ends = "inputs are ignored when power has come back after a total loss", "when that time is over"
    return [Unprotected(subject="programme/blind_s", what="every zone", why=why, ends=ends, most_s=time_s)]


def _reported_late(job: Job) -> list[Unprotected]:
    """Abort: nobody is told of the alarm while the window runs."""
    time_s = job.programme.abort_s
    if not time_s or job.signalling.centre is None:
        return []
    why, ends = "the alarm is not signalled yet: the abort window runs", "when the window is over"
    return [Unprotected(subject="programme/abort_s", what="the receiving centre", why=why, ends=ends, most_s=time_s)]


def time_words(time_s: float | None) -> str:
    """Return a time as people say it.

    >>> time_words(45), time_words(240), time_words(1209600), time_words(None)
    ('45 s', '4 min', '14 days', 'not known')
    """
    if time_s is None:
        return "not known"
    for length_s, words in ((2 * DAY_S, "days"), (7200.0, "h"), (120.0, "min")):
        if time_s >= length_s:
            return f"{time_s / {'days': DAY_S, 'h': 3600.0, 'min': 60.0}[words]:.3g} {words}"
    return f"{time_s:g} s"
