"""Cells of the programme's matrices that are odd: not wrong by a rule, but what a second pair of eyes would ask about.

Common practice, no source. Each is told by its place in the document.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from loopwright.job.document import Job, Zone
from loopwright.programme.event import SILENT
from loopwright.programme.response import ANY_TIME, DOOR, FULL, KNOWN, QUIET, ROUTE, UNSET, does, set_states
from loopwright.programme.route import Route, routes_of

Odd = tuple[str, str]


def odd_cells(job: Job, routes: Iterable[Route] | None = None) -> dict[str, str]:
    """Return every odd cell by its place, with what is odd about it. ``routes`` are the job's, for who has them already."""
    found = routes_of(job) if routes is None else routes
    return dict((*_areas(job), *_responses(job, found), *_rights(job), *_reports(job)))


def _areas(job: Job) -> Iterator[Odd]:
    for name, zone in job.zones.items():
        if not zone.areas:
            yield f"zones/{name}/areas", "lies in no area"
        elif len(zone.areas) > 1:
            yield f"zones/{name}/areas", "lies in several areas"


def _responses(job: Job, routes: Iterable[Route]) -> Iterator[Odd]:
    passed = {each.zone for route in routes for each in route.passed}
    walked = bool(passed)
    for name, zone in job.zones.items():
        lead = f"zones/{name}/response"
        for state in (UNSET, *set_states(job)):
            why = _response(job, zone, state)
            if not why and walked and state != UNSET and does(zone, state) == ROUTE and name not in passed:
                why = "an entry route nobody walks"
            if not why and state != UNSET and does(zone, state) == DOOR and _is_no_door(job, name, zone):
                why = "begins entry, and nobody is said to come in by it"
            if why:
                yield f"{lead}/{state}", why


def _is_no_door(job: Job, name: str, zone: Zone) -> bool:
    areas = [job.areas[area] for area in zone.areas if area in job.areas]
    said = any(area.entry_doors for area in job.areas.values())
    return said and bool(areas) and not any(name in area.entry_doors for area in job.areas.values())


def _response(job: Job, zone: Zone, state: str) -> str:
    """Return what is odd about one response; empty where nothing is."""
    word, states = does(zone, state), (UNSET, *set_states(job))
    if not word:
        return ""
    if word not in KNOWN:
        return "no word known here"
    others = [does(zone, each) for each in states if each != state]
    if word in ANY_TIME and any(each and each not in ANY_TIME for each in others):
        return f"answers at any time, but only in {state}"
    if word == "soak-test":
        return "on soak test: it raises no alarm"
    if state == FULL and word in QUIET:
        return "quiet in full set"
    if state not in (UNSET, FULL) and word not in QUIET and does(zone, FULL) in QUIET:
        return "watched in part set and not in full"
    return "alarms while unset" if state == UNSET and word in (DOOR, ROUTE, "immediate") else ""


def _rights(job: Job) -> Iterator[Odd]:
    for name, user in job.users.items():
        for area, right in user.areas.items():
            if right == "set":
                yield f"users/{name}/areas/{area}", "may set and not unset"
            elif right == "unset":
                yield f"users/{name}/areas/{area}", "may unset and not set again"
            elif right == "both" and area in job.areas and job.areas[area].common_to:
                yield f"users/{name}/areas/{area}", "a shared area follows by itself"


def _reports(job: Job) -> Iterator[Odd]:
    centre = job.signalling.centre is not None
    for event, said in job.signalling.reports.items():
        if said == "yes" and not centre:
            yield f"signalling/reports/{event}", "reported, and there is no receiving centre"
        elif said != "yes" and centre and (event in SILENT or event == "alarm"):
            yield f"signalling/reports/{event}", "of no use unless it is reported"
