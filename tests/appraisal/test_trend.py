"""Readings over the years: what moves more than meters differ, where it goes, and what that means."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import poisson

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.appraisal.trend import Course, chance_of_a_trip, of_circuit, trends
from loopwright.demo import text
from loopwright.job.document import Observation
from loopwright.job.read import read

BARE = appraise(replace(read(text("business")).job, observations=()))
DESIGN = next(item.rest.field_ohm for item in BARE.circuits if item.circuit == "c08")


def _read(year: int, ohm: float, where: str = "c08", state: str = "at rest") -> Observation:
    return Observation(at=f"{year}-03-10 09:00", by="Ina", where=where, state=state, reading=f"{ohm:.0f} Ω")


def _only(*readings: Observation, appraisal: Appraisal = BARE):  # type: ignore[no-untyped-def]
    found = trends(appraisal, readings)
    assert len(found) == 1
    return found[0]


@settings(max_examples=30)
@given(st.lists(st.floats(-20, 20), min_size=2, max_size=6))
def test_what_two_meters_may_differ_by_is_no_movement(offs: list[float]) -> None:
    found = _only(*(_read(2015 + n, DESIGN + off) for n, off in enumerate(offs)))
    assert found.course is Course.STEADY and found.used == 0 and found.years_left is None


@settings(max_examples=30)
@given(step=st.floats(80, 200), start=st.floats(-300, 0))
def test_ohms_that_creep_reach_the_edge_when_the_same_steps_go_on(step: float, start: float) -> None:
    found = _only(*(_read(2020 + n, DESIGN + start + n * step) for n in range(3)))
    assert found.course is Course.RISING and found.edge_ohm == 3450
    # Counted out year by year, by nothing but the readings.
    value, years = found.readings[-1][1], 0
    while value + step < 3450:
        value, years = value + step, years + 1
    assert found.years_left == pytest.approx(years + (3450 - value) / step, abs=0.2)


def test_a_fall_is_a_leak_whose_ohms_beside_the_pair_make_the_reading() -> None:
    found = _only(_read(2022, 2707), _read(2025, 2300))
    assert found.course is Course.FALLING and found.edge_ohm == 1600
    assert 1 / (1 / 2707 + 1 / found.leak_ohm) == pytest.approx(2300)


def test_up_and_down_is_a_joint_and_one_odd_reading_is_held_against_the_design() -> None:
    assert _only(_read(2022, 2707), _read(2023, 3100), _read(2024, 2720)).course is Course.WANDERING
    odd = _only(_read(2024, 3100))
    assert odd.from_design and odd.course is Course.RISING and odd.years_left is None and "against the design" in odd.sentence
    assert _only(_read(2024, 2707)).course is Course.ONE and of_circuit((_only(_read(2024, 2707)),), "c08") == ()


def test_the_circuit_nearest_its_edge_comes_first_and_acts_are_kept_apart() -> None:
    found = trends(
        BARE,
        (
            _read(2022, 2719, "c12"), _read(2025, 2900, "c12"),
            _read(2022, 2707), _read(2025, 3300),
            _read(2022, 9507, state="activated"), _read(2025, 9511, state="activated"),
            Observation(at="2025-03", by="Ina", where="nowhere", reading="3 Ω"),
        ),
    )  # fmt: skip
    assert [(each.circuit, each.course) for each in found] == [
        ("c08", Course.RISING), ("c12", Course.RISING), ("c08", Course.STEADY),
    ]  # fmt: skip
    assert found[0].used > found[1].used > 0


@pytest.mark.parametrize("days", [1, 30, 365])
def test_the_chance_to_see_a_trip_is_that_of_a_poisson_process(days: int) -> None:
    """Against scipy's distribution: at least one event in that time."""
    assert chance_of_a_trip(2, days) == pytest.approx(1 - poisson.cdf(0, 2 * days / 365.25))
    assert not math.isclose(chance_of_a_trip(2, days), 1)
