"""Which supply stands behind what, and in which states a supply is asked for more than it gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.job.sheet import STATES, ChargerKind, SystemState
from loopwright.power.forecast import LoadForecast, PowerForecast, SupplyForecast
from loopwright.rules.facts import Facts

NO_HELP = ("mains-no-battery", "recharging")
"""Conditions in which the mains supply carries everything alone."""
FULL = 1 - 1e-6
"""A supply that gives this share of its limit is at its limit."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Demand:
    """What one supply is asked for in one state [A], ``charging_a`` of it for a flat battery; in which scenario that shows."""

    supply: SupplyForecast
    state: int
    scenario: str
    amps_a: float
    charging_a: float = 0.0


def supplies_behind(power: PowerForecast) -> dict[str, str | None]:
    """Return the supply behind every load by name, followed back through modules; None when there is none."""
    first: dict[str, LoadForecast] = {}
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
    """Return every supply and state in which it is asked for more than it gives: by the loads alone, or by the alarm and a flat battery."""
    power = facts.power
    reached = [s for s in power.supplies if np.any(s.mains_a >= s.limit_a * FULL)]
    if not reached:
        return ()
    behind = supplies_behind(power)
    out = []
    for supply in reached:
        fed = [load for load in power.loads if behind[load.name] == supply.name]
        for state, word in enumerate(STATES):
            asked, scenario = _asked(facts, supply, state, fed), f"{word}/mains-no-battery"
            charging = _charging_asked(facts, supply) if word is SystemState.ALARM else 0.0
            if asked > supply.limit_a * (1 + 1e-6) and supply.mains_a[power.column(scenario)] >= supply.limit_a * FULL:
                out.append(Demand(supply=supply, state=state, scenario=scenario, amps_a=asked))
            elif charging and asked + charging > supply.limit_a * (1 + 1e-6):
                both = asked + charging
                out.append(Demand(supply=supply, state=state, scenario=f"{word}/recharging", amps_a=both, charging_a=charging))
    return tuple(out)


def _asked(facts: Facts, supply: SupplyForecast, state: int, fed: list[LoadForecast]) -> float:
    """Return what the loads ask for [A]: as the battery gives it, else the sheets' figures added up."""
    if facts.job.equipment[supply.name].battery is not None:
        return float(supply.load_a[facts.power.column(f"{STATES[state]}/battery")])
    column = facts.power.column(f"{STATES[state]}/mains")
    return float(sum(load.draw.amperes()[state] for load in fed if load.live[column]))


def _charging_asked(facts: Facts, supply: SupplyForecast) -> float:
    """Return what a charger with a limit of its own takes [A] where the supply has room; one that takes what is left asks for nothing."""
    sheet = facts.job.sheet_of(supply.name).supply
    if facts.job.equipment[supply.name].battery is None or sheet is None or sheet.charger.kind is not ChargerKind.CURRENT_LIMITED:
        return 0.0
    return sheet.charger.limit_a or 0.0


def sagging(facts: Facts) -> Mapping[str, NDArray[np.bool_]]:
    """Return for each overloaded supply the scenarios in which nothing behind it gets its volts, for that one reason."""
    out: dict[str, NDArray[np.bool_]] = {}
    for demand in overloads(facts):
        name, word = demand.supply.name, STATES[demand.state]
        held = out.setdefault(name, np.zeros(len(facts.power.names), dtype=np.bool_))
        if demand.charging_a:
            alone: tuple[str, ...] = ("recharging",)
        else:
            alone = NO_HELP if facts.job.equipment[name].battery is not None else (*NO_HELP, "mains")
        for condition in alone:
            held[facts.power.column(f"{word}/{condition}")] = True
    return out
