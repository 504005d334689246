"""A step as a table of rows (mask, value, keep, set) on packed states, made by running it over every combination of what it reads."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import NamedTuple, TypeVar

from loopwright.rehearse.plan import NotCoveredError, Programme
from loopwright.rehearse.state import Event, Output, clocks, fields, running, tick_s
from loopwright.rehearse.step import effect_of, events

ALL = (1 << 64) - 1
WIDEST = 64
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

    def pack(self, values: Mapping[str, int]) -> int:
        """Return the fields in one number; what is no field is left aside."""
        return sum(value << self.place[name][0] for name, value in values.items() if name in self.place)

    def mask(self, names: Mapping[str, int]) -> int:
        """Return the bits of the fields."""
        return sum(self.place[name][1] for name in names)

    def unpack(self, packed: int) -> dict[str, int]:
        """Return the fields in a number."""
        return {name: (packed & mask) >> at for name, (at, mask) in self.place.items()}


class Table(NamedTuple):
    """A programme as rows, and the clocks that run, in ticks, for each of the cases it tells apart."""

    programme: Programme
    packing: Packing
    rows: tuple[Row, ...]
    clocks: tuple[str, ...]
    runs: tuple[tuple[int, int, Mapping[str, int]], ...]


class _NotReadError(Exception):
    """A field is read whose value has not been chosen yet."""


def table_of(programme: Programme) -> Table:
    """Return the rows of a programme. For each event they exclude one another; what no row takes, cannot happen."""
    packing, tick = Packing(fields(programme)), tick_s(programme)
    rows = tuple(row for event in events(programme) for row in _rows(programme, packing, event))
    runs = tuple(
        (packing.mask(known), packing.pack(known), {clock: round(lasts_s / tick) for clock, lasts_s in found.items()})
        for known, found in cases(packing.sizes, lambda read: running(programme, read))
    )
    return Table(programme, packing, rows, tuple(clocks(programme)), runs)


def _rows(programme: Programme, packing: Packing, event: Event) -> Iterator[Row]:
    for known, effect in cases(packing.sizes, lambda read: effect_of(programme, read, event)):
        if effect is None:
            continue
        changes = {name: value for name, value in effect.changes.items() if known.get(name) != value}
        mask, value = packing.mask(known), packing.pack(known)
        yield Row(mask, value, ALL & ~packing.mask(changes), packing.pack(changes), event, effect.outputs, effect.due, effect.begun)


def cases(sizes: Mapping[str, int], work: Callable[[Callable[[str], int]], Result]) -> Iterator[tuple[dict[str, int], Result]]:
    """Yield what some work comes to for every combination of the fields it reads, and no others."""
    waiting = [dict[str, int]()]
    while waiting:
        known = waiting.pop()

        def read(name: str, known: Mapping[str, int] = known) -> int:
            if name not in known:
                raise _NotReadError(name)
            return known[name]

        try:
            result = work(read)
        except _NotReadError as asked:
            name = str(asked)
            waiting += [known | {name: value} for value in range(sizes[name])]
            continue
        yield known, result
