"""Checks on a programme that contradicts itself, and on rights that leave an area to nobody."""

from __future__ import annotations

from loopwright.job.document import Job, Stage
from loopwright.programme.response import DOOR, KNOWN, UNSET, does, set_states
from loopwright.rules.facts import Facts
from loopwright.rules.worked import due, some
from loopwright.values.finding import Finding, Severity


def check_response_words(facts: Facts) -> list[Finding]:
    """Every response is a word this program knows, so that it can be held against anything."""
    job, found = facts.job, []
    for name, zone in job.zones.items():
        strange = [state for state in (UNSET, *set_states(job)) if does(zone, state) and does(zone, state) not in KNOWN]
        if strange:
            said = some([f"{zone.response[state]} ({state})" for state in strange])
            words = f"Zone {zone.number} ({zone.text}): {said} is no response known here, so nothing can be said of what it does."
            found.append(_gap("response-unknown", f"zones/{name}/response", words, f"Use one of {', '.join(sorted(KNOWN))}."))
    return found


def _gap(code: str, subject: str, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=Severity.GAP, subject=subject, sentence=sentence, remedy=remedy, source="job-document")


def check_exit_time_there(facts: Facts) -> list[Finding]:
    """An area with a final exit, set by time, has a time to go out in and a time to come in."""
    job, found = facts.job, []
    for name, area in job.areas.items():
        doors = [zone for zone in job.zones.values() if name in zone.areas and any(does(zone, state) == DOOR for state in set_states(job))]
        for field, words in (("exit_s", "exit"), ("entry_s", "entry")):
            # A time that is not entered at all is a gap where the rules limit it; nought is one that says there is none.
            if not doors or getattr(area, field) != 0 or (field == "exit_s" and job.programme.set_by != "timed"):
                continue
            found.append(
                Finding(
                    code="final-exit-without-time",
                    severity=due(job, Stage.PROGRAMMED, Severity.MUST),
                    subject=f"areas/{name}/{field}",
                    sentence=f"Zone {doors[0].number} ({doors[0].text}) is a final exit of {area.name}, whose {words} time is 0 s: "
                    f"nobody can go {'out' if words == 'exit' else 'in'} by it without an alarm.",
                    remedy=f"Enter the {words} time, or another response.",
                    source="job-document",
                )
            )
    return found


def check_shared_areas(facts: Facts) -> list[Finding]:
    """No shared area is shared by itself, directly or by way of others."""
    job, told, found = facts.job, set[str](), []
    for name in job.areas:
        circle = _circle(job, name)
        if not circle or told & set(circle):
            continue
        told |= set(circle)
        words = some([job.areas[each].name for each in circle])
        found.append(
            Finding(
                code="shared-area-circular",
                severity=due(job, Stage.PROGRAMMED, Severity.MUST),
                subject=f"areas/{name}/common_to",
                sentence=f"{words} {'is' if len(circle) == 1 else 'are'} shared in a circle: each waits for the other, none is ever set.",
                remedy="Let a shared area be shared only by areas that people set.",
                source="job-document",
            )
        )
    return found


def _circle(job: Job, name: str) -> list[str]:
    """Return the areas of a circle that begins and ends at an area; empty when there is none."""
    ways = [[name]]
    seen = set[str]()
    while ways:
        way = ways.pop()
        for each in job.areas[way[-1]].common_to:
            if each == name:
                return way
            if each not in seen:
                seen.add(each)
                ways.append([*way, each])
    return []


def check_rights(facts: Facts) -> list[Finding]:
    """Somebody may set every area and somebody may unset it; a shared one follows the areas that share it."""
    job, found = facts.job, []
    for name, area in job.areas.items():
        rights = {user.areas.get(name, "none") for user in job.users.values()}
        # Cells that say nothing are found by themselves; who may do nothing everywhere is a choice.
        if area.common_to or not job.users or any(name not in user.areas for user in job.users.values()):
            continue
        for act, code in (("set", "area-nobody-sets"), ("unset", "area-nobody-unsets")):
            if not rights & {act, "both"}:
                found.append(
                    Finding(
                        code=code,
                        severity=due(job, Stage.PROGRAMMED, Severity.MUST),
                        subject=f"areas/{name}",
                        sentence=f"No user may {act} {area.name}.",
                        remedy=f"Give somebody the right to {act} it, or take the area out.",
                        source="job-document",
                    )
                )
    return found
