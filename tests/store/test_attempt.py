"""Waiting after wrong passwords: nobody guesses for long, nobody is kept out by another."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from loopwright.store.attempt import MOST_COUNTED, Attempts, Key, Limits, Source, Tries, passed, tried, wait_s

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
HERE, THERE = Source("10.0.0.7", loopback=False), Source("10.0.0.8", loopback=False)
LIMITS = Limits()


def after(number: int, name: str = "Ada", source: Source = HERE, attempts: Attempts | None = None) -> dict[Key, Tries]:
    counted: Attempts = attempts or {}
    for _ in range(number):
        counted = tried(counted, name, source, now=AT, limits=LIMITS)
    return dict(counted)


def wait(attempts: Attempts, name: str = "Ada", source: Source = HERE, later_s: float = 0) -> int:
    return wait_s(attempts, name, source, now=AT + timedelta(seconds=later_s), limits=LIMITS)


def test_waits_double_up_to_the_longest() -> None:
    assert [wait(after(number)) for number in range(8)] == [0, 0, 0, 0, 0, 2, 4, 8]
    assert wait(after(14)) == wait(after(1000, "Ben")) == 900


def test_a_wait_goes_by_and_all_is_forgotten() -> None:
    assert [wait(after(6), later_s=each) for each in (0, 0.5, 3.9, 4, 5)] == [4, 4, 1, 0, 0]
    late = AT + timedelta(seconds=3600)
    counted = tried(after(100), "Ada", HERE, now=late, limits=LIMITS)
    assert wait_s(counted, "Ada", HERE, now=late, limits=LIMITS) == 0


def test_another_place_and_another_name_are_not_kept_out() -> None:
    counted = after(12)
    assert wait(counted, source=THERE) == 0
    assert wait(counted, name="Ben") == 0


def test_many_names_from_one_place_are_one_guesser() -> None:
    counted: Attempts = {}
    for number in range(LIMITS.free_for_all_names):
        assert wait(counted, f"name {number}") == 0
        counted = tried(counted, f"name {number}", HERE, now=AT, limits=LIMITS)
    assert wait(counted, "one more") == 2
    assert wait(counted, "one more", THERE) == 0


def test_a_right_password_forgives_its_own_name_only() -> None:
    counted = passed(after(7, "Ben", attempts=after(3)), "Ada", HERE)
    assert wait(counted) == 0
    assert wait(counted, "Ben") == 8
    assert counted["", HERE.address].number == 9


def test_a_clock_set_back_makes_nobody_wait_longer() -> None:
    assert wait(after(6), later_s=-86_400) == 4


def test_no_flood_of_names_fills_the_memory() -> None:
    own = after(12)
    full = own | {(f"{number}", "elsewhere"): own["Ada", HERE.address] for number in range(MOST_COUNTED - 2)}
    assert len(full) == MOST_COUNTED
    counted = tried(full, "Ben", THERE, now=AT, limits=LIMITS)
    assert len(counted) <= MOST_COUNTED
    assert ("Ben", THERE.address) in counted


@given(st.lists(st.tuples(st.sampled_from(["Ada", "Ben"]), st.integers(0, 100)), max_size=60))
def test_whoever_waits_as_told_is_looked_at(tries: list[tuple[str, int]]) -> None:
    counted: Attempts = {}
    now = AT
    for name, pause_s in tries:
        now += timedelta(seconds=pause_s)
        told = wait_s(counted, name, HERE, now=now, limits=LIMITS)
        assert 0 <= told <= LIMITS.longest_wait_s
        now += timedelta(seconds=told)
        assert wait_s(counted, name, HERE, now=now, limits=LIMITS) == 0
        counted = tried(counted, name, HERE, now=now, limits=LIMITS)
