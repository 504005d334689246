"""What closed cases do to the weights of causes: by property, and in the posterior of a real question."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import loopwright.demo
from loopwright.explain.catalogue import faults
from loopwright.explain.explain import Inquiry
from loopwright.explain.learned import CATALOGUE, NOTHING_WRONG, UNKNOWN, Weights, learned_weights, moved
from loopwright.explain.observation import read_observations
from loopwright.job.read import read
from often import often

SOME = ("P01", "P08", "P11", "D01", "D07", "S04", "B06")
causes = st.lists(st.sampled_from([*SOME, UNKNOWN, NOTHING_WRONG]), max_size=40)


def share(weights: Weights, fault: str) -> float:
    """Return the share of a fault among the known causes of the whole catalogue, which is the mean of the distribution."""
    whole = sum(each.weight * weights.factor(each.id) for each in faults().values())
    return faults()[fault].weight * weights.factor(fault) / whole


def test_without_cases_the_catalogue_stands() -> None:
    assert learned_weights([]) == CATALOGUE
    assert all(CATALOGUE.factor(fault) == 1.0 for fault in faults())


@settings(max_examples=often(15))
@given(causes, st.sampled_from(SOME), st.integers(1, 5))
def test_more_cases_of_a_cause_never_lower_it(before: list[str], cause: str, more: int) -> None:
    one, two = learned_weights(before), learned_weights([*before, *[cause] * more])
    assert share(two, cause) > share(one, cause)
    assert all(share(two, other) <= share(one, other) for other in SOME if other != cause)


@settings(max_examples=often(12))
@given(causes.flatmap(lambda some: st.tuples(st.just(some), st.permutations(some))))
def test_the_order_of_cases_does_not_matter(pair: tuple[list[str], list[str]]) -> None:
    assert learned_weights(pair[0]) == learned_weights(pair[1])


@settings(max_examples=often(12))
@given(causes, st.integers(1, 20))
def test_an_unknown_cause_moves_no_single_weight_but_the_share_of_none_of_these(before: list[str], more: int) -> None:
    one, two = learned_weights(before), learned_weights([*before, *[UNKNOWN] * more])
    assert all(two.factor(fault) == one.factor(fault) for fault in faults())
    assert two.none_of_these > one.none_of_these and two.nothing < one.nothing
    assert learned_weights([*before, "a cause of a later catalogue"]) == learned_weights([*before, UNKNOWN])


@settings(max_examples=often(10))
@given(st.lists(st.integers(1, 9), min_size=len(SOME), max_size=len(SOME)), st.integers(0, 9), st.integers(0, 9))
def test_with_very_many_cases_the_shares_are_those_seen(counts: list[int], unknown: int, nothing: int) -> None:
    many = 100_000
    cases = {cause: count * many for cause, count in zip(SOME, counts, strict=True)}
    found = learned_weights(
        cause for cause, count in (*cases.items(), (UNKNOWN, unknown * many), (NOTHING_WRONG, nothing * many)) for _ in range(count // 1000)
    )
    whole = sum(counts) + unknown + nothing
    known = sum(counts)
    for cause, count in zip(SOME, counts, strict=True):
        # Seven hundred cases or more against the pseudo-counts of the whole catalogue.
        wanted, strength = count / known, sum(each.weight for each in faults().values()) / 3 / (known * many / 1000)
        assert share(found, cause) == pytest.approx(wanted, abs=strength)
    assert found.none_of_these == pytest.approx(unknown / whole, abs=0.06)
    assert found.nothing == pytest.approx(nothing / whole, abs=0.06)


def test_cases_move_the_answer_and_none_does_not() -> None:
    job = read(loopwright.demo.text("dwelling")).job
    seen = read_observations(job, "readings:\n  - {where: panel, at: battery, shows: yes}\n")
    inquiry = Inquiry(job)
    before = inquiry.explain(seen)
    inquiry.weights = learned_weights([])
    assert inquiry.explain(seen) == before
    chances = []
    for count in (0, 1, 4, 30):
        inquiry.weights = learned_weights(["P12"] * count)
        found = inquiry.explain(seen)
        total = found.nothing + sum(a.probability for a in found.answers) + found.others + found.none_of_these + found.two_faults
        assert total == pytest.approx(1.0, abs=1e-9)
        chances.append(sum(c.probability for a in found.answers for c in a.causes if c.fault == "P12"))
    assert chances == sorted(chances) and chances[0] < 0.5 < chances[-1]
    inquiry.weights = learned_weights([UNKNOWN] * 200)
    assert inquiry.explain(seen).none_of_these > before.none_of_these
    inquiry.weights = learned_weights([NOTHING_WRONG] * 100_000)
    assert inquiry.explain(seen).nothing > before.nothing


def test_only_checks_that_may_be_done_are_advised() -> None:
    job = read(loopwright.demo.text("dwelling")).job
    seen = read_observations(job, "readings:\n  - {where: p06, shows: active}\n")
    inquiry = Inquiry(job)
    no_meter = inquiry.explain(seen, may=lambda check: not check.unit)
    assert no_meter.next_checks and all(not each.unit for each in no_meter.next_checks)
    none = inquiry.explain(seen, may=lambda check: False)
    assert none.stop and not none.next_checks and none.answers == inquiry.explain(seen).answers


def test_what_moved_is_told_with_counts() -> None:
    rows = moved(learned_weights(["P11", "D07", "P11", UNKNOWN, NOTHING_WRONG]))
    assert [(row.fault, row.seen, row.closed) for row in rows] == [("P11", 2, 5), ("D07", 1, 5)]
    assert all(row.now > row.before for row in rows)
