"""Which supply stands behind what, and in which states a supply is asked for more than it gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from loopwright.job.sheet import STATES, ChargerKind
from loopwright.netlist.element import Resistance, Source
from loopwright.netlist.solve import solve
from loopwright.power.forecast import LoadForecast, PowerForecast, SupplyForecast, read_supply
from loopwright.rules.facts import Facts

NO_HELP = ("mains-no-battery", "recharging")
"""Conditions in which the mains supply carries everything alone."""
CHARGING_ALARM = "alarm/recharging"
NO_LIMIT_A = 1000.0
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
    return {load.name: load.landing.supply for load in power.loads}


@lru_cache(maxsize=1)
def overloads(facts: Facts) -> tuple[Demand, ...]:
    """Return every supply and state in which it is asked for more than it gives: by the loads alone, or by the alarm and a flat battery."""
    power = facts.power
    alone = [f"{state}/mains-no-battery" for state in STATES]
    columns = [power.column(name) for name in (*alone, CHARGING_ALARM)]
    out: list[Demand] = []
    for supply in power.supplies:
        if not np.any(supply.mains_a[columns] >= supply.limit_a * FULL):
            continue
        free = _unlimited(facts, supply, (*alone, CHARGING_ALARM))
        over = free.mains_a > supply.limit_a * (1 + 1e-6)
        out += [
            Demand(supply=supply, state=state, scenario=name, amps_a=float(free.mains_a[state]))
            for state, name in enumerate(alone)
            if over[state]
        ]
        # A charger without a limit of its own takes what is left and asks for nothing.
        if over[-1] and not over[-2] and _limits_its_charging(facts, supply):
            amps, charging = float(free.mains_a[-1]), float(free.charge_a[-1])
            out.append(Demand(supply=supply, state=len(STATES) - 1, scenario=CHARGING_ALARM, amps_a=amps, charging_a=charging))
    return tuple(out)


def _unlimited(facts: Facts, supply: SupplyForecast, names: Sequence[str]) -> SupplyForecast:
    """Return what a supply would give in some scenarios if it had no limit: what it is asked for at its own volts."""
    power, source = facts.power, f"{supply.name}.mains"
    elements = tuple(
        element._replace(limit_a=NO_LIMIT_A) if isinstance(element, Source) and element.name == source else element
        for element in power.network.netlist.elements
    )
    solution = solve(replace(power.network.netlist, elements=elements), tuple(power.solution.scenarios[power.column(n)] for n in names))
    return read_supply(supply.name, supply.limit_a, solution)


def _limits_its_charging(facts: Facts, supply: SupplyForecast) -> bool:
    sheet = facts.job.sheet_of(supply.name).supply
    fitted = facts.job.equipment[supply.name].battery is not None
    return fitted and sheet is not None and sheet.charger.kind is ChargerKind.CURRENT_LIMITED and sheet.charger.limit_a is not None


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


@lru_cache(maxsize=1)
def zero_groups(power: PowerForecast) -> Mapping[str, str]:
    """Return for each 0 V point the name of the group of points that conductors join it to; loads and supplies join nothing."""
    group: dict[str, str] = {}

    def root(point: str) -> str:
        while group.setdefault(point, point) != point:
            point = group[point]
        return point

    for element in power.network.netlist.elements:
        if isinstance(element, Resistance) and element.a.endswith(".0v") and element.b.endswith(".0v"):
            group[root(element.a)] = root(element.b)
    return {point: root(point) for point in list(group)}


@lru_cache(maxsize=1)
def without_return(power: PowerForecast) -> tuple[LoadForecast, ...]:
    """Return the loads whose plus comes from an output and whose 0 V is joined to nothing that output returns to."""
    groups, unfed = zero_groups(power), set(power.unfed)
    out = []
    for load in power.loads:
        if load.landing.output is None or load.name in unfed:
            continue
        unit = f"{load.landing.output.partition('.')[0]}.0v"
        if groups.get(load.landing.minus, load.landing.minus) != groups.get(unit, unit):
            out.append(load)
    return tuple(out)
