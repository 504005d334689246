"""Times of an event log: read as people write them, and weighed by the pattern that made them."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats

from loopwright.explain.whole.event_times import DAY_MIN, Event, chances_of, events_in

FIRST = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("text", "events"),
    [
        ("2026-11-20 02:10", [(130, date(2026, 11, 20))]),
        ("20.11.2026 2:10:33, 21.11.2026 14:05", [(130, date(2026, 11, 20)), (845, date(2026, 11, 21))]),
        ("3/4/2026 2:10 pm", [(850, date(2026, 4, 3))]),
        ("02:10 02:15", [(130, None), (135, None)]),
        ("2026-11-20\n02:10 zone 5 alarm\n02:12 zone 5 restored\n03:00 zone 6 alarm", [(130, date(2026, 11, 20))]),
        ("12:05 am", [(5, None)]),
        ("2026-13-40 25:99, nothing", []),
    ],
)
def test_times_are_read_as_people_write_them(text: str, events: list[tuple[int, date | None]]) -> None:
    assert list(events_in(text, zone=5)) == [Event(*each) for each in events]
    assert events_in("3/4/2026 2:10", month_first=True)[0].day == date(2026, 3, 4)


def made(pattern: str, rng: np.random.Generator, count: int) -> list[Event]:
    """Return events as a pattern makes them, from generators of scipy and numpy alone."""
    days = np.sort(rng.choice(40, count, replace=False))
    centre = {"same night hour": 150.0, "same day hour": 800.0, "drifting hour": 700.0}.get(pattern, 0.0)
    near = stats.vonmises(kappa=90).rvs(count, random_state=rng) * DAY_MIN / (2 * np.pi)
    minutes = {
        "same night hour": centre + near,
        "same day hour": centre + near,
        "drifting hour": centre + near + 2.0 * days,
        "night": rng.uniform(20 * 60, 30 * 60, count),
        "day": rng.uniform(7 * 60, 19 * 60, count),
    }.get(pattern, rng.uniform(0, DAY_MIN, count))
    if pattern == "bursts":
        days = rng.choice(rng.choice(40, 2, replace=False), count)
    if pattern == "same weekday":
        days = 7 * rng.choice(6, count)
    return [Event(int(minute) % DAY_MIN, FIRST + timedelta(days=int(day))) for minute, day in zip(minutes, days, strict=True)]


@pytest.mark.parametrize(
    "pattern", ["any time", "same night hour", "same day hour", "drifting hour", "night", "day", "bursts", "same weekday"]
)
def test_the_pattern_that_made_the_times_fits_them_best(pattern: str) -> None:
    rng = np.random.default_rng(17)
    right = 0
    for _ in range(25):
        found = chances_of(made(pattern, rng, 12))
        right += max(found, key=lambda name: found[name]) == pattern
    assert right >= 18, right


def test_concentration_follows_the_resultant_length() -> None:
    """The mean resultant length (scipy's circular variance) orders logs as the same-hour likelihood does."""
    scales = (5, 15, 40, 120, 300)
    rng = np.random.default_rng(3)
    offsets = rng.normal(size=10)
    logs = [[Event(int(120 + scale * offset) % DAY_MIN, None) for offset in offsets] for scale in scales]
    variance = [stats.circvar([event.minute for event in log], high=DAY_MIN) for log in logs]
    fits = [chances_of(log)["same night hour"] - chances_of(log)["any time"] for log in logs]
    assert variance == sorted(variance)
    assert fits == sorted(fits, reverse=True)


def test_one_time_tells_next_to_nothing_and_none_is_refused() -> None:
    found = chances_of([Event(130, FIRST)])
    assert abs(found["same night hour"] - found["night"]) < 0.3
    noon = chances_of([Event(720, FIRST)])
    assert abs(noon["drifting hour"] - noon["any time"]) < 0.3
    # The sun is not up at ten past two.
    assert found["drifting hour"] < found["any time"] - 2
    with pytest.raises(ValueError, match="no event"):
        chances_of([])
