"""What a switched output does against the model written by hand from docs/programme.md: as many states of programme and output together.

The other side visits states one by one with the plain step, and lets the output follow what it gives out.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest

from loopwright.job.document import Area, OutputRule
from loopwright.rehearse.plan import Programme
from loopwright.rehearse.search import search
from loopwright.rehearse.state import UNSET, begin, running, tick_s
from loopwright.rehearse.step import TICK, due, events, step
from loopwright.rehearse.switched import On, Standing, after, areas_of, at_first
from loopwright.rehearse.timed import by_the_clock
from often import DEEP
from oracles.by_hand import WHAT, numbers, run
from rehearse.drawn import programme
from rehearse.one_by_one import fixed

pytestmark = pytest.mark.skipif(not (shutil.which("spin") and shutil.which("gcc")), reason="spin or gcc is not installed")
PROGRAMMES = 240 if DEEP else 16
LARGEST = 1_500 if DEEP else 200
"""States of a programme without its output; with more it is drawn again."""
TICK_S = 10.0


def drawn(random: Random, what: str) -> tuple[Programme, OutputRule, tuple[str, ...]]:
    """Return a programme, a rule of an output that follows something, and the areas it follows it in."""
    observer = {"confirmed": "confirm", "sounder": "sound"}.get(what, "report")
    more = {"observers": frozenset([observer])} if observer != "report" or random.random() < 0.2 else {}
    if what in ("tamper", "hold-up", "path", "mains", "battery", "fault"):
        more |= {"tracks": frozenset(["conditions"])}
    areas = random.choice([1, 1, 2])
    lobby = areas == 1 and random.random() < 0.3
    made = programme(random, areas=areas, lobby=lobby, followed=1, rest=1, finest_s=TICK_S, **more)
    if what == "duress":
        made = forced(random, made)
    told = {name: Area(name=name) for name in made.areas}
    where = random.choice(["", "", *(f" in {name}" for name in told)])
    how = random.choice(["follow", "follow", "follow", "latch", "timed", "pulse"])
    lasts_s = random.choice([None, None, TICK_S, 2 * TICK_S])
    rule = OutputRule(terminal="out", follows=what + where, how=how, duration_s=lasts_s)
    return made, rule, areas_of(rule, told)


def forced(random: Random, made: Programme) -> Programme:
    """Let somebody be made to set, unset, or put off an area that sets itself."""
    areas = {name: plan if plan.serves else replace(plan, by_itself=True, warns_s=TICK_S) for name, plan in made.areas.items()}
    people = [*made.people[:2], replace(made.people[0], name="under duress", duress=True, fob=random.random() < 0.3)]
    return replace(made, areas=areas, people=tuple(people))


Known = tuple[dict[str, int], Standing]


def onward(made: Programme, rule: OutputRule, here: tuple[str, ...], known: Known) -> Iterator[Known]:
    """Yield what comes after a state: every event, and a tick while a time runs, the output's own among them."""
    state, stands = known
    for event in events(made):
        done = step(made, state, event)
        if done is not None:
            yield done[0], after(rule, here, stands, 0.0, done[1])
    on = stands.on
    timed = on is not None and on.until_s is not None
    if not due(made, state) and (timed or running(made, state.__getitem__)):
        ticked = step(made, state, TICK)
        if on is not None and on.until_s is not None:
            on = On(since_s=0.0, until_s=on.until_s - tick_s(made))
        yield ticked[0] if ticked else state, after(rule, here, replace(stands, on=on), 0.0, ())


def one_by_one(made: Programme, rule: OutputRule, here: tuple[str, ...]) -> tuple[int, int, bool]:
    """Return how many states of programme and output there are, how deep, and whether the output is on while the first area is unset."""
    layer: list[Known] = [(begin(made), at_first(rule, here))]
    found, depth, lit = {key(*layer[0])}, 0, False
    while layer:
        depth += 1
        lit |= any(stands.on is not None and state["a0.mode"] == UNSET for state, stands in layer)
        fresh = []
        for known in layer:
            for each in onward(made, rule, here, known):
                if key(*each) not in found:
                    found.add(key(*each))
                    fresh.append(each)
        layer = fresh
    return len(found), depth, lit


def key(state: dict[str, int], stands: Standing) -> tuple[object, ...]:
    return fixed(state), stands.on is None, stands.on and stands.on.until_s, frozenset(stands.lasts)


def test_an_output_stands_as_the_model_has_it_in_as_many_states_as_deep(checker: Path) -> None:
    random, tried, lit = Random(31), 0, set()
    while tried < PROGRAMMES:
        what = WHAT[tried % len(WHAT)]
        made, rule, here = drawn(random, what)
        reached = search(made)
        if reached.states.size > LARGEST or by_the_clock(reached).size > LARGEST:
            continue
        tried += 1
        states, depth, on = one_by_one(made, rule, here)
        said = run(checker, numbers(made, 0, rule, here))
        stored, deep = re.search(r"(\d+) states, stored", said), re.search(r"depth reached (\d+)", said)
        assert stored and deep, said
        assert (int(stored[1]), int(deep[1])) == (states + 1, depth), (rule, made)
        assert (re.search(r"errors: ([1-9])", run(checker, numbers(made, 5, rule, here))) is not None) == on, (rule, made)
        lit.add(on)
    assert lit == {True, False}
