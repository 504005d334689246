"""A step as a table of rows (mask, value, keep, set) on packed states, made by running it over what it reads."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple, cast

from loopwright.rehearse.plan import AreaPlan
from loopwright.rehearse.step import Event, State, effect_of, events

ALL = (1 << 64) - 1


class Row(NamedTuple):
    """A state ``s`` with ``s & mask == value`` goes to ``s & keep | set`` when the event happens."""

    mask: int
    value: int
    keep: int
    set: int
    event: Event
    outputs: tuple[str, ...]


class Packing:
    """Where each field of a state stands in one whole number."""

    def __init__(self, plan: AreaPlan) -> None:
        sizes = State(
            mode=4,
            part=len(plan.states),
            clock=max(plan.entry, plan.exit) + 1,
            door=3,
            memory=2,
            starter=3,
            open=2,
            trips=plan.trips + 1,
            inhibited=2,
        )
        self.sizes: Mapping[str, int] = sizes._asdict()
        self.place: dict[str, tuple[int, int]] = {}
        at = 0
        for name, size in self.sizes.items():
            bits = (size - 1).bit_length()
            self.place[name] = (at, ((1 << bits) - 1) << at)
            at += bits
        self.bits = at

    def pack(self, fields: Mapping[str, int]) -> int:
        """Return the fields in one number."""
        return sum(value << self.place[name][0] for name, value in fields.items())

    def mask(self, names: Mapping[str, int]) -> int:
        """Return the bits of the fields."""
        return sum(self.place[name][1] for name in names)

    def unpack(self, packed: int) -> State:
        """Return the state in a number."""
        return State(**{name: (packed & mask) >> at for name, (at, mask) in self.place.items()})


class _NotReadError(Exception):
    """A field is read whose value has not been chosen yet."""


class _Chosen:
    """A state of which only some fields are known."""

    def __init__(self, known: Mapping[str, int]) -> None:
        self._known = known

    def __getattr__(self, name: str) -> int:
        """Return a known field; ask for any other."""
        try:
            return self._known[name]
        except KeyError:
            raise _NotReadError(name) from None


def table_of(plan: AreaPlan, packing: Packing) -> tuple[Row, ...]:
    """Return the rows of a plan. For each event they exclude one another; what no row takes, cannot happen."""
    return tuple(row for event in events(plan) for row in _rows(plan, packing, event))


def _rows(plan: AreaPlan, packing: Packing, event: Event) -> list[Row]:
    found, open_cases = [], [dict[str, int]()]
    while open_cases:
        known = open_cases.pop()
        try:
            effect = effect_of(plan, cast("State", _Chosen(known)), event)
        except _NotReadError as asked:
            name = str(asked)
            open_cases += [known | {name: value} for value in range(packing.sizes[name])]
            continue
        if effect is not None:
            keep = ALL & ~packing.mask(effect.changes)
            found.append(Row(packing.mask(known), packing.pack(known), keep, packing.pack(effect.changes), event, effect.outputs))
    return found
