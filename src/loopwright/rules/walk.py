"""Checks on the walking routes: who comes in or goes out lawfully and in time raises no alarm."""

from __future__ import annotations

from collections.abc import Iterable

from loopwright.job.document import Area, Job
from loopwright.programme.response import DOOR, FULL, does
from loopwright.programme.route import IN, ROOM, Passed, Route, doors_of, in_part_sets_too, routes_of
from loopwright.rules.facts import Facts
from loopwright.rules.worked import some
from loopwright.values.finding import Finding, Severity


def check_walks_known(facts: Facts) -> list[Finding]:
    """Of every area people unset, its doors and the time of the walk are known."""
    job, found = facts.job, []
    for name, area in job.areas.items():
        zones = [zone for zone in job.zones.values() if name in zone.areas]
        # Until the zones are there, there is nothing to walk past.
        if area.common_to or not zones:
            continue
        if not doors_of(job, name):
            text, remedy = f"Nobody has said by which doors people come in to {area.name}.", "Enter the doors people may come in by."
            found.append(_gap(f"areas/{name}/entry_doors", text, remedy))
        elif area.walk_s is None and any(user.walk_s is None for user in job.users.values() if user.areas.get(name, "none") != "none"):
            text = f"Nobody has said how long the slowest person walks between door and keypad of {area.name}."
            found.append(_gap(f"areas/{name}/walk_s", text, "Walk it with a watch, and enter the time."))
    return found


def _gap(subject: str, sentence: str, remedy: str) -> Finding:
    return Finding(code="walk-unknown", severity=Severity.GAP, subject=subject, sentence=sentence, remedy=remedy, source="job-document")


def check_entry_doors(facts: Facts) -> list[Finding]:
    """A door people may come in by begins the entry time in every set state in which it does anything."""
    job, found, told = facts.job, [], set[str]()
    for route in routes_of(job):
        if route.door in told or all(route.begins):
            continue
        told.add(route.door)
        zone = job.zones[route.door]
        wrong = [state for state, begins in zip(route.states, route.begins, strict=True) if not begins]
        said = some([f"{does(zone, state) or 'nothing said'} in {state}" for state in wrong])
        apart = "" if any(does(zone, state) != DOOR for state in wrong) else ", and it lies in another area"
        found.append(
            Finding(
                code="entry-door-refused",
                severity=_gravity(job.areas[route.area], wrong),
                subject=f"zones/{route.door}",
                sentence=f"People may come in to {job.areas[route.area].name} by zone {zone.number} ({zone.text}), which begins no entry "
                f"there: {said}{apart}.",
                remedy="Make it a final exit of the area or of a shared area on the way, or take it out of the doors people may use.",
                source="job-document",
            )
        )
    return found


def _gravity(area: Area, states: Iterable[str]) -> Severity:
    """Return how grave it is that nobody can come in in these states.

    In a part set it may be meant, for people are inside, unless it is said that people come in then too.
    """
    return Severity.MUST if FULL in states or in_part_sets_too(area) else Severity.SHOULD


def _must(code: str, subject: str, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=Severity.MUST, subject=subject, sentence=sentence, remedy=remedy, source="job-document")


def check_walks_tolerated(facts: Facts) -> list[Finding]:
    """No zone on a walking route raises an alarm."""
    found, told = [], set[tuple[str, str]]()
    for route in routes_of(facts.job):
        for passed in route.passed:
            if passed.alarms and (passed.zone, route.area) not in told:
                told.add((passed.zone, route.area))
                found.append(_not_borne(facts.job, route, passed))
    return found


def _not_borne(job: Job, route: Route, passed: Passed) -> Finding:
    """Return what is said of a zone that does not bear who walks past; one that nobody listed or drew is only taken to be passed."""
    zone, door = job.zones[passed.zone], job.zones[route.door]
    bad = [(word, state) for word, state, fine in zip(passed.does, route.states, passed.tolerated, strict=True) if not fine]
    said = some([f"{word or 'nothing said'} in {state}" for word, state in bad])
    guessed = passed.known == ROOM
    passes = "walks through the room of" if guessed else "passes"
    return Finding(
        code="walk-raises-alarm",
        severity=Severity.SHOULD if guessed else _gravity(job.areas[route.area], (state for _, state in bad)),
        subject=f"zones/{passed.zone}",
        sentence=f"Who walks between zone {door.number} ({door.text}) and the keypad of {job.areas[route.area].name} {passes} "
        f"zone {zone.number} ({zone.text}), which raises an alarm: {said}.",
        remedy="Enter where the detector stands and looks on the plan, or list what is passed and make it an entry route."
        if guessed
        else "Make it an entry route in the same area, move the keypad, or say that nobody passes it.",
        source="practice" if guessed else "job-document",
    )


def check_walks_in_time(facts: Facts) -> list[Finding]:
    """The slowest person comes from the door to the keypad within the entry time, and out within the exit time."""
    found = []
    for route in slowest(routes_of(facts.job)):
        if route.spare_s is None or route.spare_s >= 0:
            continue
        job, words = facts.job, "entry" if route.way == IN else "exit"
        area, door, who = job.areas[route.area], job.zones[route.door], job.users[route.user].role
        found.append(
            _must(
                "walk-in-too-slow" if route.way == IN else "walk-out-too-slow",
                f"areas/{route.area}/{words}_s",
                f"The {who} takes {route.walk_s:g} s between zone {door.number} ({door.text}) and the keypad of {area.name}; "
                f"the {words} time is {route.allowed_s:g} s, {-route.spare_s:g} s too short.",
                _remedy(job, route, words),
            )
        )
    return found


def _remedy(job: Job, route: Route, words: str) -> str:
    limit = "entry time is limited by the rules; a keypad nearer to the door may be what helps" if words == "entry" else "within the rules"
    return f"Lengthen the {words} time to {route.walk_s:g} s or more ({limit})."


def slowest(routes: Iterable[Route]) -> list[Route]:
    """Return of each area, door and way the route of the person who takes longest."""
    found: dict[tuple[str, str, str], Route] = {}
    for route in routes:
        key = (route.area, route.door, route.way)
        if key not in found or (route.walk_s or 0) > (found[key].walk_s or 0):
            found[key] = route
    return list(found.values())
