"""Every story that is told is played in the whole programme, by the plain step and a clock that goes tick by tick."""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

import pytest

from loopwright import demo
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.programme.response import Response
from loopwright.rehearse.part import OTHERS, part_of
from loopwright.rehearse.plan import AreaPlan, Choices, Person, Programme, ZonePlan
from loopwright.rehearse.promise import Broken, Trial, Tried
from loopwright.rehearse.promises import areas
from loopwright.rehearse.reading import programme_of
from loopwright.rehearse.rehearsal import rehearse
from loopwright.rehearse.replay import replayed
from loopwright.rehearse.search import search
from loopwright.rehearse.state import Output, begin, tick_s
from loopwright.rehearse.step import TICK, step
from often import often
from rehearse.test_promises import SENT, broken, good, shared, with_cell

RIGHTS = ("both", "both", "set", "unset", "none")


def drawn(random: Random) -> Job:
    """Return a job with some of its cells, rights and choices drawn: a dwelling, or a business with a shared lobby and fewer zones."""
    job = read(demo.text(random.choice(["dwelling", "business"]))).job
    names = random.sample(list(job.zones), 6)
    zones = {name: replace(job.zones[name], watched=random.choice([None, "full", "every-set"])) for name in job.zones if name in names}
    for name, zone in zones.items():
        words = {state: random.choice(list(Response)[:8]) for state in ("unset", "full", *job.programme.part_sets)}
        if random.random() < 0.6:
            words["unset"] = Response.IGNORED
        zones[name] = replace(zone, response={state: str(word) for state, word in words.items()})
    made = {}
    for name, area in job.areas.items():
        lies = tuple(each for each, zone in zones.items() if name in zone.areas)
        made[name] = replace(area, entry_doors=lies[:1], walked_past=lies[1:2], walk_s=random.choice([10.0, 60.0]))
    users = {
        name: replace(user, areas={area: random.choice(RIGHTS) for area in job.areas}, duress=random.random() < 0.3)
        for name, user in job.users.items()
    }
    reports = {each: random.choice(["yes", "no"]) for each in ("alarm", *SENT)}
    return replace(
        job, areas=made, zones=zones, users=users, programme=replace(job.programme, **choices(random)),
        signalling=replace(job.signalling, reports={**job.signalling.reports, **reports}),
    )  # fmt: skip


def choices(random: Random) -> dict[str, Any]:
    return {
        "set_by": random.choice(["timed", "timed", "final-door", "key-switch"]),
        "settle_s": random.choice([None, 10.0]),
        "exit_restart": random.random() < 0.5,
        "exit_error": random.choice(["entry", "fails"]),
        "unvacated": random.choice(["full", "part"]),
        "exit_alarm": random.choice(["alarm", "stops"]),
        "lock_out_trips": random.randint(0, 2),
        "lock_out_reset": random.choice(["unset", "set", "midnight"]),
        "alarm_reset": random.choice(["user", "engineer", "remote"]),
        "prevents": {name: random.choice(["ignored", "user", "engineer", "never"]) for name in ("open", "memory", "mains", "tamper")},
        "shared_zones": random.choice(["each", "all"]),
        "lobby_sets": random.choice(["exit", "at-once"]),
        "confirm_s": random.choice([None, 1800.0]),
        "confirm_in_entry": random.random() < 0.3,
        "unconfirmed": random.choice(["watched", "inhibited"]),
        "entry_alarm_s": random.choice([None, 30.0]),
        "abort_s": random.choice([None, 30.0]),
        "sounder_s": random.choice([0.0, 240.0]),
        "soundings": random.randint(0, 2),
        "lock_out_quiet_s": random.choice([None, 60.0, 900.0]),
    }


def plays(whole: Programme, each: Broken) -> list[tuple[Output, ...]]:
    """Play a course tick by tick and return what was given out at each of its events; everything in it has to happen at its time."""
    state, now_s, tick, found = begin(whole), 0.0, tick_s(whole), []
    for at_s, event in each.course:
        while now_s < at_s - 1e-6:
            after = step(whole, state, TICK)
            state = after[0] if after else state
            now_s += tick
        done = step(whole, state, event)
        assert done is not None, (each.sentence, event)
        state, outputs = done
        found.append(outputs)
    return found


@pytest.mark.parametrize("seed", range(often(5)))
def test_every_story_told_of_a_random_programme_is_played_by_the_whole_of_it(seed: int) -> None:
    job = drawn(Random(seed))
    whole = programme_of(job)
    for each in rehearse(job).broken:
        if not each.story:
            continue
        given = plays(whole, each)
        events = [event for _, event in each.course]
        at = -1
        for scene in each.story:
            if scene.event.place == OTHERS:
                continue
            at = events.index(scene.event._replace(over=""), at + 1)
            core = [out for out in scene.outputs if out.word in ("set", "entry", "exit-error", "unset", "alarm", "duress")]
            assert {out[:2] for out in core} <= {out[:2] for out in given[at]}, (each.sentence, scene.words)


def test_a_good_programme_with_one_wrong_cell_has_its_story_in_the_whole() -> None:
    for each in broken(with_cell(good(lock_out_trips=1), "z04", "full", "ignored")).values():
        assert each.course and plays(programme_of(good(lock_out_trips=1)), each) is not None


def test_a_story_that_forgets_a_lock_out_is_not_told() -> None:
    """A zone that is not followed alarms for ever in its part; the whole locks it out, and what the part says comes of it does not."""
    zones = {
        "z0": ZonePlan(areas=("a0",), does=(Response.IGNORED, Response.ENTRY_ROUTE)),
        "z1": ZonePlan(areas=("a0",), does=(Response.IGNORED, Response.IMMEDIATE), contact=False),
    }
    whole = Programme(
        areas={"a0": AreaPlan(name="House")}, zones=zones, people=(Person(name="Ana", may=(("a0", "both"),)),),
        told=Choices(trips=1), tracks=frozenset({"conditions", "power"}), observers=frozenset({"report", "sound", "confirm"}),
    )  # fmt: skip
    part = part_of(whole, ["a0"], ["z0"])
    tried = Tried(reached=search(part), whole=whole, known_as={name: name for name in whole.zones})
    alarms = [row for row in tried.reached.table.rows if row.event.place == "z1" and any(each.word == "alarm" for each in row.outputs)]
    armed = tried.reached.taken(lambda row: row in alarms)[0]
    told = tried.told(("once",), lambda: [armed])
    assert told is not None
    twice = (*told.story, told.story[-1])
    assert replayed(whole, part, tried.known_as, told.story) is not None
    assert replayed(whole, part, tried.known_as, twice) is None


@pytest.mark.parametrize("walk_s, kept", [(10.0, True), (500.0, False)])
def test_in_to_a_shared_area_somebody_walks_with_all_that_share_it_set(walk_s: float, kept: bool) -> None:
    """By itself a shared area is never set: the walk is played in the whole with the areas that share it."""
    job = shared()
    job = replace(job, areas={**job.areas, "lobby": replace(job.areas["lobby"], walk_s=walk_s, entered="full")})
    trial = Trial(job, programme_of(job))
    found = [each for each in areas.walk(trial) if each.subject.startswith("areas/lobby")]
    assert (found == []) == kept and not trial.otherwise
    for each in found:
        assert {event.place for _, event in each.course if event.kind == "set"} == set(job.areas["lobby"].common_to)
        assert plays(trial.whole, each)
