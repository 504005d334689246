"""Events a programme can give rise to, so that somebody decides whether each is reported. Common practice, no source."""

from __future__ import annotations

from loopwright.job.document import Job
from loopwright.programme.response import HOLD_UP, does, set_states

ALWAYS = ("alarm", "tamper", "hold-up", "mains-failure", "low-battery", "path-failure", "set-and-unset", "test")
"""Events that somebody decides about for every premises."""
SILENT = frozenset({"hold-up", "duress"})
"""Events that are of no use unless they are reported: nothing is seen or heard of them where they happen."""


def risen(job: Job) -> dict[str, str]:
    """Return the events this programme can give rise to beyond those of every premises, each with what gives rise to it."""
    told, found = job.programme, {}
    if any(user.duress for user in job.users.values()):
        found["duress"] = "a user has a duress code"
    if told.confirm_s:
        found["confirmed-alarm"] = "alarms are confirmed"
        if told.unconfirmed == "inhibited":
            found["zone-inhibited"] = "an alarm that nothing confirmed leaves a zone inhibited"
    if told.abort_s or told.cancel_s:
        found["cancel"] = "an alarm that was sent can be cancelled"
    if told.override_open or {"user", "engineer"} & set(told.prevents.values()):
        found["override"] = "it can be set with something in the way"
    if any(area.set_at for area in job.areas.values()):
        found["setting-failed"] = "an area sets itself"
    if told.lock_out_trips:
        found["lock-out"] = "a zone is locked out after several alarms"
    return found


def decided(job: Job) -> tuple[str, ...]:
    """Return every event somebody has to decide about, and those somebody did decide about beyond them."""
    return tuple(dict.fromkeys((*ALWAYS, *risen(job), *job.signalling.reports)))


def silent_here(job: Job) -> dict[str, str]:
    """Return the silent events of this programme: hold-up where a zone raises one, duress where somebody has the code."""
    found = {"duress": "a duress code"} if any(user.duress for user in job.users.values()) else {}
    states = ("unset", *set_states(job))
    zones = [zone for zone in job.zones.values() if any(does(zone, state) == HOLD_UP for state in states)]
    return found | ({"hold-up": f"zone {zones[0].number} ({zones[0].text})"} if zones else {})
