"""What can be reached by the clock: every clock counted in ticks, on top of what can be reached when times may end at will.

A state is the number of the untimed state with the clocks' counts below it, in one number of 64 bits. The moves of the untimed search are
laid out as one table, state by state, so that a layer takes a few array operations whatever the programme.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.rehearse.search import MOST_STATES, Reached, TooManyStatesError, sorted_once
from loopwright.rehearse.table import Row, runs_of

Numbers = NDArray[np.int64]
LARGEST_MAP = 1 << 27
AT_ONCE = 8


class Clocks:
    """Where each clock's count stands below the number of an untimed state, and where it ends (-1: it does not run)."""

    def __init__(self, reached: Reached) -> None:
        table = reached.table
        self.ends = np.full((len(table.clocks), reached.states.size), -1, dtype=np.int64)
        for mask, value, runs in runs_of(table, reached.states):
            here = (reached.states & np.uint64(mask)) == np.uint64(value)
            for clock, lasts in runs.items():
                self.ends[table.clocks.index(clock), here] = lasts
        widths = [max(1, int(ends.max(initial=0)).bit_length()) for ends in self.ends]
        self.at = [sum(widths[:number]) for number in range(len(widths))]
        self.bits = sum(widths)
        self.masks = [((1 << width) - 1) << at for width, at in zip(widths, self.at, strict=True)]
        self.all = (1 << self.bits) - 1
        self.step = np.zeros(reached.states.size, dtype=np.int64)
        for ends, at in zip(self.ends, self.at, strict=True):
            self.step += np.where(ends >= 0, 1 << at, 0)

    def at_end(self, number: int, states: Numbers, which: Numbers) -> NDArray[np.bool_]:
        """Return where a clock is at its end."""
        ended: NDArray[np.bool_] = ((states & self.masks[number]) >> self.at[number]) == self.ends[number][which]
        return ended


class Moves:
    """The moves that need one clock at its end, or none: for each untimed state as many columns as moves, filled up with staying."""

    def __init__(self, size: int, clocks: Clocks, before: Numbers, after: Numbers, keep: Numbers) -> None:
        order = np.argsort(before, kind="stable")
        before, after, keep = before[order], after[order], keep[order]
        self.count = np.bincount(before, minlength=size)
        widest = int(self.count.max(initial=0))
        column = np.arange(before.size) - np.repeat(np.cumsum(self.count) - self.count, self.count)
        self.to = np.repeat(np.arange(size, dtype=np.int64)[:, None] << clocks.bits, max(1, widest), axis=1)
        self.keep = np.full_like(self.to, clocks.all)
        self.to[before, column] = after << clocks.bits
        self.keep[before, column] = keep
        self.widest = widest

    def after(self, states: Numbers, which: Numbers, clocks: Clocks) -> list[Numbers]:
        """Return where the states come to, themselves among it."""
        found = []
        for begin in range(0, self.widest, AT_ONCE):
            some = np.flatnonzero(self.count[which] > begin) if begin else slice(None)
            here, counts = which[some], (states[some] & clocks.all)[:, None]
            found.append((self.to[here, begin : begin + AT_ONCE] | (counts & self.keep[here, begin : begin + AT_ONCE])).ravel())
        return found


@dataclass(frozen=True, slots=True)
class Timed:
    """What can be reached by the clock, by the number of events and ticks it takes."""

    reached: Reached
    clocks: Clocks
    layers: tuple[Numbers, ...]

    @property
    def size(self) -> int:
        """Return how many states there are."""
        return sum(layer.size for layer in self.layers)

    def untimed(self) -> NDArray[np.bool_]:
        """Return which of the untimed states are reached by the clock."""
        found = np.zeros(self.reached.states.size, dtype=np.bool_)
        for layer in self.layers:
            found[layer >> self.clocks.bits] = True
        return found

    def where(self, row: Row, there: NDArray[np.bool_] | None = None) -> int | None:
        """Return the state reached soonest, by the clock, in which a row happens, or None; only ``there`` where that is said."""
        states = self.reached.states
        fits = (states & np.uint64(row.mask)) == np.uint64(row.value)
        fits &= True if there is None else there
        for layer in self.layers:
            which = layer >> self.clocks.bits
            good = fits[which]
            if row.due:
                good &= self.clocks.at_end(self.reached.table.clocks.index(row.due), layer, which)
            if good.any():
                return int(layer[good][0])
        return None

    def soonest(self, wanted: NDArray[np.bool_]) -> int | None:
        """Return the state reached soonest, by the clock, whose untimed state is wanted, or None."""
        for layer in self.layers:
            good = layer[wanted[layer >> self.clocks.bits]]
            if good.size:
                return int(good[0])
        return None

    def way_to(self, state: int) -> list[tuple[Row, int]]:
        """Return a shortest course to a state: its rows, ticks left out, each with the untimed state after it."""
        before, after, rows = self.reached.edges
        depth = next(depth for depth, layer in enumerate(self.layers) if _among(state, layer))
        way: list[tuple[Row, int]] = []
        for layer in reversed(self.layers[:depth]):
            row, earlier = self._into(state, layer, before, after, rows)
            if row is not None:
                way.append((row, int(self.reached.states[state >> self.clocks.bits])))
            state = earlier
        return way[::-1]

    def _into(self, state: int, layer: Numbers, before: Numbers, after: Numbers, rows: Numbers) -> tuple[Row | None, int]:
        clocks, to = self.clocks, state >> self.clocks.bits
        earlier = state - int(clocks.step[to])
        if clocks.step[to] and _among(earlier, layer) and earlier >> clocks.bits == to and self._may_tick(earlier):
            return None, earlier
        which = layer >> clocks.bits
        for edge in np.flatnonzero(after == to):
            row = self.reached.moving.rows[int(rows[edge])]
            here = layer[which == before[edge]]
            good = (here & keep_of(row, self.reached, clocks)) == (state & clocks.all)
            if row.due:
                good &= clocks.at_end(self.reached.table.clocks.index(row.due), here, here >> clocks.bits)
            if good.any():
                return row, int(here[good][0])
        raise AssertionError("a state of a later layer comes from the one before it")

    def _may_tick(self, state: int) -> bool:
        one = np.array([state], dtype=np.int64)
        return not any(bool(self.clocks.at_end(number, one, one >> self.clocks.bits)[0]) for number in range(len(self.clocks.at)))


def keep_of(row: Row, reached: Reached, clocks: Clocks) -> int:
    """Return the bits of the clocks a row leaves running."""
    return clocks.all & ~sum(clocks.masks[reached.table.clocks.index(name)] for name in row.begun)


def moves_of(reached: Reached, clocks: Clocks) -> tuple[Moves, dict[int, Moves]]:
    """Return the moves that wait for no clock, and for each clock those that wait for it."""
    before, after, rows = reached.edges
    names = reached.table.clocks
    keep = np.array([keep_of(row, reached, clocks) for row in reached.moving.rows] or [0], dtype=np.int64)[rows]
    due = np.array([names.index(row.due) if row.due else -1 for row in reached.moving.rows] or [0], dtype=np.int64)[rows]
    order = np.lexsort((keep, due, after, before))
    before, after, keep, due = (each[order] for each in (before, after, keep, due))
    same = np.ones(before.size, dtype=np.bool_)
    same[1:] = (np.diff(before) != 0) | (np.diff(after) != 0) | (np.diff(keep) != 0) | (np.diff(due) != 0)
    stays = (before == after) & (keep == clocks.all)
    found = {}
    for number in range(-1, len(names)):
        some = same & ~stays & (due == number)
        if number < 0 or some.any():
            found[number] = Moves(reached.states.size, clocks, before[some], after[some], keep[some])
    return found.pop(-1), found


def by_the_clock(reached: Reached, most: int = MOST_STATES) -> Timed:
    """Return all that can be reached by the clock. Raises TooManyStatesError for more than ``most`` states."""
    clocks = Clocks(reached)
    free, waiting = moves_of(reached, clocks)
    seen = _Seen(reached.states.size << clocks.bits)
    layer, layers, found = np.zeros(1, dtype=np.int64), list[Numbers](), 1
    seen.new(layer)
    while layer.size:
        layers.append(layer)
        which = layer >> clocks.bits
        after = free.after(layer, which, clocks)
        ticking = clocks.step[which] > 0
        for number in range(len(clocks.at)):
            ended = clocks.at_end(number, layer, which)
            ticking &= ~ended
            if number in waiting:
                at = np.flatnonzero(ended)
                after += waiting[number].after(layer[at], which[at], clocks)
        after.append((layer + clocks.step[which])[ticking])
        layer = seen.new(np.concatenate(after))
        found += layer.size
        if found > most:
            raise TooManyStatesError(f"more than {most} states by the clock; times with a larger common divisor would do")
    return Timed(reached, clocks, tuple(layers))


class _Seen:
    """What has been reached: a map of one byte a state where that fits, of one bit where that does, else all of it sorted."""

    def __init__(self, size: int) -> None:
        self.bytes = np.zeros(size, dtype=np.bool_) if size <= LARGEST_MAP else None
        self.bits = np.zeros((size + 7) // 8, dtype=np.uint8) if LARGEST_MAP < size <= 8 * LARGEST_MAP else None
        self.sorted = np.zeros(0, dtype=np.int64)

    def new(self, states: Numbers) -> Numbers:
        """Return those not reached before, sorted, and remember them."""
        if self.bytes is not None:
            fresh = states[~self.bytes[states]]
            self.bytes[fresh] = True
            return sorted_once(fresh)
        if self.bits is not None:
            return self._new_bits(states, self.bits)
        fresh = sorted_once(states)
        if self.sorted.size:
            place = np.minimum(np.searchsorted(self.sorted, fresh), self.sorted.size - 1)
            fresh = fresh[self.sorted[place] != fresh]
        self.sorted = np.sort(np.concatenate([self.sorted, fresh]), kind="stable")
        return fresh

    @staticmethod
    def _new_bits(states: Numbers, bits: NDArray[np.uint8]) -> Numbers:
        fresh = sorted_once(states[(bits[states >> 3] >> (states & 7).astype(np.uint8)) & 1 == 0])
        if fresh.size:
            place = fresh >> 3
            starts = np.flatnonzero(np.concatenate([[True], place[1:] != place[:-1]]))
            bits[place[starts]] |= np.bitwise_or.reduceat(np.uint8(1) << (fresh & 7).astype(np.uint8), starts)
        return fresh


def _among(state: int, layer: Numbers) -> bool:
    """Return whether a state is in a layer, which is sorted."""
    at = int(np.searchsorted(layer, state))
    return at < layer.size and int(layer[at]) == state
