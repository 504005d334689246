"""The shortest story to a state, and the earliest times at which each thing in it can happen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.rehearse.plan import Programme
from loopwright.rehearse.search import Reached
from loopwright.rehearse.state import Event, Output, begin, running
from loopwright.rehearse.table import Row
from loopwright.rehearse.timed import Timed, by_the_clock
from loopwright.rehearse.words import told


@dataclass(frozen=True, kw_only=True, slots=True)
class Scene:
    """One thing in a story: when, at the earliest [s], what happens, what is given out, and both in words."""

    at_s: float
    event: Event
    outputs: tuple[Output, ...]
    words: str


Way = Sequence[tuple[Row, int]]


def story_of(
    reached: Reached, state: int, last: Row | None = None, there: NDArray[np.bool_] | None = None, then: tuple[Row, ...] = ()
) -> tuple[Scene, ...] | None:
    """Return the shortest story to a state, and to a row that happens in it, or None where the clock allows none.

    ``there`` are the states in which the row would be as good, ``then`` rows that come after it.

    The way found without the clock is taken if times can be found for it; else the search is done by the clock.
    """
    programme = reached.table.programme
    rows = (last, *then) if last else ()
    way = [*reached.way_to(state), *_onward(state, rows)]
    times_s = times_of(programme, reached, way)
    if times_s is None:
        timed = _timed(reached)
        at = timed.where(last, there) if last else timed.soonest(reached.states == state)
        if at is None:
            return None
        here = int(reached.states[at >> timed.clocks.bits])
        if then and len(_onward(here, rows)) < len(rows):
            return None
        way = [*timed.way_to(at), *_onward(here, rows)]
        times_s = times_of(programme, reached, way)
        assert times_s is not None, "a way by the clock has times"
    return tuple(
        Scene(at_s=at_s, event=row.event, outputs=row.outputs, words=told(programme, row.event, row.outputs))
        for at_s, (row, _) in zip(times_s, way, strict=True)
    )


def _timed(reached: Reached) -> Timed:
    """Return the search by the clock, done once for what was reached."""
    if "timed" not in reached.memo:
        reached.memo["timed"] = by_the_clock(reached)
    found: Timed = reached.memo["timed"]
    return found


def _onward(state: int, rows: Sequence[Row]) -> list[tuple[Row, int]]:
    """Return how it goes on from a state by rows, each with the state after it, as far as they happen one after the other."""
    way = []
    for row in rows:
        if state & row.mask != row.value:
            break
        state = (state & row.keep) | row.set
        way.append((row, state))
    return way


def times_of(programme: Programme, reached: Reached, way: Way) -> list[float] | None:
    """Return the earliest time [s] of each thing on a way, or None where there is none.

    A clock that is waited for ends exactly when it does; while one runs, nothing happens after its end. Both are bounds on the
    difference of two times, so the earliest are longest ways in a graph, and there are none where it has a growing circle.
    """
    bounds = _bounds(programme, reached, way)
    times_s = [0.0] * (len(way) + 1)
    for _ in range(len(way) + 2):
        moved = False
        for earlier, later, least_s in bounds:
            if times_s[earlier] + least_s > times_s[later] + 1e-9:
                times_s[later] = times_s[earlier] + least_s
                moved = True
        if not moved:
            return times_s[1:]
    return None


def _bounds(programme: Programme, reached: Reached, way: Way) -> list[tuple[int, int, float]]:
    """Return (earlier, later, least): ``later`` is at least so many seconds after ``earlier``. Number 0 is the start."""
    found, begun = list[tuple[int, int, float]](), dict[str, int]()
    before: Mapping[str, int] = begin(programme)
    for number, (row, after) in enumerate(way, start=1):
        found.append((number - 1, number, 0.0))
        for clock, lasts_s in running(programme, before.__getitem__).items():
            found.append((number, begun.get(clock, 0), -lasts_s))
            if clock == row.due:
                found.append((begun.get(clock, 0), number, lasts_s))
        begun |= dict.fromkeys(row.begun, number)
        before = reached.table.packing.unpack(after)
    return found
