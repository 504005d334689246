"""The search against a model written by hand from docs/programme.md for the model checker SPIN: it tests what the step means.

The other model (tests/oracles/test_rehearse_spin.py) is made from the table of rows, and tests the search alone.
"""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest

from loopwright.rehearse.plan import Programme
from loopwright.rehearse.search import search
from loopwright.rehearse.state import ENTRY, NOBODY, QUIET_REPORT, SET, UNSET, fields
from loopwright.rehearse.timed import Timed, by_the_clock
from often import DEEP
from oracles.by_hand import numbers, run
from rehearse.drawn import programme

pytestmark = pytest.mark.skipif(not (shutil.which("spin") and shutil.which("gcc")), reason="spin or gcc is not installed")
PROGRAMMES = 240 if DEEP else 12
LARGEST = 60_000 if DEEP else 3_000
"""Programmes with more states than this are drawn again, to keep the test short."""


def drawn(random: Random) -> Programme:
    """Return a programme of one kind or another; in half of them areas set themselves, the last has a fob, quiet zones are forgotten."""
    made = kinds(random)
    if random.random() < 0.5:
        return made
    areas = {}
    for name, plan in made.areas.items():
        by_itself = not plan.serves and random.random() < 0.8
        areas[name] = replace(plan, by_itself=by_itself, warns_s=10.0 * random.randint(0, 2) if by_itself else 0.0)
    people = [replace(each, fob=random.random() < 0.6, engineer=False) if not each.duress else each for each in made.people]
    people[-1] = replace(people[-1], fob=True, duress=False, engineer=False)
    told = replace(made.told, trips_quiet_s=10.0 * random.randint(0, 2), soundings=random.randint(0, 2))
    return replace(made, areas=areas, people=tuple(people), told=told)


def kinds(random: Random) -> Programme:
    kind = random.choice(["plain", "observed", "observed", "tracked", "two", "shared", "shared by two", "left"])
    if kind == "left":
        return left_inhibited(random)
    if kind == "two":
        return programme(random, areas=2, followed=random.randint(1, 2), rest=random.randint(0, 1))
    if kind.startswith("shared"):
        return programme(random, areas=1 + kind.endswith("two"), lobby=True, followed=1, rest=random.randint(0, 1))
    more = {"observers": frozenset([random.choice(["report", "sound", "confirm"])])} if kind == "observed" else {}
    more |= {"tracks": frozenset([random.choice(["power", "conditions"])])} if kind == "tracked" else {}
    return programme(random, followed=random.randint(1, 2), rest=random.randint(0, 1), **more)


def left_inhibited(random: Random) -> Programme:
    """Return a programme in which an alarm that nothing confirms leaves its zone inhibited, in one area or in one of two."""
    more = {"observers": frozenset([random.choice(["report", "sound"])])} if random.random() < 0.5 else {}
    made = programme(random, areas=random.choice([1, 1, 2]), followed=random.randint(1, 2), rest=random.randint(0, 1), **more)
    told = replace(made.told, unconfirmed="inhibited", confirm_s=10.0 * random.randint(1, 3))
    return replace(made, told=told, zones={name: replace(zone, contact=zone.contact or zone.followed) for name, zone in made.zones.items()})


def test_as_many_states_as_deep_and_the_same_verdicts(checker: Path) -> None:
    random, tried = Random(7), 0
    while tried < PROGRAMMES:
        made = drawn(random)
        timed = by_the_clock(search(made))
        if timed.size > LARGEST:
            continue
        tried += 1
        said = run(checker, numbers(made))
        stored, depth = re.search(r"(\d+) states, stored", said), re.search(r"depth reached (\d+)", said)
        assert stored and depth, said
        # One more than ours of each: SPIN keeps the state before the programme is read.
        assert (int(stored[1]), int(depth[1])) == (timed.size + 1, len(timed.layers)), made
        for asked, reached in enumerate(verdicts(made, timed), start=1):
            if asked == 1 + tried % 4 or DEEP:
                assert (re.search(r"errors: ([1-9])", run(checker, numbers(made, asked))) is not None) == reached, (asked, made)


def verdicts(made: Programme, timed: Timed) -> list[bool]:
    """Return whether each of the four questions of the model is answered with a state that is reached by the clock."""
    reached, found = timed.reached, timed.untimed()

    def mode(area: str) -> np.ndarray:
        return reached.field(f"{area}.mode")

    hall = found & (mode("hall") == UNSET) if "hall" in made.areas else np.zeros_like(found)
    for area in made.areas:
        if area != "hall":
            hall &= (mode(area) == SET) | (mode(area) == ENTRY)
    nobody = found & (mode("a0") == ENTRY) & (reached.field("a0.starter") == NOBODY)
    out = np.zeros_like(found)
    if "z0.trips" in fields(made) and "a0" in made.zones["z0"].areas:
        out = found & (reached.field("z0.trips") == made.told.trips) & (mode("a0") != UNSET)
        if "report" in made.observers:
            out &= reached.field("a0.report") == QUIET_REPORT
    warned = np.zeros_like(found)
    if "a0.warns" in fields(made):
        warned = found & (reached.field("a0.warns") == 1) & (reached.field("a0.memory") == 1)
    return [bool(each.any()) for each in (hall, nobody, out, warned)]
