"""A discharge followed to its end: battery and network together, hour by hour.

What the network draws depends on the battery's emf (a converter draws more as volts fall, a resistive siren less), and
the emf on what has been drawn. The caller solves the network once over a grid of emf and hands over the table: current,
and how many volts each watched device then has in hand. The wells are stepped exactly at the current in the middle of
each step, and a step is as long as lets the emf move by ``_STEP_V``; so the knee is walked slowly and the plateau is not.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loopwright.power.battery import DROOP_V_PER_CELL, KNEE, KineticBattery, Wells, step_wells

Array = NDArray[np.float64]

_STEP_V = 0.04
_STEPS_A_PHASE = 40
_ALARM_STEPS = 20
_NO_MARGIN_V = 1e9
LONGEST_H = 24.0 * 365


class Ending(StrEnum):
    """Why a discharge came to its end."""

    CUT_OUT = "terminal volts fell to the cut-out"
    EMPTY = "the battery is empty above the cut-out"
    LASTED = "the battery outlasted the time asked for"


@dataclass(frozen=True, kw_only=True)
class Load:
    """The network as the battery sees it: over rising emf [V], the current [A], and volts in hand at each watched device.

    A margin is a device's volts less the least it works at: below zero it has stopped. Raises ValueError when emf does
    not rise or a row is missing.
    """

    emf_v: tuple[float, ...]
    current_a: tuple[float, ...]
    margin_v: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse a table that cannot be looked up."""
        if not self.emf_v or any(b <= a for a, b in zip(self.emf_v, self.emf_v[1:], strict=False)):
            raise ValueError("the emf of a load table rises from row to row")
        if any(len(row) != len(self.emf_v) for row in (self.current_a, *self.margin_v.values())):
            raise ValueError("every row of a load table has a value for each emf")

    def at(self, emf_v: float) -> float:
        """Return the current [A] at an emf, straight between rows, level beyond the ends."""
        emf, current = self.emf_v, self.current_a
        index = bisect_right(emf, emf_v)
        if index == 0:
            return current[0]
        if index == len(emf):
            return current[-1]
        part = (emf_v - emf[index - 1]) / (emf[index] - emf[index - 1])
        return current[index - 1] + part * (current[index] - current[index - 1])


def constant_load(current_a: float) -> Load:
    """Return a load that draws the same current at any volts."""
    return Load(emf_v=(0.0,), current_a=(current_a,))


def load_from(current_at: Callable[[float], float], *, low_v: float, high_v: float, points: int = 33) -> Load:
    """Return the load table of a function from emf [V] to current [A], sampled evenly from ``low_v`` to ``high_v``."""
    grid = tuple(float(emf) for emf in np.linspace(low_v, high_v, points))
    return Load(emf_v=grid, current_a=tuple(current_at(emf) for emf in grid))


@dataclass(frozen=True, kw_only=True, slots=True)
class Phase:
    """A stretch of a discharge under one load, for some hours; without end unless told."""

    name: str
    load: Load
    hours: float = math.inf


@dataclass(frozen=True, kw_only=True, eq=False)
class Trace:
    """A discharge, point by point, with what happened on the way.

    ``hours_to_end`` is when the battery let go (None when it outlasted the phases); ``first_below`` gives for each watched
    device the hours until its margin first went below zero (None when it never did).
    """

    hours: Array
    emf_v: Array
    terminal_v: Array
    current_a: Array
    charge: Array
    phase: tuple[str, ...]
    ending: Ending
    hours_to_end: float | None
    first_below: Mapping[str, float | None]


class _Point(NamedTuple):
    """The battery at one moment: emf [V], the current it is asked for [A], volts left above its end by cut-out and by being empty [V]."""

    emf_v: float
    current_a: float
    over_cut_out_v: float
    over_empty_v: float

    @property
    def slack_v(self) -> float:
        """Return the volts left before the battery lets go, by whichever end is nearer."""
        return min(self.over_cut_out_v, self.over_empty_v)

    @property
    def ending(self) -> Ending:
        """Return which end is nearer."""
        return Ending.EMPTY if self.over_empty_v < self.over_cut_out_v else Ending.CUT_OUT


@dataclass(slots=True)
class _Walk:
    """The points of a discharge while it is being walked."""

    hours: list[float] = field(default_factory=list)
    wells: list[Wells] = field(default_factory=list)
    emf_v: list[float] = field(default_factory=list)
    current_a: list[float] = field(default_factory=list)
    phase: list[int] = field(default_factory=list)
    ending: Ending = Ending.LASTED

    def note(self, point: _Point, *, hours: float, wells: Wells, phase: int) -> None:
        """Add a point."""
        self.hours.append(hours)
        self.wells.append(wells)
        self.emf_v.append(point.emf_v)
        self.current_a.append(point.current_a)
        self.phase.append(phase)


def discharge(
    battery: KineticBattery, phases: tuple[Phase, ...], *, cut_out_v: float, start: Wells | None = None, fineness: float = 1.0
) -> Trace:
    """Return a battery's discharge through the given phases, until it lets go or they are over.

    dy1/dt = -I(emf) + k (h2 - h1), dy2/dt = -k (h2 - h1), emf = emf(h1), terminal = emf - I R

    Args:
        battery: the fitted battery, already scaled for age and cold.
        phases: loads in their order, each for its hours.
        cut_out_v: terminal volts at which the supply lets the battery go [V]; below the sheet's cut-off the battery ends empty.
        start: charge in the wells at the start; None is full.
        fineness: divides the step; 1 is within 0.1 % of the limit in time.

    Returns:
        The trace; its last point is the end. Nothing runs longer than a year.

    Valid where ``fit_kinetic`` is; the knee near the end is common practice, not the sheet's.

    >>> from loopwright.power.battery import fit_kinetic
    >>> from loopwright.power.table import PUBLISHED_AGM
    >>> trace = discharge(fit_kinetic(PUBLISHED_AGM), (Phase(name="standby", load=constant_load(0.716)),), cut_out_v=10.5)
    >>> round(trace.hours_to_end, 1), trace.ending.name  # the sheet: 10 h
    (10.0, 'CUT_OUT')

    Source: kinetic battery model, Manwell and McGowan 1993 (register key ``kibam``).
    """
    walk = _Walk()
    wells, clock = battery.full if start is None else start, 0.0
    for number, phase in enumerate(phases):
        wells, clock = _walk_phase(walk, battery, phase, number=number, wells=wells, clock=clock, cut_out_v=cut_out_v, fineness=fineness)
        if walk.ending is not Ending.LASTED:
            break
    return _trace(walk, battery, phases)


def _point(battery: KineticBattery, load: Load, wells: Wells, cut_out_v: float) -> _Point:
    emf_v = battery.emf_v(battery.head(wells.available_ah))
    current_a = load.at(emf_v)
    return _Point(emf_v, current_a, emf_v - current_a * battery.internal_ohm - cut_out_v, emf_v - battery.empty_v)


def _walk_phase(
    walk: _Walk, battery: KineticBattery, phase: Phase, *, number: int, wells: Wells, clock: float, cut_out_v: float, fineness: float
) -> tuple[Wells, float]:
    load, left = phase.load, min(phase.hours, LONGEST_H - clock)
    point = _point(battery, load, wells, cut_out_v)
    walk.note(point, hours=clock, wells=wells, phase=number)
    if point.slack_v <= 0:
        walk.ending = point.ending
        return wells, clock
    while left > 1e-9:
        step = min(_step_h(battery, wells, point.current_a, phase.hours) / fineness, left)
        current = _middle_current(battery, load, wells, point.current_a, step)
        after = step_wells(battery, wells, current, step)
        point = _point(battery, load, after, cut_out_v)
        if point.slack_v <= 0:
            step = _let_go_h(battery, load, wells, current=current, step=step, cut_out_v=cut_out_v)
            after = step_wells(battery, wells, current, step)
            point = _point(battery, load, after, cut_out_v)
            walk.ending = point.ending
        clock, left, wells = clock + step, left - step, after
        walk.note(point, hours=clock, wells=wells, phase=number)
        if walk.ending is not Ending.LASTED:
            break
    return wells, clock


def _step_h(battery: KineticBattery, wells: Wells, current_a: float, phase_h: float) -> float:
    c, k, head = battery.well_fraction, battery.rate_per_h, battery.head(wells.available_ah)
    bound = wells.bound_ah / (battery.q_max_ah * (1 - c))
    head_per_h = abs(-current_a / (battery.q_max_ah * c) + k * (1 - c) * (bound - head))
    by_volts = _STEP_V / max(head_per_h * battery.emf_slope_v(head), 1e-9)
    typical_h = min(phase_h, battery.q_max_ah / max(current_a, 1e-9), LONGEST_H)
    return min(by_volts, typical_h / _STEPS_A_PHASE)


def _middle_current(battery: KineticBattery, load: Load, wells: Wells, current_a: float, step: float) -> float:
    middle = step_wells(battery, wells, current_a, step / 2)
    return load.at(battery.emf_v(battery.head(middle.available_ah)))


def _let_go_h(battery: KineticBattery, load: Load, wells: Wells, *, current: float, step: float, cut_out_v: float) -> float:
    low, high = 0.0, step
    for _ in range(30):
        middle = (low + high) / 2
        if _point(battery, load, step_wells(battery, wells, current, middle), cut_out_v).slack_v > 0:
            low = middle
        else:
            high = middle
    return high


def _trace(walk: _Walk, battery: KineticBattery, phases: tuple[Phase, ...]) -> Trace:
    hours, emf_v, current_a = np.array(walk.hours), np.array(walk.emf_v), np.array(walk.current_a)
    names = dict.fromkeys(name for phase in phases for name in phase.load.margin_v)
    number = np.array(walk.phase)
    return Trace(
        hours=hours,
        emf_v=emf_v,
        terminal_v=emf_v - current_a * battery.internal_ohm,
        current_a=current_a,
        charge=np.array([sum(wells) for wells in walk.wells]) / battery.q_max_ah,
        phase=tuple(phases[index].name for index in walk.phase),
        ending=walk.ending,
        hours_to_end=None if walk.ending is Ending.LASTED else walk.hours[-1],
        first_below={name: _first_below(name, phases, number, hours, emf_v) for name in names},
    )


def _first_below(name: str, phases: tuple[Phase, ...], number: NDArray[np.int_], hours: Array, emf_v: Array) -> float | None:
    for index, phase in enumerate(phases):
        if name not in phase.load.margin_v:
            continue
        here = number == index
        margin = np.interp(emf_v[here], phase.load.emf_v, phase.load.margin_v[name])
        below = np.flatnonzero(margin < 0)
        if below.size == 0:
            continue
        at, when = int(below[0]), hours[here]
        if at == 0:
            return float(when[0])
        return float(when[at - 1] + (when[at] - when[at - 1]) * margin[at - 1] / (margin[at - 1] - margin[at]))
    return None


@dataclass(frozen=True, kw_only=True, slots=True)
class Standby:
    """How long standby may last with the alarm still to come: hours, whether it can be met at all, and what sets the limit."""

    hours: float
    fits: bool
    limited_by: str


BATTERY = "the battery"


def longest_standby(
    battery: KineticBattery, *, standby: Load, alarm: Load, alarm_h: float, cut_out_v: float, start: Wells | None = None
) -> Standby:
    """Return how long standby may last so that the whole alarm afterwards still fits, every watched device kept working.

    largest t for which, after t hours of standby, min over the alarm of (terminal - cut-out, each margin) >= 0

    Args:
        battery: the fitted battery, already scaled for age and cold.
        standby: the load at rest.
        alarm: the load in alarm.
        alarm_h: how long the alarm lasts at the end [h].
        cut_out_v: terminal volts at which the supply lets the battery go [V].
        start: charge in the wells at the start; None is full.

    Returns:
        Hours of standby [h], 0 and ``fits`` False when even a charged battery cannot; ``limited_by`` names a watched device
        or ``BATTERY``.

    Valid where ``discharge`` is.

    >>> from loopwright.power.battery import fit_kinetic
    >>> from loopwright.power.table import PUBLISHED_AGM
    >>> found = longest_standby(
    ...     fit_kinetic(PUBLISHED_AGM), standby=constant_load(0.2), alarm=constant_load(1.2), alarm_h=0.25, cut_out_v=10.5)
    >>> round(found.hours)
    36

    Source: kinetic battery model (register key ``kibam``).
    """
    phase = Phase(name="standby", load=standby)
    return _longest(battery, _rest_walk(battery, phase, cut_out_v, start), standby, alarm, alarm_h, cut_out_v)


class Rest:
    """A battery walked at rest to its end. Where it goes follows from the currents alone, whatever devices are watched on the way."""

    def __init__(self, battery: KineticBattery, load: Load, *, cut_out_v: float) -> None:
        """Walk it, once for all."""
        self.battery, self.cut_out_v = battery, cut_out_v
        self._walk = _rest_walk(battery, Phase(name="set", load=load), cut_out_v, None)

    def with_alarm(self, rest: Phase, *, alarm: Load, alarm_h: float) -> tuple[Trace, Standby]:
        """Return what ``discharge`` gives for one phase without end, and what ``longest_standby`` gives for its load.

        ``rest`` draws the currents this was walked with, and may watch other devices.
        """
        longest = _longest(self.battery, self._walk, rest.load, alarm, alarm_h, self.cut_out_v)
        return _trace(self._walk, self.battery, (rest,)), longest


def _rest_walk(battery: KineticBattery, rest: Phase, cut_out_v: float, start: Wells | None) -> _Walk:
    walk = _Walk()
    wells = battery.full if start is None else start
    _walk_phase(walk, battery, rest, number=0, wells=wells, clock=0.0, cut_out_v=cut_out_v, fineness=1.0)
    return walk


def _longest(battery: KineticBattery, walk: _Walk, standby: Load, alarm: Load, alarm_h: float, cut_out_v: float) -> Standby:
    names = (BATTERY, *dict.fromkeys([*standby.margin_v, *alarm.margin_v]))
    last = _last_good(_slacks(battery, walk.wells, standby, alarm, alarm_h, cut_out_v, names))
    if last < 0:
        worst = _slacks(battery, walk.wells[:1], standby, alarm, alarm_h, cut_out_v, names)[:, 0]
        return Standby(hours=0.0, fits=False, limited_by=names[int(np.argmin(worst))])
    if last + 1 == len(walk.wells):
        return Standby(hours=walk.hours[last], fits=True, limited_by=BATTERY)
    # Once more between the last start that fits and the first that does not, then a straight line in a sixteenth of a step.
    span, parts = walk.hours[last + 1] - walk.hours[last], np.linspace(0.0, 1.0, 17)
    current = _middle_current(battery, standby, walk.wells[last], walk.current_a[last], span)
    between = [step_wells(battery, walk.wells[last], current, float(part) * span) for part in parts]
    slack = _slacks(battery, between, standby, alarm, alarm_h, cut_out_v, names)
    good = min(max(_last_good(slack), 0), len(parts) - 2)
    here, there = slack[:, good].min(), slack[:, good + 1].min()
    part = float(parts[good] + parts[1] * here / (here - there)) if here > there else 0.0
    return Standby(hours=walk.hours[last] + part * span, fits=True, limited_by=names[int(np.argmin(slack[:, good + 1]))])


def _last_good(slack: Array) -> int:
    # The last start before which, and at which, nothing went below zero; -1 when the very first one fails.
    bad = np.flatnonzero(slack.min(axis=0) < 0)
    return int(bad[0]) - 1 if bad.size else slack.shape[1] - 1


def _slacks(
    battery: KineticBattery, starts: list[Wells], standby: Load, alarm: Load, alarm_h: float, cut_out_v: float, names: tuple[str, ...]
) -> Array:
    # All starts walk the alarm side by side; a row for the battery and for each watched device, the least over the alarm.
    wells = Wells(np.array([w.available_ah for w in starts]), np.array([w.bound_ah for w in starts]))  # type: ignore[arg-type]
    step = alarm_h / _ALARM_STEPS
    at_start, way = _emf(battery, wells), np.empty((_ALARM_STEPS + 1, len(starts)))
    for number in range(_ALARM_STEPS):
        emf_v = way[number] = _emf(battery, wells)
        now = np.interp(emf_v, alarm.emf_v, alarm.current_a)
        middle = _emf(battery, step_wells(battery, wells, now, step / 2))
        wells = step_wells(battery, wells, np.interp(middle, alarm.emf_v, alarm.current_a), step)
    way[_ALARM_STEPS] = _emf(battery, wells)
    in_alarm = _slack_rows(battery, _LookUp.of(alarm, names), way.ravel(), cut_out_v).reshape(len(names), *way.shape)
    least = _slack_rows(battery, _LookUp.of(standby, names), at_start, cut_out_v)
    least[0] = np.inf  # the standby itself is walked only while the battery holds
    return np.asarray(np.minimum(least, in_alarm.min(axis=1)))


def _emf(battery: KineticBattery, wells: Wells) -> Array:
    head: Array = np.maximum(np.asarray(wells.available_ah) / (battery.q_max_ah * battery.well_fraction), -1.0)
    fall = battery.full_v - battery.empty_v - DROOP_V_PER_CELL * battery.cells * (1 - head)
    emf_v: Array = battery.empty_v + fall * (1 - np.exp(-head / KNEE))
    return emf_v


class _LookUp(NamedTuple):
    """A load table as arrays: the current, then the margin of every watched device (``_NO_MARGIN_V`` for one it does not watch)."""

    grid: Array
    rows: Array

    @classmethod
    def of(cls, load: Load, names: tuple[str, ...]) -> _LookUp:
        grid = np.array(load.emf_v)
        level = np.full(grid.size, _NO_MARGIN_V)
        return cls(grid, np.array([load.current_a, *(load.margin_v.get(name, level) for name in names[1:])]))

    def at(self, emf_v: Array) -> Array:
        """Return every row at each emf, straight between the table's points and level beyond its ends."""
        last = self.grid.size - 1
        index = np.clip(np.searchsorted(self.grid, emf_v, side="right") - 1, 0, max(last - 1, 0))
        beyond = np.minimum(index + 1, last)
        span = self.grid[beyond] - self.grid[index]
        part = np.clip((emf_v - self.grid[index]) / np.where(span > 0, span, 1.0), 0.0, 1.0)
        low = self.rows[:, index]
        return np.asarray(low + part * (self.rows[:, beyond] - low))


def _slack_rows(battery: KineticBattery, look_up: _LookUp, emf_v: Array, cut_out_v: float) -> Array:
    found = look_up.at(emf_v)
    terminal = emf_v - found[0] * battery.internal_ohm
    return np.vstack((np.minimum(terminal - cut_out_v, emf_v - battery.empty_v), found[1:]))
