"""What would put a device's volts right: the same network solved again with other conductors.

Theory. A remedy is a set of trials. Each trial is made a system state of its own: every load draws in it what it draws in the scenario
asked about, and a conductor on trial is a row of switches, one closed in each trial. So one call of the solver answers
them all, and what other devices on the same cores draw is in every answer.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from loopwright.job.document import Feed, Job
from loopwright.job.field import Gauge
from loopwright.netlist.compile import LEAST_OHM, feed_name
from loopwright.netlist.conductor import Basis, GaugeSystem, awg_area_mm2, conductor_of, ohm_per_m, standard_gauges
from loopwright.netlist.element import Contact, Element, Load, Resistance
from loopwright.netlist.solve import Solution, solve
from loopwright.power.forecast import LoadForecast, PowerForecast, cores_on_way

Floats = NDArray[np.float64]
Trial = Mapping[str, float]

CLOSE = 1e-3
"""How closely the bearable share of a run's resistance is found."""
MOST_ROUNDS = 12
MOST_EXTRA_CORES = 3
"""Beyond this many more cores in parallel each way nobody joins; a thicker cable is pulled."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Drop:
    """What one run takes of a device's volts, out and back [V]."""

    run: str
    drop_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Remedy:
    """What would put one device right in one scenario; None where that kind of change alone is not enough.

    ``run`` is the run that takes most and ``drop_v`` [V] what it takes; ``gauge``, ``cores`` (in parallel, each way) and ``longest_m`` [m]
    are changes of that run alone, ``way_gauge`` of every run on the way; ``bare_v`` [V] is what the device gets with no cable at all,
    looked for when no change of that run is enough.
    """

    run: str
    drop_v: float
    gauge: Gauge | None
    cores: int | None
    longest_m: float | None
    way_gauge: Gauge | None
    bare_v: float


def run_drops(job: Job, forecast: PowerForecast, load: LoadForecast, scenario: str) -> tuple[Drop, ...]:
    """Return what each run on the way to a load takes of its volts, in order from the supply."""
    drops = dict.fromkeys(load.landing.runs, 0.0)
    for core in cores_on_way(job, forecast, load.landing, scenario):
        drops[core.run] += core.amps_a * core.ohm
    return tuple(Drop(run=run, drop_v=drop) for run, drop in drops.items())


def remedy_of(job: Job, forecast: PowerForecast, load: LoadForecast, scenario: str) -> Remedy | None:
    """Return what would put a load right in a scenario; None when it is not reached over cables."""
    drops = run_drops(job, forecast, load, scenario)
    if not drops:
        return None
    worst = max(drops, key=lambda drop: drop.drop_v)
    share = bearable_share(job, forecast, worst.run, load, scenario)
    gauge = gauge_within(job, worst.run, share)
    way = load.landing.runs
    return Remedy(
        run=worst.run,
        drop_v=worst.drop_v,
        gauge=gauge,
        cores=_cores_within(job, forecast, worst.run, load, scenario, share),
        longest_m=_length_within(job, worst.run, share),
        way_gauge=None if gauge is not None or len(way) < 2 else smallest_gauge(job, forecast, way, load, scenario),
        bare_v=math.nan if share is not None else bare_volts(job, forecast, load, scenario),
    )


def smallest_gauge(job: Job, forecast: PowerForecast, cables: Sequence[str], load: LoadForecast, scenario: str) -> Gauge | None:
    """Return the thinnest standard size of all ``cables`` with which a load has its minimum volts; None when no size does.

    The sizes are those on sale in the system the first cable's own size is written in, with cores made alike.
    """
    if len(cables) == 1:
        return gauge_within(job, cables[0], bearable_share(job, forecast, cables[0], load, scenario))
    rows: list[tuple[Gauge, dict[str, float]]] = []
    for gauge in _gauges(job, cables[0]):
        trial: dict[str, float] = {}
        for run in cables:
            ratio = _gauge_ratio(job, run, gauge)
            if ratio < 1.0:
                trial |= scaled_run(job, forecast, run, ratio)
        if trial:
            rows.append((gauge, trial))
    volts = trial_volts(forecast, load, scenario, [trial for _, trial in rows])
    return next((gauge for (gauge, _), found in zip(rows, volts, strict=True) if found >= load.draw.min_v), None)


def cores_needed(job: Job, forecast: PowerForecast, cable: str, load: LoadForecast, scenario: str) -> int | None:
    """Return how many cores in parallel, out and back alike, a run's feed needs for a load; None when three more are not enough."""
    return _cores_within(job, forecast, cable, load, scenario, bearable_share(job, forecast, cable, load, scenario))


def longest_run_m(job: Job, forecast: PowerForecast, cable: str, load: LoadForecast, scenario: str) -> float | None:
    """Return the greatest length [m] of a run, its slack left as it is, with which a load has its minimum volts; None when none does.

    Looked for below the present length; to a tenth of a metre, downwards.
    """
    return _length_within(job, cable, bearable_share(job, forecast, cable, load, scenario))


def bearable_share(job: Job, forecast: PowerForecast, cable: str, load: LoadForecast, scenario: str) -> float | None:
    """Return the greatest share of a run's present wire resistance with which a load has its minimum volts; None when none is enough.

    The answer is always a trial that was solved and kept the minimum; the true limit is within a thousandth above it, also where the volts
    go over a step (a collapse) and not down a slope.
    """
    low, high = 0.0, 1.0
    at_low, at_high = math.nan, float(load.volts_v[forecast.column(scenario)]) - load.draw.min_v
    points = np.array([0.0, 0.25, 0.5, 0.75])
    for _ in range(MOST_ROUNDS):
        volts = trial_volts(forecast, load, scenario, [scaled_run(job, forecast, cable, float(share)) for share in points])
        for share, margin in zip(points.tolist(), (volts - load.draw.min_v).tolist(), strict=True):
            if margin >= 0 and share >= low:
                low, at_low = share, margin
            elif margin < 0 and share < high:
                high, at_high = share, margin
        if math.isnan(at_low) or high - low <= CLOSE:
            break
        chord = low + (high - low) * at_low / (at_low - at_high)
        near = 0.4 * CLOSE
        points = np.unique(np.clip([chord - near, chord + near, (low + high) / 2], low, high))
    return None if math.isnan(at_low) else low


def gauge_within(job: Job, cable: str, share: float | None) -> Gauge | None:
    """Return the thinnest standard size whose resistance is within a share of the present one."""
    if share is None:
        return None
    return next((gauge for gauge in _gauges(job, cable) if _gauge_ratio(job, cable, gauge) <= share), None)


def _length_within(job: Job, cable: str, share: float | None) -> float | None:
    run = job.cables[cable]
    length = -1.0 if share is None else share * (run.length_m + run.slack_m) - run.slack_m
    return math.floor(length * 10) / 10 if length >= 0.1 else None


def _cores_within(job: Job, forecast: PowerForecast, cable: str, load: LoadForecast, scenario: str, share: float | None) -> int | None:
    feed = _feed(job, cable, load)
    if feed is None or not share:
        return None
    tag, now = feed[0], feed[1].cores
    back = max(feed[1].cores_back, 1)
    # Where the cable carries other feeds too, these keep their cores, so the share is a floor and the trials decide.
    first = max(now + 1, math.ceil(now / share - 1e-9))
    counts = range(first, min(first + 2, now + MOST_EXTRA_CORES + 1))
    was, extra = {f"{tag}.plus": now, f"{tag}.minus": back}, _joint_ohm(job, cable)
    parts = _known(forecast, tuple(was))
    trials = [{name: (ohm - extra) * was[name] / max(count, was[name]) + extra for name, ohm in parts} for count in counts]
    volts = trial_volts(forecast, load, scenario, trials)
    return next((count for count, found in zip(counts, volts, strict=True) if found >= load.draw.min_v), None)


def bare_volts(job: Job, forecast: PowerForecast, load: LoadForecast, scenario: str) -> float:
    """Return the volts [V] a load would get if no run on its way resisted anything."""
    trial: dict[str, float] = {}
    for run in load.landing.runs:
        trial |= scaled_run(job, forecast, run, 0.0)
    return float(trial_volts(forecast, load, scenario, [trial])[0])


def volts_without(forecast: PowerForecast, loads: Sequence[LoadForecast], scenario: str, taken: Sequence[str]) -> Floats:
    """Return the volts [V] of each load with each of the loads called ``taken`` away in turn, (loads, taken)."""
    solution = _solved(forecast, scenario, [{} for _ in taken], without=taken)
    return np.array([solution.across(load.landing.plus, load.landing.minus) for load in loads])


def trial_volts(forecast: PowerForecast, load: LoadForecast, scenario: str, trials: Sequence[Trial]) -> Floats:
    """Return the volts [V] of a load in each trial: a map from the names of conductors to their ohms [Ω] in it.

    NaN where the load's two points are apart.
    """
    if not trials:
        return np.zeros(0)
    return _solved(forecast, scenario, trials).across(load.landing.plus, load.landing.minus)


def _solved(forecast: PowerForecast, scenario: str, trials: Sequence[Trial], *, without: Sequence[str] = ()) -> Solution:
    """Return the network solved in every trial; ``without`` names, for each trial, a load that draws nothing in it."""
    base = forecast.solution.scenarios[forecast.column(scenario)]
    tried = {name for trial in trials for name in trial}
    elements: list[Element] = []
    for element in forecast.network.netlist.elements:
        if isinstance(element, Load):
            now = element.amps[base.state]
            amps = tuple(0.0 if without and without[n] == element.name else now for n in range(len(trials)))
            elements.append(element._replace(amps=amps))
        elif element.name in tried and isinstance(element, Resistance | Contact):
            elements += _switched(element, base.state, [trial.get(element.name, element.ohm) for trial in trials])
        elif isinstance(element, Contact):
            elements.append(element._replace(closed=(element.closed[base.state],) * len(trials)))
        else:
            elements.append(element)
    columns = tuple(base._replace(name=f"{base.name}/{n}", state=n) for n in range(len(trials)))
    return solve(replace(forecast.network.netlist, elements=tuple(elements)), columns)


def _switched(element: Resistance | Contact, state: int, ohms: Sequence[float]) -> list[Element]:
    """Return a switch for each different resistance, closed in the trials that have it."""
    on = element.closed[state] if isinstance(element, Contact) else True
    return [
        Contact(f"{element.name}~{n}", element.a, element.b, max(ohm, LEAST_OHM), tuple(on and value == ohm for value in ohms))
        for n, ohm in enumerate(dict.fromkeys(ohms))
    ]


def _gauges(job: Job, cable: str) -> list[Gauge]:
    if job.sheets.cables[job.cables[cable].sheet].gauge.awg is not None:
        return [Gauge(awg_area_mm2(size), int(size)) for size in standard_gauges(GaugeSystem.AWG)]
    return [Gauge(size) for size in standard_gauges(GaugeSystem.MM2)]


def _gauge_ratio(job: Job, cable: str, gauge: Gauge) -> float:
    """Return the resistance of a run in another size over the present one."""
    run = job.cables[cable]
    sheet = job.sheets.cables[run.sheet]
    made = replace(sheet, gauge=gauge, ohm_per_km=None)
    other, now = (ohm_per_m(conductor_of(item), run.temperature_c, Basis.NOMINAL) for item in (made, sheet))
    return other / now


def _feed(job: Job, cable: str, load: LoadForecast) -> tuple[str, Feed] | None:
    """Return the network's name for the feed of a load's output in a cable, and the feed."""
    for number, feed in enumerate(job.cables[cable].feeds):
        if feed.output == load.landing.output:
            return feed_name(cable, number), feed
    return None


def scaled_run(job: Job, forecast: PowerForecast, cable: str, ratio: float) -> dict[str, float]:
    """Return the ohms [Ω] of every conductor of a cable run with its wire ``ratio`` times what it is; joints stay."""
    names = [f"{feed_name(cable, number)}.{way}" for number in range(len(job.cables[cable].feeds)) for way in ("plus", "minus")]
    extra = _joint_ohm(job, cable)
    out = {name: (ohm - extra) * ratio + extra for name, ohm in _known(forecast, names)}
    return out | {name: ohm * ratio for name, ohm in _known(forecast, (f"{cable}.0v",))}


def _joint_ohm(job: Job, cable: str) -> float:
    joint = job.joints.get(job.cables[cable].end)
    return joint.joint_ohm if joint is not None else 0.0


def _known(forecast: PowerForecast, names: Sequence[str]) -> list[tuple[str, float]]:
    wanted = set(names)
    found = {e.name: e.ohm for e in forecast.network.netlist.elements if e.name in wanted and isinstance(e, Resistance)}
    return [(name, found[name]) for name in names if name in found]
