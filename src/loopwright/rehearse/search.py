"""Every state that can be reached, layer by layer, and the shortest way to one of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.rehearse.table import Row

States = NDArray[np.uint64]
MOST_STATES = 20_000_000


class TooManyStatesError(Exception):
    """The search would not fit; the text says how far it came."""


@dataclass(frozen=True, slots=True)
class Reached:
    """What can be reached: ``layers`` by the number of events it takes, each sorted; ``rows`` the way it was done."""

    layers: tuple[States, ...]
    rows: tuple[Row, ...]

    @property
    def states(self) -> States:
        """Return every state, sorted."""
        return np.sort(np.concatenate(self.layers))

    def way_to(self, state: int) -> list[tuple[Row, int]]:
        """Return a shortest course of events from the start, each with the state after it. Raises KeyError for one not reached."""
        depth = next((depth for depth, layer in enumerate(self.layers) if bool(np.isin(np.uint64(state), layer))), None)
        if depth is None:
            raise KeyError(state)
        way: list[tuple[Row, int]] = []
        for layer in reversed(self.layers[:depth]):
            row, before = self._into(state, layer)
            way.append((row, state))
            state = before
        return way[::-1]

    def _into(self, state: int, layer: States) -> tuple[Row, int]:
        for row in self.rows:
            before = layer[_taken(layer, row)]
            hits = before[_moved(before, row) == np.uint64(state)]
            if hits.size:
                return row, int(hits[0])
        raise AssertionError("a state of a later layer comes from the one before it")


def search(rows: Sequence[Row], start: int = 0, most: int = MOST_STATES) -> Reached:
    """Return all that can be reached from a state. Raises TooManyStatesError when there are more than ``most``."""
    layer = np.array([start], dtype=np.uint64)
    seen, layers = layer, [layer]
    while layer.size:
        after = np.unique(np.concatenate([_moved(layer[_taken(layer, row)], row) for row in rows] or [layer[:0]]))
        place = np.minimum(np.searchsorted(seen, after), seen.size - 1)
        layer = after[seen[place] != after]
        seen = np.sort(np.concatenate([seen, layer]), kind="stable")
        if seen.size > most:
            raise TooManyStatesError(f"more than {most} states; fewer set states, fewer ticks or a lower lock-out count would do")
        layers.append(layer)
    return Reached(tuple(layers[:-1]), tuple(rows))


def leads_to(reached: Reached, goal: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return for every reached state, sorted, whether some course of events leads from it to a goal."""
    states, good = reached.states, goal.copy()
    while True:
        before = int(good.sum())
        for row in reached.rows:
            at = np.flatnonzero(_taken(states, row))
            good[at] |= good[np.searchsorted(states, _moved(states[at], row))]
        if int(good.sum()) == before:
            return good


def _taken(states: States, row: Row) -> NDArray[np.bool_]:
    taken: NDArray[np.bool_] = (states & np.uint64(row.mask)) == np.uint64(row.value)
    return taken


def _moved(states: States, row: Row) -> States:
    return (states & np.uint64(row.keep)) | np.uint64(row.set)
