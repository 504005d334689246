"""Halving: where to look next along a chain of places, one of which holds the fault, so that the least minutes are spent on the whole.

A test at a point says on which side of it the fault lies. The best order is a binary tree over the places in their order: found exactly,
by dynamic programming over the intervals of the chain. Where every test costs the same it is the optimum alphabetic tree of Hu and Tucker
(Knuth, The Art of Computer Programming, vol. 3, section 6.2.2, from memory); here a test also costs the walk to it from where one stands.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.hypothesis import Floats

Ints = NDArray[np.int64]

MOST_PLACES = 200
"""Of a longer chain no plan is made: 60 places take some hundredths of a second, 200 about a second."""
LEFT, RIGHT = 0, 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where the fault may be: its ``key`` in the document, what people call it, and its chance (any scale)."""

    key: str
    words: str
    chance: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Point:
    """A test between two neighbouring places: what is done there, and what it costs.

    ``at_min`` [min] is how far along the walk it is, ``minutes`` the test itself, ``lid_min`` opening what ``lid`` names, which is not
    opened twice. ``sound`` says what is read when the fault is on the near side.
    """

    words: str
    at_min: float = 0.0
    minutes: float = 1.0
    lid: str = ""
    lid_min: float = 0.0
    sound: str = ""
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Split:
    """One test of a plan: at point ``at``, the fault being among the places ``first`` to ``last`` (the one before it).

    ``near`` and ``far`` are what follows when the fault lies before or beyond the point: a further test, or None when one place is left.
    ``visits`` and ``minutes`` are expected from here to the end; ``cost_min`` is this test alone.
    """

    first: int
    last: int
    at: int
    cost_min: float
    visits: float
    minutes: float
    near: Split | None
    far: Split | None


@dataclass(frozen=True, kw_only=True, slots=True)
class Plan:
    """The best order of tests. ``start`` is the first one; None where there is only one place."""

    places: tuple[Place, ...]
    points: tuple[Point, ...]
    start: Split | None

    @property
    def expected_visits(self) -> float:
        """Return the expected number of tests."""
        return self.start.visits if self.start else 0.0

    @property
    def expected_min(self) -> float:
        """Return the expected minutes, walking and lids among them."""
        return self.start.minutes if self.start else 0.0

    @property
    def most_visits(self) -> int:
        """Return the number of tests when it goes worst."""
        return _depth(self.start)

    def at(self, first: int, last: int) -> Split | None:
        """Return the test that follows when the fault is known to be among the places ``first`` to ``last``; None off the plan's way."""
        test = self.start
        while test is not None and (test.first, test.last) != (first, last):
            test = test.near if last <= test.at else test.far if first >= test.at else None
        return test


def along(places: Sequence[Place], points: Sequence[Point]) -> Plan:
    """Return the best plan along a chain: ``points[k]`` lies between places ``k`` and ``k + 1``; one starts before the first place.

    Raises ValueError where there is not one point between each two places, for a chance below naught, and for too many places.
    """
    count = _checked(places, len(points))
    where = np.array([0.0, *(point.at_min for point in points), points[-1].at_min if points else 0.0])
    fixed = np.array([point.minutes for point in points])
    lids = np.array([point.lid_min for point in points])
    _, lid = np.unique(["", *(point.lid for point in points), ""], return_inverse=True)

    def cost(first: Ints, inner: Ints, last: Ints, side: int) -> Floats:
        stands = where[first if side == LEFT else last]
        # No lid at all is the first of the names.
        open_already = (lid[inner] > 0) & ((lid[inner] == lid[first]) | (lid[inner] == lid[last]))
        return np.asarray(np.abs(where[inner] - stands) + fixed[inner - 1] + np.where(open_already, 0.0, lids[inner - 1]))

    return Plan(places=tuple(places), points=tuple(points), start=_best(np.array([place.chance for place in places]), count, cost))


def apart(places: Sequence[Place], points: Sequence[Point], move_min: Sequence[float], read_min: float) -> Plan:
    """Return the plan for branches that are parted side by side at one spot: each test parts, or puts back, one side of a group.

    ``move_min`` [min] is what parting each costs, infinite for what cannot be parted; ``read_min`` [min] is the reading. The branches
    are tried in the order in which they are given. Raises ValueError as :func:`along` does.
    """
    count = _checked(places, len(points))
    moved = np.concatenate(([0.0], np.cumsum(np.where(np.isinf(move_min), 0.0, move_min))))
    stuck = np.concatenate(([0], np.cumsum(np.isinf(move_min))))

    def cost(first: Ints, inner: Ints, last: Ints, _: int) -> Floats:
        near = np.where(stuck[inner] > stuck[first], np.inf, moved[inner] - moved[first])
        far = np.where(stuck[last] > stuck[inner], np.inf, moved[last] - moved[inner])
        return np.asarray(read_min + np.minimum(near, far))

    return Plan(places=tuple(places), points=tuple(points), start=_best(np.array([place.chance for place in places]), count, cost))


def _checked(places: Sequence[Place], points: int) -> int:
    if len(places) != points + 1:
        raise ValueError(f"{len(places)} places need {len(places) - 1} points between them, not {points}.")
    if any(place.chance < 0 for place in places):
        raise ValueError("A chance is not below naught.")
    if len(places) > MOST_PLACES:
        raise ValueError(f"{len(places)} places are too many for one plan: at most {MOST_PLACES}.")
    return len(places)


def _best(chance: Floats, count: int, cost: Callable[[Ints, Ints, Ints, int], Floats]) -> Split | None:
    """Return the best tree: ``cost`` gives the minutes of a test at the inner points of intervals, by the end one stands at."""
    total = float(chance.sum())
    sums = np.concatenate(([0.0], np.cumsum(chance / total if total > 0 else np.full(count, 1 / count))))
    least = np.zeros((2, count + 1, count + 1))
    choice = np.zeros((2, count + 1, count + 1), dtype=np.int64)
    for length in range(2, count + 1):
        # All intervals of one length at once, an interval a line.
        first = np.arange(count - length + 1)[:, None]
        inner, last = first + np.arange(1, length), first + length
        # After a test at a point one stands at that point: the right end of the near part, the left end of the far one.
        after = least[RIGHT, first, inner] + least[LEFT, inner, last]
        for side in (LEFT, RIGHT):
            whole = (sums[last] - sums[first]) * cost(first, inner, last, side) + after
            best = np.argmin(whole, axis=1)[:, None]
            least[side, first, last], choice[side, first, last] = np.take_along_axis(whole, best, axis=1), first + 1 + best

    def split(first: int, last: int, side: int) -> Split | None:
        if last - first < 2:
            return None
        at = int(choice[side, first, last])
        near, far = split(first, at, RIGHT), split(at, last, LEFT)
        weight = sums[last] - sums[first]
        share = (sums[at] - sums[first]) / weight if weight > 0 else 0.5
        here = float(cost(np.array(first), np.array(at), np.array(last), side))
        return Split(
            first=first,
            last=last,
            at=at,
            cost_min=here,
            visits=1 + share * (near.visits if near else 0.0) + (1 - share) * (far.visits if far else 0.0),
            minutes=here + share * (near.minutes if near else 0.0) + (1 - share) * (far.minutes if far else 0.0),
            near=near,
            far=far,
        )

    return split(0, count, LEFT)


def _depth(test: Split | None) -> int:
    return 0 if test is None else 1 + max(_depth(test.near), _depth(test.far))
