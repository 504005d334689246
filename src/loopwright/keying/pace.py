"""An alarm when leaving or coming in: the times against the slowest walk, the rules, and what this unit can be told."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from loopwright.job.document import Job
from loopwright.keying.form import Form, Kind
from loopwright.keying.spot import Spot, spots_of
from loopwright.programme.route import IN, OUT, Route, routes_of
from loopwright.rules.ruleset import Limit, ruleset_of

SPARE = 1.25
"""Time allowed over the slowest walk that was timed: a quarter more (common practice, no source)."""
FINE = 1e-6
ABORT = "programme/abort_s"
TIMES = (("entry_s", "entry time", IN), ("exit_s", "exit time", OUT))


@dataclass(frozen=True, kw_only=True, slots=True)
class Pace:
    """One time of an area: what is programmed, the slowest walk [s], and the time to enter, None where none would do.

    The walk is the slowest of those that go through the area: a shared one is walked through by the people of the areas that share it.
    ``enough`` is None where nobody has timed it.
    """

    path: str
    words: str
    programmed_s: float | None
    walk_s: float | None
    proposed_s: float | None
    enough: bool | None
    sentence: str
    limits: tuple[str, ...]


def paces_of(job: Job, unit: str) -> tuple[Pace, ...]:
    """Return for every area its entry and exit time against the walk, the limits of the ruleset and the steps of the unit."""
    spots = {spot.path: spot for spot in spots_of(job, unit) if spot.form.kind is Kind.NUMBER}
    routes = routes_of(job)
    return tuple(
        _pace(job, name, time, words, _walk_s(job, name, [route for route in routes if route.way == way]), spots)
        for name in job.areas
        for time, words, way in TIMES
        if f"areas/{name}/{time}" in spots or getattr(job.areas[name], time) is not None
    )


def _walk_s(job: Job, name: str, routes: Sequence[Route]) -> float | None:
    """Return the slowest walk through an area [s], None where nobody has timed one."""
    walks = (job.areas[name].walk_s, *(route.walk_s for route in routes if name in route.areas))
    return max((walk for walk in walks if walk is not None), default=None)


def _pace(job: Job, name: str, time: str, words: str, walk: float | None, spots: Mapping[str, Spot]) -> Pace:
    area = job.areas[name]
    value = getattr(area, time)
    limits, both = ruleset_of(job).limits_on(time), _both(job, time)
    path = f"areas/{name}/{time}"
    proposed = None if walk is None else _proposed(walk * SPARE, limits, _form(spots, path))
    abort = None if proposed is None else _abort(job, proposed, both, _form(spots, ABORT))
    if both and abort is None:
        proposed = None
    shorter = abort if abort is not None and job.programme.abort_s is not None and abort < job.programme.abort_s else None
    return Pace(
        path=path,
        words=f"{words} of {area.name}",
        programmed_s=value,
        walk_s=walk,
        proposed_s=proposed,
        enough=None if walk is None or value is None else value >= walk,
        sentence=_sentence(area.name, words, value, walk, proposed, shorter),
        limits=(*(_limit_words(limit) for limit in limits), *(_both_words(limit, job) for limit in both)),
    )


def _form(spots: Mapping[str, Spot], path: str) -> Form | None:
    return spots[path].form if path in spots else None


def _both(job: Job, time: str) -> tuple[Limit, ...]:
    """Return the limits on entry time and abort window together, where they bear on this time."""
    return ruleset_of(job).limits_on("entry_abort_s") if time == "entry_s" and job.programme.abort_s is not None else ()


def _proposed(wanted: float, limits: tuple[Limit, ...], form: Form | None) -> float | None:
    """Return the least time that is enough, within the limits and on a step of the unit; None where there is none."""
    least = max([wanted, *(limit.least for limit in limits if limit.least is not None)])
    most = min([math.inf, *(limit.most for limit in limits if limit.most is not None)])
    steps = form.nearest(least) if form is not None else (math.ceil(least),)
    return min((each for each in steps if least - FINE <= each <= most + FINE), default=None)


def _abort(job: Job, entry_s: float, both: tuple[Limit, ...], form: Form | None) -> float | None:
    """Return the longest abort window that may stand beside an entry time, no longer than it is; None where none may."""
    limits = ruleset_of(job).limits_on("abort_s")
    least = max([0.0, *(limit.least for limit in limits if limit.least is not None)])
    most = min([job.programme.abort_s or 0.0, *(limit.most - entry_s for limit in both if limit.most is not None)])
    steps = form.nearest(most) if form is not None and most >= 0 else (most,)
    return max((each for each in steps if least - FINE <= each <= most + FINE), default=None)


def _sentence(area: str, words: str, value: float | None, walk: float | None, proposed: float | None, abort: float | None) -> str:
    if walk is None:
        return f"Nobody has timed the slowest walk in {area}: walk it with a stopwatch and enter it."
    if value is None:
        verdict = f"The {words} is not entered; the slowest walk takes {walk:g} s."
    elif value < walk:
        verdict = f"{value:g} s is {walk - value:g} s shorter than the slowest walk of {walk:g} s: it alarms on the way."
    elif value < walk * SPARE:
        verdict = f"{value:g} s leaves {value - walk:g} s over the slowest walk of {walk:g} s: a dropped key is enough."
    else:
        return f"{value:g} s is enough for the slowest walk of {walk:g} s."
    if proposed is None:
        return f"{verdict} No time that would do is allowed or can be keyed: put the keypad nearer, or use another door."
    beside = "" if abort is None else f", and shorten the abort window to {abort:g} s"
    return f"{verdict} Enter {proposed:g} s{beside}."


def _limit_words(limit: Limit) -> str:
    low = f"{limit.least:g} s or more" if limit.least is not None else ""
    high = f"{limit.most:g} s at most" if limit.most is not None else ""
    return f"{' and '.join(part for part in (low, high) if part)} ({limit.clause})"


def _both_words(limit: Limit, job: Job) -> str:
    return f"with the abort window of {job.programme.abort_s:g} s, {limit.most:g} s at most ({limit.clause})"
