"""The programme: walking routes, four matrices, and below them the rest of what a control unit is told, every cell editable in place."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from typing import Any

from loopwright.drawing.walk_plan import storeys_walked, walk_plan
from loopwright.job.document import Job
from loopwright.job.sheet import Topology
from loopwright.job.speech import plain_words
from loopwright.programme.event import decided
from loopwright.programme.heard import SOUNDS
from loopwright.programme.odd import odd_cells
from loopwright.programme.response import does
from loopwright.programme.route import IN, OUT, Route, routes_of
from loopwright.programme.unprotected import time_words, unprotected
from loopwright.rehearse.plan import USUAL_PREVENTION
from loopwright.rehearse.words import CONDITIONS
from loopwright.rules.ruleset import beside_of
from loopwright.values.source import source
from loopwright.web.form import RESPONSES
from loopwright.web.page import Page
from loopwright.web.rehearsed import verdict_of

SET_STATES = ("unset", "full")


def view(page: Page) -> Mapping[str, Any]:
    """Return what the programme room shows."""
    job = page.job
    states = (*SET_STATES, *job.programme.part_sets)
    said = dict.fromkeys(word for zone in job.zones.values() for word in zone.response.values())
    pairs = {name for name, circuit in job.circuits.items() if circuit.topology is Topology.PAIR}
    page.plan(f"areas/{key}" for key in job.areas)
    routes = routes_of(job)
    odd = {path: (number, why) for number, (path, why) in enumerate(odd_cells(job, routes).items(), 1)}
    return {
        **verdict_of(page),
        "routes": [_route(job, list(same)) for _, same in groupby(sorted(routes, key=_same), key=_same)],
        "plans": [
            (job.storeys[storey].name, walk_plan(job, storey, here), walk_plan(job, storey, here, narrow=True))
            for storey, here in storeys_walked(job, routes).items()
        ],
        "odd": odd,
        "odd_in": {head: _odd_in(page, odd, head, part) for head, part in ODD_IN.items()},
        "states": [(state, plain_words(state)) for state in states],
        "zones": [(key, zone, zone.circuit in pairs or f"zones/{key}/part" in job.given) for key, zone in job.zones.items()],
        "does": does,
        "usual": tuple(dict.fromkeys((*RESPONSES, *said))),
        "events": decided(job),
        "unsaid": _unsaid(page, states),
        "conditions": _conditions(job),
        "sounds": [(key, sound.words, sound.usual) for key, sound in SOUNDS.items()],
        "quiet": [(each, time_words(each.most_s)) for each in unprotected(job)],
        "rules": _rules(page),
        "rulesets": rulesets_named(page),
    }


ODD_IN = {"areas": ("zones/", "/areas"), "responses": ("zones/", "/response/"), "rights": ("users/", ""), "reports": ("signalling/", "")}


def _odd_in(page: Page, odd: Mapping[str, tuple[int, str]], head: str, part: tuple[str, str]) -> list[tuple[int, str, str]]:
    """Return the odd cells of one matrix: number, place in words, what is odd."""
    return [(number, _place(page.job, path), why) for path, (number, why) in odd.items() if path.startswith(part[0]) and part[1] in path]


def _place(job: Job, path: str) -> str:
    kind, name, *rest = path.split("/")
    if kind == "zones":
        zone = job.zones[name]
        return f"zone {zone.number} ({zone.text}){', ' + plain_words(rest[1]) if rest[0] == 'response' else ''}"
    if kind == "users":
        return f"{job.users[name].role}, {job.areas[rest[1]].name if rest[1] in job.areas else rest[1]}"
    return plain_words(rest[0])


def _conditions(job: Job) -> list[tuple[str, str, str]]:
    """Return what may stand in the way of setting: its key, in words, and who may set all the same where nothing is said."""
    usual = USUAL_PREVENTION | ({"open": "user"} if job.programme.override_open else {})
    return [(key, CONDITIONS[key], usual[key]) for key in CONDITIONS]


def _same(route: Route) -> tuple[object, ...]:
    return (route.area, route.door, route.walk_s or 0.0)


def _route(job: Job, same: list[Route]) -> dict[str, Any]:
    """Return one way, in and out, of the people who take the same time for it, as it is drawn."""
    route = same[0]
    door = job.zones[route.door]
    steps = [
        {"zone": job.zones[each.zone], "known": each.known, "does": _told(route, each.does, each.tolerated), "alarms": each.alarms}
        for each in route.passed
    ]
    words = tuple(does(door, state) for state in route.states)
    return {
        "area": job.areas[route.area],
        "door": {"zone": door, "does": _told(route, words, route.begins), "alarms": not all(route.begins)},
        "steps": steps,
        "route": route,
        "ways": [_way(job, way, here) for way in (IN, OUT) if (here := [each for each in same if each.way == way])],
        "in_order": all(each.in_order for each in same),
    }


def _way(job: Job, way: str, here: list[Route]) -> dict[str, Any]:
    route = here[0]
    return {
        "words": way,
        "who": ", ".join(dict.fromkeys(job.users[each.user].role for each in here)),
        "route": route,
        "share": None if route.walk_s is None or not route.allowed_s else min(100, round(100 * route.walk_s / route.allowed_s)),
    }


def _told(route: Route, words: tuple[str, ...], fine: tuple[bool, ...]) -> list[tuple[str, str, bool]]:
    """Return what a zone does in each set state, and whether the walk bears it; said once where it does the same in all."""
    rows = [
        (plain_words(state), plain_words(word) or "not said", good) for state, word, good in zip(route.states, words, fine, strict=True)
    ]
    return [("always", *rows[0][1:])] if len(rows) > 1 and len({row[1:] for row in rows}) == 1 else rows


def _unsaid(page: Page, states: tuple[str, ...]) -> Mapping[str, int]:
    """Return how many cells of each matrix say nothing."""
    job = page.job
    return {
        "zones": sum(1 for zone in job.zones.values() for state in states if state not in zone.response),
        "users": sum(1 for user in job.users.values() for area in job.areas if area not in user.areas),
        "events": sum(1 for event in decided(job) if event not in job.signalling.reports),
    }


def _rules(page: Page) -> list[dict[str, Any]]:
    """Return what the rulesets of the job say of the programme, each value with its source and whether anybody saw it."""
    ruleset = page.appraisal.ruleset
    rows = []
    for name, limit in ruleset.limits.items():
        if limit.unit not in ("s", "alarms", "variations", "events"):
            continue
        bounds = [f"at least {limit.least:g}"] if limit.least is not None else []
        bounds += [f"at most {limit.most:g}"] if limit.most is not None else []
        usual = f", {limit.usual:g} as delivered" if limit.usual is not None else ""
        value = f"{' and '.join(bounds) or 'no number'}{' ' + limit.unit if bounds else ''}{usual}"
        rows.append({"what": _quantity_words(name), "value": value, "clause": limit.clause, "source": source(limit.source)})
    for name, choice in ruleset.choices.items():
        place = name.partition(".")[0].replace("/", ": ")
        rows.append(
            {"what": _quantity_words(place), "value": " or ".join(choice.allowed), "clause": choice.clause, "source": source(choice.source)}
        )
    return sorted(rows, key=lambda row: str(row["what"]))


def _quantity_words(name: str) -> str:
    words = name.partition(".")[0].removesuffix("_s").replace("_", " ").replace("-", " ")
    return words[:1].upper() + words[1:]


def rulesets_named(page: Page) -> list[str]:
    """Return the rulesets a job is under, with their editions."""
    return [f"{each.title}, {each.edition}" for each in (page.appraisal.ruleset, *beside_of(page.job))]
