"""Readings of one place over the years: what has moved, by how much more than a meter can be off, and how long until it shows.

A fault that trips twice a year is not there when somebody looks; the ohms it comes from creep. What is added in series is a joint or a
contact ageing, what is lost is a leak beside the pair (common practice, no source). A straight line through two readings says no more
than that.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from loopwright.appraisal.appraise import Appraisal
from loopwright.appraisal.observed import LEADS_OHM, METER_SHARE, Held, held_against, held_readings, measurement
from loopwright.circuits.forecast import CircuitForecast
from loopwright.job.document import Observation
from loopwright.values.figure import show

YEAR_DAYS = 365.25
DAY = len("2026-03-02")
WATCH_DAYS = 30
"""How long a meter on min and max is left in place as a rule (a choice)."""


class Course(StrEnum):
    """Where readings of one place go."""

    ONE = "read once"
    STEADY = "steady"
    RISING = "rising"
    FALLING = "falling"
    WANDERING = "wandering"


@dataclass(frozen=True, kw_only=True, slots=True)
class Trend:
    """The ohms of one circuit in one state over time.

    ``readings`` are (day, Ω), the oldest first, the design before them where nothing was read at commissioning (``from_design``).
    ``room_ohm`` is what two meters may differ by, ``edge_ohm`` where the unit begins to take it for something else on the side it moves
    to, ``years_left`` at this pace, ``leak_ohm`` what beside the pair would explain a fall.
    """

    circuit: str
    state: str
    readings: tuple[tuple[date, float], ...]
    design_ohm: float
    from_design: bool
    course: Course
    room_ohm: float
    edge_ohm: float | None
    years_left: float | None
    leak_ohm: float | None

    @property
    def moved_ohm(self) -> float:
        """Return the last reading less the first, or less the design where there is one reading."""
        first = self.design_ohm if self.from_design else self.readings[0][1]
        return self.readings[-1][1] - first

    @property
    def used(self) -> float:
        """Return which share of the way to the edge is gone: what says which circuit to look at first."""
        if self.edge_ohm is None or self.course in (Course.STEADY, Course.ONE):
            return 0.0
        first = self.readings[-1][1] - self.moved_ohm
        return min(abs(self.moved_ohm) / max(abs(self.edge_ohm - first), 1e-9), 1.0)

    @property
    def sentence(self) -> str:
        """Return what follows, in a sentence or two."""
        last = show(self.readings[-1][1], "Ω")
        if self.course is Course.ONE:
            return f"Read once, {last}: as the design says. Nothing to compare with yet."
        since = "against the design" if self.from_design else f"since {self.readings[0][0]}"
        if self.course is Course.STEADY:
            return f"Steady at {last} {since}, as near as two meters agree."
        if self.course is Course.WANDERING:
            return (
                f"{last}, up and down {since} by more than meters differ: a joint or a contact comes and goes. Move each while you meter."
            )
        moved = show(abs(self.moved_ohm), "Ω")
        left = f" At this pace it leaves its band in about {self.years_left:.1f} years." if self.years_left is not None else ""
        if self.course is Course.RISING:
            return f"{moved} more {since}, now {last}: a joint or a contact in series ages.{left}"
        leak = f" like {show(self.leak_ohm, 'Ω')} beside the pair" if self.leak_ohm is not None else ""
        return f"{moved} less {since}, now {last}: a leak,{leak}, from damp or a pinched core.{left}"

    def as_data(self) -> dict[str, Any]:
        """Return it for another program."""
        return {
            "circuit": self.circuit,
            "state": self.state,
            "course": str(self.course),
            "readings": [{"at": str(day), "value_ohm": value} for day, value in self.readings],
            "design_ohm": self.design_ohm,
            "moved_ohm": self.moved_ohm,
            "meters_may_differ_ohm": self.room_ohm,
            "edge_ohm": self.edge_ohm,
            "way_to_the_edge_used": self.used,
            "years_left": self.years_left,
            "leak_ohm": self.leak_ohm,
            "sentence": self.sentence,
        }


def trends(appraisal: Appraisal, also: Iterable[Observation] = ()) -> tuple[Trend, ...]:
    """Return the trend of every circuit whose ohms are on record, the most suspect first; ``also`` are readings not on record yet."""
    job = appraisal.job
    rows = [*zip(job.observations, held_readings(appraisal), strict=True)]
    more = tuple(also)
    rows += zip(more, held_against(appraisal, more), strict=True)
    series: dict[tuple[str, float], list[tuple[date, float, Held, str]]] = {}
    for item, held in rows:
        value = _ohms(item)
        day = _day(item.at)
        if value is None or day is None or held.figure is None or held.figure.value is None or not held.subject.startswith("circuits/"):
            continue
        if math.isfinite(value) and math.isfinite(held.figure.value):
            # The same figure of the forecast is the same act at the same place, however the two were written.
            series.setdefault((held.subject, held.figure.value), []).append((day, value, held, item.state or "at rest"))
    circuits = {item.circuit: item for item in appraisal.circuits}
    found = [_trend(circuits[subject.partition("/")[2]], design, rows) for (subject, design), rows in series.items()]
    return tuple(sorted(found, key=lambda each: (-each.used, each.course is Course.ONE, each.circuit)))


def of_circuit(found: Sequence[Trend], circuit: str) -> tuple[Trend, ...]:
    """Return the trends of one circuit that say more than that it was read once."""
    return tuple(each for each in found if each.circuit == circuit and each.course is not Course.ONE)


def chance_of_a_trip(trips_a_year: float, days: float) -> float:
    """Return the probability that a fault that comes at random so often a year comes while somebody watches (a Poisson process).

    >>> round(chance_of_a_trip(2, 30), 2), round(chance_of_a_trip(2, 365), 2)
    (0.15, 0.86)
    """
    return 1 - math.exp(-trips_a_year * days / YEAR_DAYS)


def _ohms(item: Observation) -> float | None:
    measured = measurement(item.reading)
    return measured[0] if not isinstance(measured, str) and measured[1] == "Ω" else None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text[:DAY])
    except ValueError:
        return None


def _trend(item: CircuitForecast, design: float, rows: Sequence[tuple[date, float, Held, str]]) -> Trend:
    ordered = sorted(rows, key=lambda row: row[0])
    readings = tuple((day, value) for day, value, _, _ in ordered)
    once = len(readings) == 1
    values = [value for _, value in readings]
    room = 2 * (METER_SHARE * max(values) + LEADS_OHM)
    agrees = ordered[0][2].verdict == "as forecast"
    course = (Course.ONE if agrees else _course([design, *values], room)) if once else _course(values, room)
    moved = values[-1] - (design if once else values[0])
    edge = _edge(item, values[-1], rising=moved > 0) if course in (Course.RISING, Course.FALLING) else None
    years = (readings[-1][0] - readings[0][0]).days / YEAR_DAYS
    left = abs(edge - values[-1]) / (abs(moved) / years) if edge is not None and years > 0 and not once else None
    first = design if once else values[0]
    leak = first * values[-1] / (first - values[-1]) if course is Course.FALLING else None
    return Trend(
        circuit=item.circuit,
        state=ordered[-1][3],
        readings=readings,
        design_ohm=design,
        from_design=once,
        course=course,
        room_ohm=room,
        edge_ohm=edge,
        years_left=left,
        leak_ohm=leak,
    )


def _course(values: Sequence[float], room: float) -> Course:
    """Return where a row of readings goes, no step smaller than what meters may differ by counted."""
    if max(values) - min(values) <= room:
        return Course.STEADY
    rises = any(later - earlier > room for n, earlier in enumerate(values) for later in values[n + 1 :])
    falls = any(earlier - later > room for n, earlier in enumerate(values) for later in values[n + 1 :])
    return Course.WANDERING if rises and falls else Course.RISING if rises else Course.FALLING


def _edge(item: CircuitForecast, value: float, *, rising: bool) -> float | None:
    """Return the next edge of the bands that way [Ω], None where there is none or it is behind already."""
    edges: Mapping[bool, list[float]] = {
        True: [edge for edge in (item.bands.edges_ohm if item.bands else ()) if edge > value],
        False: [edge for edge in (item.bands.edges_ohm if item.bands else ()) if edge <= value],
    }
    return (min if rising else max)(edges[rising], default=None)
