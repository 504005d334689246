"""Programmes drawn at random, small enough to be searched state by state."""

from __future__ import annotations

from random import Random

from loopwright.programme.response import Response
from loopwright.rehearse.plan import CONDITIONS, USUAL_SOUNDS, AreaPlan, Choices, Person, Programme, ZonePlan

WATCHING = (Response.FINAL_EXIT, Response.ENTRY_ROUTE, Response.IMMEDIATE, Response.IMMEDIATE, Response.ROUND_THE_CLOCK)


def zone(random: Random, areas: tuple[str, ...], states: int, followed: bool) -> ZonePlan:
    def response() -> Response:
        return random.choice(WATCHING if random.random() < 0.7 else list(Response))

    unset = random.choice([Response.IGNORED, Response.CHIME, Response.IGNORED, *Response])
    does = (unset, *(response() for _ in range(states)))
    return ZonePlan(areas=areas, does=does, text="zone", contact=random.random() < 0.6, followed=followed)


def choices(random: Random, tick_s: int = 10) -> Choices:
    def time(most: int) -> float:
        return float(tick_s * random.randint(0, most))

    return Choices(
        set_by=random.choice(["timed", "timed", "final-door", "key-switch"]),
        settle_s=time(1),
        exit_restart=random.random() < 0.5,
        exit_error=random.choice(["entry", "fails"]),
        unvacated=random.choice(["full", "part"]),
        exit_alarm=random.choice(["alarm", "stops"]),
        trips=random.randint(0, 2),
        trips_reset=random.choice(["unset", "set", "midnight"]),
        alarm_reset=random.choice(["user", "user", "engineer", "remote"]),
        tamper_reset=random.choice(["user", "engineer", "remote"]),
        prevents=tuple((name, random.choice(["ignored", "user", "engineer", "never"])) for name in CONDITIONS),
        shared_zones=random.choice(["each", "all"]),
        lobby_sets=random.choice(["exit", "at-once"]),
        blind_s=time(2),
        after_power=random.choice(["as-before", "unset"]),
        sounder_s=time(3),
        abort_s=time(2),
        cancel_s=random.choice([None, time(2)]),
        confirm_s=time(3),
        confirm_in_entry=random.random() < 0.5,
        entry_alarm_s=time(2),
        unconfirmed=random.choice(["watched", "watched", "inhibited"]),
        reports=frozenset({"alarm", "cancel", "hold-up", "duress", "set", "unset", "tamper"}),
        sounds=sounds(random),
        sounder_anew=random.random() < 0.6,
    )


def sounds(random: Random) -> tuple[tuple[str, str], ...]:
    """Return what sounds: as usual in half of the programmes, anything in the others."""
    if random.random() < 0.5:
        return tuple(USUAL_SOUNDS.items())
    return tuple((cell, random.choice(["external", "internal", "silent"])) for cell in USUAL_SOUNDS)


def people(random: Random, areas: list[str]) -> tuple[Person, ...]:
    rights = ["both", "both", "set", "unset", "none"]
    all_rights = tuple((area, "both") for area in areas if area != "hall")
    made = [
        Person(name=name, may=tuple((area, random.choice(["both", *rights])) for area in areas), engineer=engineer, duress=duress)
        for name, engineer, duress in (("Ana", False, False), ("Bo", False, True), ("the engineer", True, False))
    ]
    if random.random() < 0.8:
        made[0] = Person(name="Ana", may=all_rights)
    return tuple(made[: random.randint(1, 3)])


def programme(random: Random, *, areas: int = 1, lobby: bool = False, followed: int = 1, rest: int = 1, **more: object) -> Programme:
    """Return a programme: ``areas`` of one or two set states, one of them shared if so asked, ``followed`` zones and a few others."""
    states = ("full", "late")[: random.randint(1, 2)]
    names = [f"a{number}" for number in range(areas)]
    plans = {name: AreaPlan(name=name, entry_s=10.0 * random.randint(0, 2), exit_s=10.0 * random.randint(0, 3)) for name in names}
    if lobby:
        plans["hall"] = AreaPlan(name="hall", entry_s=10.0 * random.randint(0, 2), exit_s=10.0 * random.randint(0, 2), serves=tuple(names))
    zones = {}
    for number in range(followed + rest):
        lies = random.sample(list(plans), min(len(plans), random.choice([1, 1, 2])))
        zones[f"z{number}"] = zone(random, tuple(lies), len(states), number < followed)
    return Programme(areas=plans, zones=zones, people=people(random, list(plans)), states=states, told=choices(random), **more)  # type: ignore[arg-type]
