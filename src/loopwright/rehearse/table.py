"""A step as a table of rows (mask, value, keep, set) on packed states, worked out for the states that are come to, and for no others."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from loopwright.rehearse.plan import NotCoveredError, Programme
from loopwright.rehearse.state import Event, Output, clocks, fields, running, tick_s
from loopwright.rehearse.step import effect_of, events

ALL = (1 << 64) - 1
WIDEST = 64
PAIRS_AT_ONCE = 4_000_000
States = NDArray[np.uint64]
Result = TypeVar("Result")


class Row(NamedTuple):
    """A state ``s`` with ``s & mask == value`` goes to ``s & keep | set`` when the event happens.

    ``due`` is the clock that has to be at its end, ``begun`` are those put to nothing.
    """

    mask: int
    value: int
    keep: int
    set: int
    event: Event
    outputs: tuple[Output, ...]
    due: str = ""
    begun: tuple[str, ...] = ()

    def moves(self) -> bool:
        """Return whether the row can change anything: the rows that do not are kept for the promises."""
        return bool(self.begun) or (self.keep, self.set) != (ALL, 0)


class Packing:
    """Where each field of a state stands in one whole number of 64 bits. Raises NotCoveredError for a programme too wide."""

    def __init__(self, sizes: Mapping[str, int]) -> None:
        self.sizes = dict(sizes)
        self.place: dict[str, tuple[int, int]] = {}
        at = 0
        for name, size in self.sizes.items():
            bits = (size - 1).bit_length()
            self.place[name] = (at, ((1 << bits) - 1) << at)
            at += bits
        self.bits = at
        if at > WIDEST:
            raise NotCoveredError(f"a state of it takes {at} bits, and {WIDEST} can be held; follow fewer zones or areas")

    def stated(self, values: Mapping[str, int]) -> tuple[int, int]:
        """Return the bits of some fields, and the fields in them."""
        bits, packed, place = 0, 0, self.place
        for name, value in values.items():
            at, mask = place[name]
            bits |= mask
            packed |= value << at
        return bits, packed

    def unpack(self, packed: int) -> dict[str, int]:
        """Return the fields in a number."""
        return {name: (packed & mask) >> at for name, (at, mask) in self.place.items()}


class Table(NamedTuple):
    """A programme as rows: for each event they exclude one another, and what no row takes, cannot happen."""

    programme: Programme
    packing: Packing
    rows: tuple[Row, ...]
    clocks: tuple[str, ...]


class Tabling:
    """A table in the making. It grows as states are come to: what an event does in one holds for all that are the same in what it read."""

    def __init__(self, programme: Programme) -> None:
        self.programme = programme
        self.packing = Packing(fields(programme))
        self.events = events(programme)
        self._found: list[tuple[tuple[int, ...], Row | None]] = []
        self._columns: list[tuple[int, int, int, int, bool]] = []
        self._lay_out()

    def _lay_out(self) -> None:
        columns = zip(*self._columns, strict=True) if self._columns else [()] * 5
        mask, value, keep, put, moves = columns
        self._mask, self._value, self._keep, self._set = (np.array(each, dtype=np.uint64) for each in (mask, value, keep, put))
        self._moves = np.array(moves, dtype=np.bool_)
        self._event = np.array([key[0] for key, _ in self._found], dtype=np.int64)

    def after(self, states: States) -> Iterator[States]:
        """Yield, a piece at a time, what states come to by every event that changes something."""
        begin = 0
        while begin < states.size:
            some = states[begin : begin + max(1, PAIRS_AT_ONCE // max(1, len(self._found)))]
            takes = (some[:, None] & self._mask) == self._value
            lacking = np.count_nonzero(takes, axis=1) < len(self.events)
            if lacking.any():
                self._work_out(some[lacking], takes[lacking])
                continue
            state, case = np.nonzero(takes & self._moves)
            yield (some[state] & self._keep[case]) | self._set[case]
            begin += some.size

    def _work_out(self, states: States, takes: NDArray[np.bool_]) -> None:
        """Work out what each event does in the states of which that is not known."""
        known = np.zeros((states.size, len(self.events)), dtype=np.bool_)
        state, case = np.nonzero(takes)
        known[state, self._event[case]] = True
        for number in np.flatnonzero(~known.all(axis=0)).tolist():
            left = states[~known[:, number]]
            while left.size:
                mask, value = self._add(number, int(left[0]))
                left = left[(left & np.uint64(mask)) != np.uint64(value)]
        self._lay_out()

    def _add(self, number: int, state: int) -> tuple[int, int]:
        event = self.events[number]
        known, effect = traced(self.packing, state, lambda read: effect_of(self.programme, read, event))
        mask, value = self.packing.stated(known)
        row, keep, put = None, ALL, 0
        if effect is not None:
            bits, put = self.packing.stated({name: after for name, after in effect.changes.items() if known.get(name) != after})
            keep = ALL & ~bits
            row = Row(mask, value, keep, put, event, effect.outputs, effect.due, effect.begun)
        self._found.append(((number, *(-each for each in known.values())), row))
        self._columns.append((mask, value, keep, put, row is not None and row.moves()))
        return mask, value

    def table(self) -> Table:
        """Return what has been worked out, in an order that does not depend on the order in which it was."""
        rows = tuple(row for _, row in sorted(self._found, key=lambda each: each[0]) if row is not None)
        return Table(self.programme, self.packing, rows, tuple(clocks(self.programme)))


def runs_of(table: Table, states: States) -> Iterator[tuple[int, int, Mapping[str, int]]]:
    """Yield the clocks that run in some states, in ticks, for each of the cases the states are of (mask, value)."""
    tick, left = tick_s(table.programme), states
    while left.size:
        known, runs = traced(table.packing, int(left[0]), lambda read: running(table.programme, read))
        mask, value = table.packing.stated(known)
        yield mask, value, {clock: round(lasts_s / tick) for clock, lasts_s in runs.items()}
        left = left[(left & np.uint64(mask)) != np.uint64(value)]


def traced(packing: Packing, state: int, work: Callable[[Callable[[str], int]], Result]) -> tuple[dict[str, int], Result]:
    """Return the fields some work reads of a state, as they stand and in the order it reads them, and what it comes to."""
    known = dict[str, int]()

    def read(name: str) -> int:
        at, mask = packing.place[name]
        value = known[name] = (state & mask) >> at
        return value

    return known, work(read)
