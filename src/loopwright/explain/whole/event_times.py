"""When things happened: times typed or pasted from an event log, and how well each pattern explains them.

A pattern is a density of time of day and of days. Each event of a same hour lies about one unknown minute of the day, which is averaged
over; "drifting hour" about one that moves by minutes a day, as the sun does; "bursts" fall on few days, a Dirichlet-multinomial. A tenth of
the events of each is taken to have come at any time. Shares and spreads are judgement.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import NamedTuple

import numpy as np
from scipy.special import gammaln, logsumexp

from loopwright.explain.hypothesis import Floats

DAY_MIN = 1440
SPREAD_MIN = 25.0
"""How far the events of one cause lie about its minute of the day [min]."""
STRAY = 0.1
"""The share of events of every pattern that come at any time."""
DRIFTS_MIN = (-3.0, -2.0, -1.0, 1.0, 2.0, 3.0)
"""How a moving hour moves, minutes a day: the sun is at one bearing that much earlier or later from day to day."""
NIGHT, DAYTIME = (20 * 60, 6 * 60), (7 * 60, 19 * 60)
SUN_UP = (4 * 60, 22 * 60)
"""What moves as the sun does begins in these hours; the sun is up in them at some time of the year (judgement)."""
LUMPED = 0.15
"""What each day counts for before anything is seen, in bursts: the less, the fewer the days they fall on."""
GRID_MIN = 10
MOST_EVENTS = 500
ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})")
DOTTED = re.compile(r"(?<!\d)(\d{1,2})\.(\d{1,2})\.(\d{4})")
SLASHED = re.compile(r"(?<!\d)(\d{1,2})/(\d{1,2})/(\d{4})")
TIME = re.compile(r"(?<![\d:])([01]?\d|2[0-3]):([0-5]\d)(?::[0-5]\d)?\s*([ap]\.?m\b\.?)?", re.IGNORECASE)
ZONE = re.compile(r"\bzone\s*#?(\d+)", re.IGNORECASE)
BACK = re.compile(r"\b(restor\w+|closed|cleared|unset|reset|test)\b", re.IGNORECASE)


class Event(NamedTuple):
    """One event: the minute of the day, and the day where it was written."""

    minute: int
    day: date | None


def events_in(text: str, *, zone: int | None = None, month_first: bool = False) -> tuple[Event, ...]:
    """Return the events of a text, one a line or one a time; lines of another zone, and of things put right, are left out.

    ``month_first`` says how 3/4/2026 is meant. A date holds for the times after it, up to the next one.
    """
    out: list[Event] = []
    day: date | None = None
    for line in text.splitlines():
        named = ZONE.search(line)
        if BACK.search(line) or (zone is not None and named and int(named[1]) != zone):
            continue
        dates = [(found.start(), _day(found, month_first=month_first)) for found in _dates(line)]
        marks = sorted([*dates, *((found.start(), found) for found in TIME.finditer(line))], key=lambda each: each[0])
        for _, mark in marks:
            if isinstance(mark, re.Match):
                out.append(Event(_minute(mark), day))
            else:
                day = mark or day
    return tuple(out[:MOST_EVENTS])


def _dates(line: str) -> list[re.Match[str]]:
    return [found for pattern in (ISO, DOTTED, SLASHED) for found in pattern.finditer(line)]


def _day(found: re.Match[str], *, month_first: bool) -> date | None:
    one, two, three = (int(part) for part in found.groups())
    year, month, day = (one, two, three) if found.re is ISO else (three, two, one)
    if found.re is SLASHED and month_first:
        month, day = day, month
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _minute(found: re.Match[str]) -> int:
    hour = int(found[1])
    if found[3] and hour <= 12:
        hour = hour % 12 + (12 if found[3].lower().startswith("p") else 0)
    return hour * 60 + int(found[2])


def chances_of(events: Sequence[Event]) -> Mapping[str, float]:
    """Return the log likelihood of the events under each pattern, all against the same scale. Raises ValueError for none."""
    if not events:
        raise ValueError("no event")
    minute = np.array([event.minute for event in events], dtype=float)
    dated = all(event.day is not None for event in events)
    first = min((event.day for event in events if event.day is not None), default=date.min)
    day = np.array([((event.day or first) - first) / timedelta(days=1) for event in events])
    any_time = float(len(events) * np.log(1 / DAY_MIN))
    out = {
        "any time": any_time,
        "same night hour": _about(minute, day, (0.0,), DAYTIME[1], DAYTIME[0]),
        "same day hour": _about(minute, day, (0.0,), *DAYTIME),
        "night": _within(minute, *NIGHT),
        "day": _within(minute, *DAYTIME),
    }
    out["drifting hour"] = _about(minute, day, DRIFTS_MIN, *SUN_UP) if dated else any_time
    out["bursts"] = any_time + _lumped(day) if dated else any_time
    out["same weekday"] = any_time + _weekly(day) if dated else any_time
    return out


def _about(minute: Floats, day: Floats, drifts: Sequence[float], start: int, end: int) -> float:
    """Return the log likelihood of times about one minute of the day, averaged over those of ``start`` to ``end`` and over ``drifts``.

    ``drifts`` are minutes a day; ``end`` may be the next morning.
    """
    centre = np.arange(start, end if end > start else end + DAY_MIN, GRID_MIN)[:, None]
    every = []
    for drift in drifts:
        apart = (minute[None, :] - centre - drift * day[None, :] + DAY_MIN / 2) % DAY_MIN - DAY_MIN / 2
        near = np.exp(-0.5 * (apart / SPREAD_MIN) ** 2) / (SPREAD_MIN * np.sqrt(2 * np.pi))
        every.append(np.log((1 - STRAY) * near + STRAY / DAY_MIN).sum(axis=1))
    return float(logsumexp(every) - np.log(len(every) * len(centre)))


def _within(minute: Floats, start: int, end: int) -> float:
    inside = (minute - start) % DAY_MIN < (end - start) % DAY_MIN
    return float(np.log((1 - STRAY) * inside / ((end - start) % DAY_MIN) + STRAY / DAY_MIN).sum())


def _lumped(day: Floats) -> float:
    """Return how much better few days explain the days than any days alike do, as a log ratio."""
    span = int(day.max()) + 1
    counts = np.array(list(Counter(day.tolist()).values()))
    whole = LUMPED * span
    lumps = gammaln(whole) - gammaln(whole + counts.sum()) + (gammaln(LUMPED + counts) - gammaln(LUMPED)).sum()
    return float(lumps + counts.sum() * np.log(span))


def _weekly(day: Floats) -> float:
    """Return how much better one day of the week explains the days than any days do, as a log ratio."""
    same = (day[None, :] % 7 == np.arange(7)[:, None]).astype(float)
    return float(logsumexp(np.log((1 - STRAY) * 7 * same + STRAY).sum(axis=1)) - np.log(7))
