"""Troubles of supplies, batteries, outputs and the bus that should show in a situation."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from loopwright.explain.expected.situation import Situation, Step
from loopwright.explain.expected.trouble import Trouble, TroubleKind, for_want_of
from loopwright.job.document import Job
from loopwright.job.sheet import ChargerKind, Kind
from loopwright.netlist.compile import PowerNetwork
from loopwright.power.charge import DEFAULT_RETURN_FACTOR, TROUBLE_MAY_LAST_H
from loopwright.power.forecast import PowerForecast, label_of
from loopwright.power.standby import StandbyForecast

FLAT = 0.0
HOUR_S = 3600.0
LONGEST_CHARGE_H = 1000.0
"""Beyond this [h] nobody waits: a charger that has so little to spare does not charge."""


def powered(job: Job, network: PowerNetwork, situation: Situation) -> frozenset[str]:
    """Return the equipment that has supply now: what feeds itself, what a live supply feeds, and what needs none."""
    live = {name for name in job.equipment if job.sheet_of(name).supply is not None and _has_source(situation, name)}
    feeders = {landing.equipment: landing.supply for landing in network.landings}
    return frozenset(
        name
        for name in job.equipment
        if name in live or (job.sheet_of(name).supply is None and (name not in feeders or feeders[name] in live))
    )


def _has_source(situation: Situation, supply: str) -> bool:
    return situation.done(Step.MAINS, supply) or (situation.done(Step.BATTERY, supply) and situation.charge.get(supply, 1.0) > FLAT)


def dead_supplies(job: Job, situation: Situation) -> Iterator[Trouble]:
    """Yield every supply that neither mains nor a battery feeds: it shows nothing, and what it feeds is dead too."""
    for name in job.equipment:
        if job.sheet_of(name).supply is not None and not _has_source(situation, name):
            words = f"{label_of(job, name)} has neither mains nor a charged battery: its lamps are dark, and so is all it feeds."
            yield for_want_of(situation, Step.MAINS, TroubleKind.DARK, words, unit=name)


def mains_and_earth(job: Job, situation: Situation, live: frozenset[str]) -> Iterator[Trouble]:
    """Yield what live supplies show for want of mains and of earth."""
    for name in _supplies(job, live):
        if not situation.done(Step.MAINS, name):
            words = f"{label_of(job, name)} runs on its battery: mains missing."
            yield for_want_of(situation, Step.MAINS, TroubleKind.MAINS_MISSING, words, unit=name)
        if not situation.done(Step.EARTH, name):
            words = f"{label_of(job, name)} may show an earth trouble: its earth is not joined yet."
            yield for_want_of(situation, Step.EARTH, TroubleKind.EARTH, words, unit=name, sure=False)


def batteries(job: Job, situation: Situation, live: frozenset[str], standby: Sequence[StandbyForecast]) -> Iterator[Trouble]:
    """Yield batteries that are not connected, or are low and come back by being charged."""
    for name in _supplies(job, live):
        supply, fitted = job.sheet_of(name).supply, job.equipment[name].battery
        assert supply is not None
        if fitted is None and supply.charger.kind is ChargerKind.NONE:
            continue
        if fitted is None or not situation.done(Step.BATTERY, name):
            told = "is not connected" if fitted is not None else "is not in the design, and the unit watches for one"
            yield Trouble(
                kind=TroubleKind.BATTERY_MISSING,
                place=f"equipment/{name}",
                sentence=f"The battery of {label_of(job, name)} {told}.",
                normal=fitted is not None and not situation.usual(Step.BATTERY),
                step=Step.BATTERY if fitted is not None else None,
                at=name,
                defect=fitted is None,
            )
    for item in standby:
        if item.supply in live and situation.done(Step.BATTERY, item.supply):
            yield from _low(job, situation, item)


def _low(job: Job, situation: Situation, item: StandbyForecast) -> Iterator[Trouble]:
    """Yield a battery's low trouble while its rested volts are below what clears it."""
    supply = job.sheet_of(item.supply).supply
    assert supply is not None
    restore_v = supply.restore_v if supply.restore_v is not None else supply.low_battery_v
    charge = min(max(situation.charge.get(item.supply, 1.0), 0.0), 1.0)
    rested_v = item.kinetic.emf_v(charge)
    if restore_v is None or rested_v >= restore_v:
        return
    wait_s = recovery_s(item, charge, restore_v) if situation.done(Step.MAINS, item.supply) else None
    told = f"about {rested_v:.1f} V rested at {charge * 100:.0f} % of its charge, and the trouble clears at {restore_v:g} V"
    yield Trouble(
        kind=TroubleKind.BATTERY_LOW,
        place=f"equipment/{item.supply}",
        sentence=f"The battery of {label_of(job, item.supply)} is low: {told}.",
        normal=wait_s is not None and math.isfinite(wait_s[0]),
        wait_s=wait_s if wait_s is not None and math.isfinite(wait_s[0]) else None,
        step=None if wait_s is not None else Step.MAINS,
        at=item.supply,
        defect=wait_s is not None and math.isinf(wait_s[0]),
    )


def recovery_s(item: StandbyForecast, charge: float, restore_v: float) -> tuple[float, float]:
    """Return how long [s] a low battery holds its trouble up while it charges, shortest and longest.

    t = f C (s1 - s0) / I, with s1 the charge at which the rested volts are the restore volts

    The longest is common practice: two days for a flat battery. Infinite where nothing charges it.
    """
    if item.charge_a <= 0:
        return math.inf, math.inf
    wanted = item.kinetic.head_at_emf(restore_v)
    hours = DEFAULT_RETURN_FACTOR * item.fitted_ah * max(wanted - charge, 0.0) / item.charge_a
    if hours > LONGEST_CHARGE_H:
        return math.inf, math.inf
    return hours * HOUR_S, max(hours, TROUBLE_MAY_LAST_H) * HOUR_S


def overloads(job: Job, power: PowerForecast, live: frozenset[str]) -> Iterator[Trouble]:
    """Yield outputs that give more than they may while the system is unset on mains: no stage makes that normal."""
    column = power.names.index("unset/mains") if "unset/mains" in power.names else 0
    for output in power.outputs:
        unit = output.name.split(".")[0]
        amps = float(np.asarray(output.amps_a)[column])
        if unit in live and amps > output.limit_a:
            told = f"gives {amps:.2f} A and may give {output.limit_a:g} A"
            yield Trouble(
                kind=TroubleKind.OUTPUT_OVERLOADED,
                place=f"equipment/{unit}",
                sentence=f"Output {output.name.split('.')[1]} of {label_of(job, unit)} {told}.",
                normal=False,
                defect=True,
            )


def bus(job: Job, situation: Situation, live: frozenset[str]) -> Iterator[Trouble]:
    """Yield modules and keypads that do not answer, or answer and are not on the list yet."""
    for name in job.equipment:
        if not job.sheet_of(name).addressed:
            continue
        listed, answers = situation.done(Step.BUS, name), name in live and situation.done(Step.WIRED, name)
        if listed and not answers:
            why = "is not wired" if name in live else "has no supply"
            step = Step.WIRED if name in live else Step.MAINS
            words = f"{label_of(job, name)} is on the list and does not answer: it {why}."
            yield for_want_of(
                situation, step, TroubleKind.MODULE_MISSING, words, place=f"equipment/{name}", at=name if step is Step.WIRED else ""
            )
        if answers and not listed:
            words = f"{label_of(job, name)} answers on the bus and is not on the control unit's list yet."
            yield for_want_of(situation, Step.BUS, TroubleKind.MODULE_UNKNOWN, words, unit=name)


def _supplies(job: Job, live: frozenset[str]) -> tuple[str, ...]:
    return tuple(name for name in job.equipment if name in live and job.sheet_of(name).supply is not None)


def control_units(job: Job) -> tuple[str, ...]:
    """Return the control units of a job."""
    return tuple(name for name in job.equipment if job.sheet_of(name).kind is Kind.CONTROL)
