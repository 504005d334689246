"""Coming in and going out lawfully against the model written by hand from docs/programme.md: is there an alarm, and in how many states."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from loopwright.programme.response import Response
from loopwright.rehearse.plan import Person, Programme, Walk, ZonePlan
from loopwright.rehearse.search import search
from loopwright.rehearse.state import AT_KEYPAD
from loopwright.rehearse.timed import by_the_clock
from often import often
from oracles.by_hand import numbers, run
from rehearse.drawn import programme

pytestmark = pytest.mark.skipif(not (shutil.which("spin") and shutil.which("gcc")), reason="spin or gcc is not installed")
PROGRAMMES = often(20)
ON_THE_WAY = (Response.FINAL_EXIT, Response.FINAL_EXIT, Response.ENTRY_ROUTE, Response.IMMEDIATE, Response.IGNORED)


def drawn(random: Random) -> Programme:
    """Return one area, or one and its lobby, into which somebody walks, or out of it: by a door that is followed, past another zone."""
    made = programme(random, lobby=random.random() < 0.3, followed=1, rest=1, observers=frozenset(["report"]))
    states = len(made.states)
    zones = {}
    for name in made.zones:
        does = (Response.IGNORED, *(random.choice(ON_THE_WAY[:3] if name == "z0" else ON_THE_WAY) for _ in range(states)))
        zones[name] = ZonePlan(areas=(random.choice(list(made.areas)),), does=does, contact=name == "z0", followed=name == "z0")
    area = random.choice(list(made.areas))
    zones["z0"] = replace(zones["z0"], areas=(area,))
    out = area != "hall" and random.random() < 0.4
    route = Walk(area=area, door="z0", past=("z1",), lasts_s=10.0 * random.randint(0, 3), out=out, states=random.randint(1, states))
    may = tuple((name, "both") for name in made.areas if name != "hall" or random.random() < 0.3)
    return replace(made, zones=zones, people=(Person(name="Ana", may=may),), walk=route)


def test_a_walk_raises_an_alarm_where_the_model_has_one_in_as_many_states(checker: Path) -> None:
    random, answers = Random(41), set[tuple[bool, bool]]()
    for _ in range(PROGRAMMES):
        made = drawn(random)
        timed = by_the_clock(search(made))
        reached = timed.reached
        alarm = timed.untimed() & (reached.field("walk") != AT_KEYPAD)
        alarm &= sum(reached.field(f"{name}.memory") for name in made.areas) > 0
        said = run(checker, numbers(made))
        stored, depth = re.search(r"(\d+) states, stored", said), re.search(r"depth reached (\d+)", said)
        assert stored and depth, said
        assert (int(stored[1]), int(depth[1])) == (timed.size + 1, len(timed.layers)), made
        assert (re.search(r"errors: ([1-9])", run(checker, numbers(made, 6))) is not None) == bool(alarm.any()), made
        answers.add((made.walk is not None and made.walk.out, bool(alarm.any())))
    assert answers == {(out, alarm) for out in (True, False) for alarm in (True, False)}
