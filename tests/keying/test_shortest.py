"""The plan is the shortest: held against every list of entries there is, on small random units, by a simulation of its own."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import permutations
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from keying.units import units
from loopwright.job.document import Job
from loopwright.keying import walk
from loopwright.keying.plan import plan_of
from loopwright.keying.walk import Circle, Stop, presses_between, shortest
from often import often

Address = tuple[str, ...]
Drawn = tuple[Job, dict[str, dict[str, Any]], dict[str, int], dict[str, Any]]


def walked(addresses: list[Address], into: int, out: int) -> int:
    """Return the presses of a walk, one step at a time: written apart from the plan's own sum."""
    at: list[str] = []
    cost = 0
    for to in [*addresses, ()]:
        while tuple(at) != to[: len(at)]:
            at.pop()
            cost += out
        while len(at) < len(to):
            at.append(to[len(at)])
            cost += into
    return cost


class Oracle:
    """A unit as a dictionary from address to what is keyed there, and every way to bring it to what is wanted."""

    def __init__(self, drawn: Drawn, found: dict[str, int] | None) -> None:
        _, self.rows, self.values, self.costs = drawn
        self.found = found
        self.places: dict[Address, list[str]] = {}
        for name, row in self.rows.items():
            self.places.setdefault(tuple(row["address"].split(", ")), []).append(name)

    def start(self, restored: bool) -> dict[str, int | None]:
        kept = {name: self.found.get(name) if self.found is not None else int(row["default"]) for name, row in self.rows.items()}
        return {name: int(row["default"]) if restored and not row["kept"] else kept[name] for name, row in self.rows.items()}

    def right(self, state: dict[str, int | None]) -> bool:
        return all(state[name] == self.values[row["of"]] for name, row in self.rows.items() if row["of"] in self.values)

    def ordered(self, order: tuple[Address, ...]) -> bool:
        """Whether nothing is entered before what it waits for; who comes last has nothing behind it that does not."""
        at = {name: number for number, place in enumerate(order) for name in self.places[place]}
        last = {name for name, row in self.rows.items() if row.get("turn") == "last"}
        lasting = {place for place in order if last & set(self.places[place])}
        for name, number in at.items():
            if any(at.get(other, -1) > number for other in self.rows[name]["after"]):
                return False
            if name in last and any(place not in lasting for place in order[number:]):
                return False
        return True

    def entered(self, state: dict[str, int | None], order: tuple[Address, ...]) -> dict[str, int | None]:
        """The unit after the entries: at each address everything is keyed, what is asked for as wanted, the rest as it was."""
        after = dict(state)
        for place in order:
            for name in self.places[place]:
                after[name] = self.values.get(self.rows[name]["of"], state[name])
        return after

    def keys(self, place: Address, state: dict[str, int | None]) -> str:
        """What has to be keyed at an address: what is asked for, else what is there, else what the factory left."""
        found = ""
        for name in self.places[place]:
            row, there = self.rows[name], state[name]
            value = self.values.get(row["of"], int(row["default"]) if there is None else there)
            found += str(value).rjust(row["digits"], "0")
        return found

    def presses(self, order: tuple[Address, ...], restored: bool) -> int:
        into, out = self.costs["in_presses"], self.costs["out_presses"]
        keys = sum(self.rows[name]["digits"] for place in order for name in self.places[place])
        back = self.costs["restore_presses"] + walked([tuple(self.costs["restore"].split(", "))], into, out) if restored else 0
        return keys + back + walked(list(order), into, out)

    def every_way(self) -> Iterator[int]:
        """Yield the cost of every list that ends right; a list without an order at all has none."""
        for restored in (False, True) if self.costs["restore"] and self.found is not None else (False,):
            state = self.start(restored)
            for many in range(len(self.places) + 1):
                for order in permutations(self.places, many):
                    if self.right(self.entered(state, order)) and self.ordered(order):
                        yield self.presses(order, restored)


def circular(oracle: Oracle) -> bool:
    """Whether settings of shared addresses wait for each other, so that no order is right."""
    return not oracle.ordered(()) or not any(oracle.ordered(order) for order in permutations(oracle.places))


@given(units(), st.data())
@settings(max_examples=often(120), deadline=None)
def test_no_list_of_entries_is_shorter(drawn: Drawn, data: st.DataObject) -> None:
    job, rows = drawn[0], drawn[1]
    found = None
    if data.draw(st.integers(0, 2), label="found"):
        found = {name: data.draw(st.integers(0, 3)) for name in rows if data.draw(st.integers(0, 4))}
    oracle = Oracle(drawn, found)
    plan = plan_of(job, "unit", None if found is None else {name: float(value) for name, value in found.items()})
    if circular(oracle):
        return
    assert not plan.misfits and plan.proved
    order = tuple(tuple(entry.address.split(", ")) for entry in plan.entries)
    restored = bool(plan.restore)
    assert oracle.ordered(order) and oracle.right(oracle.entered(oracle.start(restored), order))
    assert [entry.keys for entry in plan.entries] == [oracle.keys(place, oracle.start(restored)) for place in order]
    assert plan.presses == oracle.presses(order, restored) == min(oracle.every_way())


@st.composite
def stops(draw: st.DrawFn) -> list[Stop]:
    """Draw stops of a tree three deep, one address inside another among them, that wait for each other in one order."""
    steps = st.lists(st.sampled_from("abc"), min_size=1, max_size=4).map(tuple)
    addresses = draw(st.lists(steps, min_size=1, max_size=6, unique=True))
    order = draw(st.permutations(range(len(addresses))))
    after = {number: frozenset(order[:at][::2]) if draw(st.booleans()) else frozenset[int]() for at, number in enumerate(order)}
    return [Stop(steps=address, after=after[number]) for number, address in enumerate(addresses)]


@given(stops(), st.integers(0, 3), st.integers(0, 3))
@settings(max_examples=often(100), deadline=None)
def test_no_order_of_addresses_takes_fewer_steps(drawn: list[Stop], into: int, out: int) -> None:
    found = shortest(drawn)
    every = [order for order in permutations(range(len(drawn))) if all(drawn[n].after <= set(order[:at]) for at, n in enumerate(order))]
    mine = walked([drawn[number].steps for number in found.order], into, out)
    assert found.order in every and found.proved
    assert mine == presses_between([drawn[number].steps for number in found.order], into, out)
    assert mine == min(walked([drawn[number].steps for number in order], into, out) for order in every)


def test_stops_that_wait_for_each_other_are_named() -> None:
    circle = [Stop(steps=("a",), after=frozenset({1})), Stop(steps=("b",), after=frozenset({0})), Stop(steps=("c",))]
    with pytest.raises(Circle) as found:
        shortest(circle)
    assert set(found.value.stops) == {0, 1}


def test_a_tangle_is_given_up_in_time_and_said_to_be_unproved(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two hundred addresses that wait for each other all over: an order that keeps every wait, not said to be the shortest."""
    monkeypatch.setattr(walk, "MOST_LOOKED_AT", 20)
    rng = Random(5)
    addresses = sorted({(rng.choice("abcdefgh"), rng.choice("abcdefgh"), str(number)) for number in range(200)})
    order = list(range(len(addresses)))
    rng.shuffle(order)
    place = {number: at for at, number in enumerate(order)}
    drawn = [
        Stop(steps=address, after=frozenset(order[at] for at in range(place[number]) if rng.random() < 0.01))
        for number, address in enumerate(addresses)
    ]
    found = shortest(drawn)
    assert not found.proved and sorted(found.order) == list(range(len(drawn)))
    at = {number: where for where, number in enumerate(found.order)}
    assert all(at[before] < at[number] for number, stop in enumerate(drawn) for before in stop.after)
