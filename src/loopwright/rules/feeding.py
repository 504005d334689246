"""Which supply stands behind what, and in which states a supply is asked for more than it gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.job.sheet import STATES
from loopwright.power.forecast import LoadForecast, PowerForecast, SupplyForecast
from loopwright.rules.facts import Facts

NO_HELP = ("mains-no-battery", "recharging")
"""Conditions in which the mains supply carries everything alone."""
FULL = 1 - 1e-6
"""A supply that gives this share of its limit is at its limit."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Demand:
    """What one supply is asked for in one state [A], the states counted as in the forecast."""

    supply: SupplyForecast
    state: int
    amps_a: float


def supplies_behind(power: PowerForecast) -> dict[str, str | None]:
    """Return the supply behind every load by name, followed back through modules; None when there is none."""
    first = {}
    for load in power.loads:
        first.setdefault(load.landing.equipment, load)
    own = {supply.name for supply in power.supplies}
    known: dict[str, str | None] = {name: name for name in own}

    def behind(unit: str, seen: frozenset[str]) -> str | None:
        if unit not in known:
            load = first.get(unit)
            output = load.landing.output if load is not None else None
            feeder = output.partition(".")[0] if output else ""
            known[unit] = behind(feeder, seen | {unit}) if feeder and feeder not in seen else None
        return known[unit]

    out = {}
    for load in power.loads:
        unit = load.landing.output.partition(".")[0] if load.landing.output else load.landing.equipment
        out[load.name] = behind(unit, frozenset())
    return out


def overloads(facts: Facts) -> tuple[Demand, ...]:
    """Return every supply and state in which the loads alone ask for more than the supply gives."""
    power = facts.power
    reached = [s for s in power.supplies if np.any(s.mains_a >= s.limit_a * FULL)]
    if not reached:
        return ()
    behind = supplies_behind(power)
    out = []
    for supply in reached:
        fed = [load for load in power.loads if behind[load.name] == supply.name]
        for state, word in enumerate(STATES):
            asked = _asked(facts, supply, state, fed)
            column = power.column(f"{word}/mains-no-battery")
            if asked > supply.limit_a * (1 + 1e-6) and supply.mains_a[column] >= supply.limit_a * FULL:
                out.append(Demand(supply=supply, state=state, amps_a=asked))
    return tuple(out)


def _asked(facts: Facts, supply: SupplyForecast, state: int, fed: list[LoadForecast]) -> float:
    """Return what the loads ask for [A]: as the battery gives it, else the sheets' figures added up."""
    if facts.job.equipment[supply.name].battery is not None:
        return float(supply.load_a[facts.power.column(f"{STATES[state]}/battery")])
    column = facts.power.column(f"{STATES[state]}/mains")
    return float(sum(load.draw.amperes()[state] for load in fed if load.live[column]))


def sagging(facts: Facts) -> Mapping[str, NDArray[np.bool_]]:
    """Return for each overloaded supply the scenarios in which nothing behind it gets its volts, for that one reason."""
    out: dict[str, NDArray[np.bool_]] = {}
    for demand in overloads(facts):
        name, word = demand.supply.name, STATES[demand.state]
        held = out.setdefault(name, np.zeros(len(facts.power.names), dtype=np.bool_))
        alone = NO_HELP if facts.job.equipment[name].battery is not None else (*NO_HELP, "mains")
        for condition in alone:
            held[facts.power.column(f"{word}/{condition}")] = True
    return out
