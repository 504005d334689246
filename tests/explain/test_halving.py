"""Halving: no plan is better, textbook figures come out, and faults along real circuits are found in the visits that were promised."""

from __future__ import annotations

import math
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import loopwright.demo
from loopwright.explain.along.chain import chances_at, plan_of, prior_of
from loopwright.explain.along.earth_branch import boxes, earth_plan
from loopwright.explain.along.halving import MOST_PLACES, Place, Plan, Point, along, apart
from loopwright.explain.circuit.part import circuit_part
from loopwright.explain.explain import explain
from loopwright.explain.observation import read_observations
from loopwright.job.read import read
from often import often

JOB = read(loopwright.demo.text("business")).job
ENGLISH = (
    0.1859, 0.0642, 0.0127, 0.0218, 0.0317, 0.1031, 0.0208, 0.0152, 0.0467, 0.0575, 0.0008, 0.0049, 0.0321, 0.0198, 0.0574, 0.0632, 0.0152,
    0.0008, 0.0484, 0.0514, 0.0796, 0.0228, 0.0083, 0.0175, 0.0013, 0.0164, 0.0005,
)  # fmt: skip
"""Chances of the space and the letters A to Z in English (Gilbert and Moore, Bell System Technical Journal, 1959; from memory)."""


def places(chances: list[float]) -> list[Place]:
    return [Place(key=str(n), words=str(n), chance=chance) for n, chance in enumerate(chances)]


def alike(count: int) -> list[Point]:
    return [Point(words="")] * (count - 1)


def garsia_wachs(weights: list[float]) -> float:
    """Return the cost of the optimum alphabetic tree by Garsia and Wachs' algorithm (Knuth, vol. 3, 6.2.2, algorithm G; from memory)."""
    row, cost = list(weights), 0.0
    while len(row) > 1:
        at = next((k for k in range(1, len(row) - 1) if row[k - 1] <= row[k + 1]), len(row) - 1)
        joined = row[at - 1] + row[at]
        cost += joined
        row[at - 1 : at + 1] = []
        into = at - 1
        while into > 0 and row[into - 1] < joined:
            into -= 1
        row.insert(into, joined)
    return cost


def test_the_best_alphabetic_code_of_english_as_it_was_published() -> None:
    """4.1978 digits a letter (Gilbert and Moore 1959, from memory); Huffman's, which keeps no order, has 4.1195."""
    assert along(places(list(ENGLISH)), alike(27)).expected_visits == pytest.approx(4.1978, abs=5e-5)


@pytest.mark.parametrize("count", [1, 2, 3, 7, 8, 13, 33, 60])
def test_even_chances_take_what_a_binary_search_takes(count: int) -> None:
    """External path length n⌈lg n⌉ - 2^⌈lg n⌉ + n over n (Knuth, vol. 3, 5.3.1; from memory), and never more than ⌈lg n⌉."""
    plan = along(places([1.0] * count), alike(count))
    deep = math.ceil(math.log2(count))
    assert plan.expected_visits == pytest.approx((count * deep - 2**deep + count) / count if count > 1 else 0)
    assert plan.most_visits == deep


@given(st.lists(st.floats(0.01, 1.0), min_size=2, max_size=60))
@settings(max_examples=often(15), deadline=None)
def test_as_good_as_the_optimum_alphabetic_tree(chances: list[float]) -> None:
    plan = along(places(chances), alike(len(chances)))
    assert plan.expected_visits * sum(chances) == pytest.approx(garsia_wachs(chances), rel=1e-9)


@st.composite
def walks(draw: st.DrawFn) -> tuple[list[Place], list[Point]]:
    count = draw(st.integers(2, 6))
    chances = draw(st.lists(st.floats(0.01, 1.0), min_size=count, max_size=count))
    steps = draw(st.lists(st.floats(0.0, 5.0), min_size=count - 1, max_size=count - 1))
    lids = draw(st.lists(st.sampled_from("abc"), min_size=count - 1, max_size=count - 1))
    points = [Point(words="", at_min=sum(steps[: n + 1]), minutes=1 + n % 2, lid=lids[n // 2], lid_min=3.0) for n in range(count - 1)]
    return places(chances), points


def every_plan(row: list[Place], points: list[Point], first: int, last: int, stands: float, lids: tuple[str, str]) -> float:
    """Return the least expected minutes of all binary trees over an interval, each tried: ``lids`` are those open at its two ends."""
    if last - first < 2:
        return 0.0
    found = []
    for at in range(first + 1, last):
        point = points[at - 1]
        cost = abs(point.at_min - stands) + point.minutes + (0.0 if point.lid in lids else point.lid_min)
        near = every_plan(row, points, first, at, point.at_min, (lids[0], point.lid))
        far = every_plan(row, points, at, last, point.at_min, (point.lid, lids[1]))
        found.append(cost * sum(place.chance for place in row[first:last]) + near + far)
    return min(found)


@given(walks())
@settings(max_examples=often(20), deadline=None)
def test_no_order_takes_fewer_minutes(made: tuple[list[Place], list[Point]]) -> None:
    row, points = made
    total = sum(place.chance for place in row)
    assert along(row, points).expected_min == pytest.approx(every_plan(row, points, 0, len(row), 0.0, ("", "")) / total)


def visits(plan: Plan, at: int) -> tuple[int, int]:
    """Follow a plan with the fault at a place; return the tests done and the place it ends at."""
    split, count, first = plan.start, 0, 0
    while split is not None:
        count += 1
        first, split = (split.first, split.near) if at < split.at else (split.at, split.far)
    return count, first


@pytest.mark.parametrize("circuit", ["c05", "c13", "c28", "c30"])
def test_a_fault_anywhere_on_a_circuit_is_found_in_few_visits(circuit: str) -> None:
    part = circuit_part(JOB, circuit)
    plan = plan_of(JOB, circuit, chances_at(part, prior_of(part))).plan
    found = [visits(plan, at) for at in range(len(plan.places))]
    assert [at for _, at in found] == list(range(len(plan.places)))
    assert plan.expected_visits == pytest.approx(sum(p.chance * n for p, (n, _) in zip(plan.places, found, strict=True)))
    assert plan.expected_visits <= math.ceil(math.log2(len(plan.places))) + 1
    assert plan.at(0, len(plan.places)) is plan.start and plan.at(0, 99) is None


def test_what_is_read_outwards_is_what_lies_beyond() -> None:
    """Circuit c05 from its first detector on: cable of 92 Ω/km there and back, two closed contacts and 2.7 kΩ, added up."""
    points = plan_of(JOB, "c05", {}).plan.points
    last = JOB.cables["W15"]
    beyond_last = 2700 + sum(JOB.sheet_of("dual-till").contacts[word].closed_ohm for word in ("alarm", "tamper"))
    assert "lid switch held down" in points[0].words and "goes on" in points[1].words
    between = 2 * 0.092 * (last.length_m + last.slack_m)
    assert points[1].sound == f"{beyond_last + between:.0f} Ω"


def test_an_open_circuit_of_several_places_is_explained_with_its_plan() -> None:
    found = explain(
        JOB, read_observations(JOB, "readings:\n  - {where: c05, reading: OL}\n  - {where: c05, state: shorted dual-till, reading: OL}\n")
    )
    (halving,) = found.halving
    assert halving.circuit == "c05" and halving.plan.start is not None
    assert found.as_data()["halving"][0]["first"]["do"].startswith("At ")
    sound = explain(JOB, read_observations(JOB, "readings:\n  - {where: c05, reading: 2.72 kΩ}\n"))
    assert sound.halving == ()


@given(st.integers(2, 40), st.randoms(use_true_random=False))
@settings(max_examples=often(10), deadline=None)
def test_branches_side_by_side_take_about_the_logarithm_of_their_number(count: int, draw: Random) -> None:
    """With readings alone that cost, an order of chances is within two of their entropy, and even ones within one of log2 n."""
    chances = sorted((draw.uniform(0.05, 1) for _ in range(count)), reverse=True)
    free = [0.0] * (count - 1) + [math.inf]
    even = apart(places([1.0] * count), alike(count), free, 1.0)
    assert math.log2(count) - 1e-9 <= even.expected_visits <= math.ceil(math.log2(count))
    plan = apart(places(chances), alike(count), free, 1.0)
    share = [chance / sum(chances) for chance in chances]
    entropy = -sum(p * math.log2(p) for p in share)
    assert entropy - 1e-9 <= plan.expected_visits < entropy + 2


def test_the_earth_plan_of_a_job_tries_the_likely_cables_first_and_says_when_to_stop() -> None:
    assert boxes(JOB)[0] == "control"
    found = earth_plan(JOB, "control")
    assert found.plan.expected_visits <= math.ceil(math.log2(len(found.plan.places))) + 1
    assert found.plan.places[-1].key == "control" and "expander" in found.further
    assert "outdoors or damp" in next(p.words for p in found.plan.places if p.key == "W23")
    assert "licensed" in " ".join(found.as_data()["stop"])
    with pytest.raises(KeyError):
        earth_plan(JOB, "door-front")


def test_what_is_no_chain_is_refused() -> None:
    with pytest.raises(ValueError, match="2 places need 1 points"):
        along(places([1, 1]), [])
    with pytest.raises(ValueError, match="below naught"):
        along(places([1, -1]), alike(2))
    with pytest.raises(ValueError, match="too many"):
        along(places([1.0] * (MOST_PLACES + 1)), alike(MOST_PLACES + 1))
