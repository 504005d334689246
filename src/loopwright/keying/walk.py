"""The shortest way through a unit's addresses: every entry once, none before what it waits for, the fewest steps in and out.

An address is a way down a tree ("page Doors, line Coming home"); the walk begins and ends at the top. What it costs is the sum over
the steps of the tree of how often each is gone, so a part of the tree whose entries wait for nothing outside it is best done whole, as
soon as one stands above it: taking it out of any later walk saves at least what it costs by itself. Only what is left is searched, with
the steps that cannot be saved as the bound (A*: Hart, Nilsson and Raphael 1968), so the walk found is a shortest one.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import count

Steps = tuple[str, ...]
MOST_LOOKED_AT = 1_000
"""States the search looks at before it is content with a walk that is not proved the shortest."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Stop:
    """One entry of a walk: the steps of its address, and the stops it waits for, by number."""

    steps: Steps
    after: frozenset[int] = frozenset()


@dataclass(frozen=True, kw_only=True, slots=True)
class Walk:
    """Stops in the order they are made; ``proved`` says that no order takes fewer steps."""

    order: tuple[int, ...]
    proved: bool


class Circle(ValueError):  # noqa: N818 - a contradiction in a sheet; the program is in order
    """Stops that wait for each other; ``stops`` are their numbers."""

    def __init__(self, stops: Sequence[int]) -> None:
        super().__init__("stops wait for each other")
        self.stops = tuple(stops)


def presses_between(steps: Sequence[Steps], in_presses: int, out_presses: int) -> int:
    """Return the key presses of going from address to address in order, from the top and back to it.

    >>> presses_between([("doors", "in"), ("doors", "out"), ("siren",)], 2, 1)
    12
    """
    cost, at = 0, Steps()
    for to in (*steps, ()):
        shared = _shared(at, to)
        cost += out_presses * (len(at) - shared) + in_presses * (len(to) - shared)
        at = to
    return cost


def shortest(stops: Sequence[Stop]) -> Walk:
    """Return a shortest walk to all stops, each of an address of its own. Raises Circle where some wait for each other.

    It is the shortest whatever a step in and a step out cost, since both are gone equally often.
    """
    _no_circle(stops)
    search = _Search(stops)
    _, order = search.whole((), frozenset(range(len(stops))), frozenset())
    return Walk(order=tuple(order), proved=search.proved)


def _no_circle(stops: Sequence[Stop]) -> None:
    left = dict(enumerate(stops))
    while free := [number for number, stop in left.items() if not stop.after & left.keys()]:
        for number in free:
            del left[number]
    if left:
        raise Circle(list(left))


class _Search:
    """A search over where one stands and what is done; a step in and its step out are gone as often, so they count together, as 1."""

    def __init__(self, stops: Sequence[Stop]) -> None:
        self.stops = stops
        self.proved, self.looked_at = True, 0

    def whole(self, top: Steps, todo: frozenset[int], done: frozenset[int]) -> tuple[int, list[int]]:
        """Return steps and order of the stops below ``top``, from there and back; they wait for each other and for what is done only."""
        cost, made, left = self._swept(top, todo, done)
        ticket = count()
        states = [(cost + self._bound(top, top, left), next(ticket), cost, top, made, left)]
        best: dict[tuple[Steps, frozenset[int]], int] = {}
        while states:
            _, _, cost, at, made, left = heapq.heappop(states)
            if not left:
                return cost, made
            if best.get((at, left), cost + 1) <= cost:
                continue
            best[at, left] = cost
            self.looked_at += 1
            if self.looked_at > MOST_LOOKED_AT:
                self.proved = False
                return cost, [*made, *self._as_it_comes(at, left)]
            for to in self._ways(top, at, left):
                spent, more, rest = self._swept(to, left, done | frozenset(made))
                # Whoever goes up has paid already for the way down, so only ways down are counted.
                price = cost + spent + (len(to) > len(at))
                heapq.heappush(states, (price + self._bound(top, to, rest), next(ticket), price, to, [*made, *more], rest))
        raise AssertionError("what waits in no circle can always be reached")

    def _ways(self, top: Steps, at: Steps, left: frozenset[int]) -> list[Steps]:
        """Return where one may go from a place: up, or down to where something can be done that is not done whole."""
        ready = {number for number in left if not self.stops[number].after & left}
        down = sorted({self.stops[number].steps[: len(at) + 1] for number in ready if self._below(at, number)})
        return [*down, *([at[:-1]] if len(at) > len(top) else [])]

    def _below(self, at: Steps, number: int) -> bool:
        return self.stops[number].steps[: len(at)] == at

    def _swept(self, at: Steps, left: frozenset[int], done: frozenset[int]) -> tuple[int, list[int], frozenset[int]]:
        """Do everything below a place that waits for nothing outside its own part, and what it sets free; return steps, order, rest."""
        cost, made = 0, list[int]()
        while part := self._free_part(at, left):
            down = self.stops[min(part)].steps[: len(at) + 1]
            inside, order = (len(self.stops[min(part)].steps) - len(down), [min(part)])
            if len(part) > 1:
                inside, order = self.whole(down, part, done | frozenset(made))
            cost += inside + (len(down) > len(at))
            made += order
            left -= part
        return cost, made, left

    def _free_part(self, at: Steps, left: frozenset[int]) -> frozenset[int]:
        """Return the stops of the first part below a place that is free, in the order of the sheet; empty where there is none."""
        parts: dict[Steps, set[int]] = {}
        for number in sorted(left):
            if self._below(at, number):
                parts.setdefault(self.stops[number].steps[: len(at) + 1], set()).add(number)
        for part in parts.values():
            if all(self.stops[number].after & left <= part for number in part):
                return frozenset(part)
        return frozenset()

    def _bound(self, top: Steps, at: Steps, left: frozenset[int]) -> int:
        """Return what is still to be paid at least: every step down that leads to something left and is not stood on."""
        steps = {self.stops[number].steps[:deep] for number in left for deep in range(len(top) + 1, len(self.stops[number].steps) + 1)}
        return sum(1 for each in steps if at[: len(each)] != each)

    def _as_it_comes(self, at: Steps, left: frozenset[int]) -> list[int]:
        """Return an order of what is left that keeps the waits, nearest first; it may not be the shortest."""
        made: list[int] = []
        while left:
            ready = [number for number in sorted(left) if not self.stops[number].after & left]
            made.append(max(ready, key=lambda number: (_shared(at, self.stops[number].steps), -number)))
            at = self.stops[made[-1]].steps
            left -= {made[-1]}
        return made


def _shared(one: Steps, other: Steps) -> int:
    return next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))


def after_all(numbers: Sequence[int], turn: Callable[[int], str | None], after: Mapping[int, frozenset[int]]) -> dict[int, frozenset[int]]:
    """Return what each stop waits for, with those that come first or last put before or after the rest."""
    first = frozenset(number for number in numbers if turn(number) == "first")
    last = frozenset(number for number in numbers if turn(number) == "last")
    made = {}
    for number in numbers:
        before = after.get(number, frozenset())
        if turn(number) != "first":
            before |= first
        if turn(number) == "last":
            before |= frozenset(numbers) - last
        made[number] = before - {number}
    return made
