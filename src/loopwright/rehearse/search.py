"""Every state that can be reached when times may end whenever they run, layer by layer, and the shortest way to one of them.

What can be reached so includes what can be reached by the clock. A course that no clock allows is found out by its times
(:mod:`loopwright.rehearse.story`), and the search is then done by the clock (:mod:`loopwright.rehearse.timed`).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from loopwright.rehearse.plan import Programme
from loopwright.rehearse.table import PAIRS_AT_ONCE, Row, States, Table, Tabling

Indices = NDArray[np.int64]
Number = TypeVar("Number", np.int64, np.uint64)
MOST_STATES = 20_000_000


class TooManyStatesError(Exception):
    """The search would not fit; the text says how far it came."""


class Taken(NamedTuple):
    """A state reached soonest and the row that happens in it.

    ``there`` are the states in which it would be as good (None: all), ``then`` rows that come right after it.
    """

    state: int
    row: Row | None = None
    there: NDArray[np.bool_] | None = None
    then: tuple[Row, ...] = ()


class Matcher:
    """Rows as columns of numbers, ready to be held against many states at once, a mode of the first area at a time."""

    def __init__(self, rows: Sequence[Row]) -> None:
        self.rows = rows
        self.mask, self.value, self.keep, self.set = (
            np.array([getattr(row, name) for row in rows], dtype=np.uint64) for name in ("mask", "value", "keep", "set")
        )
        mode = np.uint64(3)
        said = (self.mask & mode) == mode
        self.by_mode = [np.flatnonzero(~said | ((self.value & mode) == np.uint64(each))) for each in range(4)]

    def pairs(self, states: States) -> Iterator[tuple[Indices, Indices]]:
        """Yield, a piece at a time, the numbers of states and of the rows that take them."""
        mode = states & np.uint64(3)
        for each, rows in enumerate(self.by_mode):
            here = np.flatnonzero(mode == np.uint64(each))
            at_once = max(1, PAIRS_AT_ONCE // max(1, rows.size))
            mask, value = self.mask[rows], self.value[rows]
            for begin in range(0, here.size, at_once):
                some = here[begin : begin + at_once]
                state, row = np.nonzero((states[some][:, None] & mask) == value)
                yield some[state], rows[row]

    def after(self, states: States, rows: Indices) -> States:
        """Return what the states come to by the rows."""
        return (states & self.keep[rows]) | self.set[rows]


@dataclass(frozen=True)
class Reached:
    """What can be reached: ``layers`` by the number of events it takes, each sorted; ``states`` all of it, sorted."""

    table: Table
    layers: tuple[States, ...]
    states: States
    moving: Matcher
    memo: dict[Hashable, Any] = field(default_factory=dict, repr=False, compare=False)

    def field(self, name: str) -> States:
        """Return a field of every state, in the order of ``states``."""
        at, mask = self.table.packing.place[name]
        return (self.states & np.uint64(mask)) >> np.uint64(at)

    @cached_property
    def depths(self) -> Indices:
        """Return how many events it takes to come to each state, in the order of ``states``."""
        found = np.zeros(self.states.size, dtype=np.int64)
        for depth, layer in enumerate(self.layers):
            found[np.searchsorted(self.states, layer)] = depth
        return found

    def first(self, wanted: NDArray[np.bool_]) -> int | None:
        """Return the state of those wanted that is reached soonest, or None."""
        at = np.flatnonzero(wanted)
        return int(self.states[at[np.argmin(self.depths[at])]]) if at.size else None

    def taken(
        self, wanted: Callable[[Row], bool], there: NDArray[np.bool_] | None = None, among: Iterable[Row] | None = None
    ) -> list[Taken]:
        """Return the rows wanted that happen in some states, each with the one reached soonest in which it does, the soonest first.

        ``among`` are the rows that are looked through, left out all of them.
        """
        rows = [row for row in (self.table.rows if among is None else among) if wanted(row)]
        here = np.arange(self.states.size) if there is None else np.flatnonzero(there)
        if not rows or not here.size:
            return []
        soonest = np.full(len(rows), self.states.size, dtype=np.int64)
        here = here[np.argsort(self.depths[here], kind="stable")]  # The first that fits is then the one reached soonest.
        for at, row in Matcher(rows).pairs(self.states[here]):
            np.minimum.at(soonest, row, at)
        happens = np.flatnonzero(soonest < self.states.size)
        order = happens[np.argsort(self.depths[here[soonest[happens]]], kind="stable")]
        return [Taken(int(self.states[here[soonest[number]]]), rows[int(number)], there) for number in order]

    def depth(self, state: int) -> int:
        """Return how many events it takes to come to a state. Raises KeyError for one not reached."""
        at = int(np.searchsorted(self.states, np.uint64(state)))
        if at == self.states.size or int(self.states[at]) != state:
            raise KeyError(state)
        return int(self.depths[at])

    def way_to(self, state: int) -> list[tuple[Row, int]]:
        """Return a shortest course of events from the start, each with the state after it. Raises KeyError for one not reached."""
        way: list[tuple[Row, int]] = []
        for layer in reversed(self.layers[: self.depth(state)]):
            row, before = self._into(state, layer)
            way.append((row, state))
            state = before
        return way[::-1]

    def _into(self, state: int, layer: States) -> tuple[Row, int]:
        for at, rows in self.moving.pairs(layer):
            hits = np.flatnonzero(self.moving.after(layer[at], rows) == np.uint64(state))
            if hits.size:
                best = hits[np.argmin(rows[hits])]
                return self.moving.rows[int(rows[best])], int(layer[at[best]])
        raise AssertionError("a state of a later layer comes from the one before it")

    @cached_property
    def edges(self) -> tuple[Indices, Indices, Indices]:
        """Return every move there is: numbers of the states before and after it, in the order of ``states``, and of its row."""
        before, after, rows = [], [], []
        for at, row in self.moving.pairs(self.states):
            before.append(at)
            after.append(np.searchsorted(self.states, self.moving.after(self.states[at], row)))
            rows.append(row)
        return np.concatenate(before), np.concatenate(after), np.concatenate(rows)

    def leads_to(self, goal: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return for every state whether some course of events leads from it to a goal."""
        before, after, _ = self.edges
        good = goal.copy()
        while True:
            more = before[good[after] & ~good[before]]
            if not more.size:
                return good
            good[more] = True


def sorted_once(states: NDArray[Number]) -> NDArray[Number]:
    """Return the states sorted, each once. Sorting them beats looking each up, which numpy's own ``unique`` may do."""
    states = np.sort(states)
    return states[np.concatenate([[True], states[1:] != states[:-1]])] if states.size else states


def search(programme: Programme, most: int = MOST_STATES) -> Reached:
    """Return all that can be reached from where everything is unset. Raises TooManyStatesError for more than ``most`` states."""
    tabling = Tabling(programme)
    layer = np.zeros(1, dtype=np.uint64)
    seen, layers = layer, list[States]()
    while layer.size:
        layers.append(layer)
        after = sorted_once(np.concatenate([*tabling.after(layer)]))
        place = np.minimum(np.searchsorted(seen, after), seen.size - 1)
        layer = after[seen[place] != after]
        seen = np.sort(np.concatenate([seen, layer]), kind="stable")
        if seen.size > most:
            raise TooManyStatesError(f"more than {most} states; fewer set states or a lower lock-out count would do")
    table = tabling.table()
    return Reached(table, tuple(layers), seen, Matcher([row for row in table.rows if row.moves()]))
