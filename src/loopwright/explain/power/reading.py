"""What the checks of the supply network read under a fault: off its solution, and the battery by its electromotive force and current.

Spreads: a supply's volts about one per cent; what is lost on the way as uncertain as currents on data sheets are, which state a typical
or a most (common practice, no source); a battery's rested volts a tenth of a volt or so, with its age and warmth.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.power.check import RESTED, SCENARIOS, TEST_LOAD, test_load_a
from loopwright.job.document import Job
from loopwright.job.sheet import SupplySheet
from loopwright.netlist.compile import Landing
from loopwright.netlist.element import Battery, Netlist
from loopwright.netlist.solve import Solution, solve

COLUMN = {scenario.name: number for number, scenario in enumerate(SCENARIOS)}
SUPPLY_SHARE = 0.0075
DROP_SHARE = 0.15
AMPS_SHARE, LEAST_A = 0.15, 0.003
LEAST_V = 0.06
BATTERY_V = 0.12
TEST_LOAD_SHARE = 0.2
"""How uncertain the volts lost under a test load are: the load itself, and the ohms of a battery by its warmth (judgement)."""
SECONDARY_HIGH, SECONDARY_SHARE = 1.1, 0.05
"""Off load a secondary reads 1.0 to 1.2 of its rating (common practice, no source)."""
CHARGING_V = 1.0
"""How far the posts of a flat battery stand above its electromotive force at the charging current (judgement)."""
DARK_SHARE = 0.9
"""Below this share of its minimum volts a detector lets its relay go (judgement)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Supplied:
    """One variant of the supply network, solved: the marks hold for ``supply``."""

    netlist: Netlist
    solution: Solution
    marks: Mapping[str, float]
    supply: str


def supplied(netlist: Netlist, marks: Mapping[str, float], supply: str, *, whole: bool) -> Supplied:
    """Return a variant solved in every state, or only quiet on mains. Raises SolveError when it does not settle."""
    return Supplied(netlist=netlist, solution=solve(netlist, SCENARIOS if whole else SCENARIOS[:1]), marks=marks, supply=supply)


class PowerReader:
    """Reads the checks off a variant."""

    def __init__(self, job: Job, landings: Mapping[str, Landing]) -> None:
        self.job, self.landings = job, landings

    def read(self, variant: Supplied, check: Check) -> tuple[float, float]:
        """Return mean and spread of a metered check."""
        kind, where = check.kind, check.where
        column = COLUMN.get(check.scenario, 0)
        if kind is CheckKind.OUTPUT_AMPS:
            amps = abs(self._current(variant, f"{where}.path", column))
            return amps, float(np.hypot(AMPS_SHARE * amps, LEAST_A))
        if kind is CheckKind.OUTPUT_VOLTS:
            return self._volts(variant, where, f"{where.partition('.')[0]}.0v", column, self._bus(variant, where, column))
        if kind is CheckKind.BUS_VOLTS:
            volts = self._across(variant, f"{where}.bus", f"{where}.0v", column)
            return volts, float(np.hypot(SUPPLY_SHARE * volts, LEAST_V))
        if kind is CheckKind.DEVICE_VOLTS:
            landing = self.landings[where]
            return self._volts(variant, landing.plus, landing.minus, column, self._bus(variant, landing.supply or "", column))
        return self._battery(variant, check, column)

    def dark(self, variant: Supplied, devices: tuple[str, ...]) -> frozenset[str]:
        """Return which of ``devices`` get too little to work, unset on mains."""
        out = set()
        for device in devices:
            for name, landing in self.landings.items():
                if landing.equipment == device:
                    least = self.job.sheet_of(device).loads[name.partition(".")[2]].min_v
                    if self._across(variant, landing.plus, landing.minus, 0) < DARK_SHARE * least:
                        out.add(device)
        return frozenset(out)

    def _across(self, variant: Supplied, plus: str, minus: str, column: int) -> float:
        index = variant.solution.index
        if plus not in index or minus not in index:
            return 0.0
        volts = float(variant.solution.across(plus, minus)[column])
        # Between two islands there is nothing to be read but stray volts.
        return 0.0 if np.isnan(volts) else volts

    def _bus(self, variant: Supplied, where: str, column: int) -> float:
        supply = where.partition(".")[0]
        return self._across(variant, f"{supply}.bus", f"{supply}.0v", column)

    def _volts(self, variant: Supplied, plus: str, minus: str, column: int, bus: float) -> tuple[float, float]:
        volts = self._across(variant, plus, minus, column)
        lost = max(abs(bus) - abs(volts), 0.0) if abs(volts) > 0.5 else 0.0
        return volts, float(np.sqrt((SUPPLY_SHARE * volts) ** 2 + (DROP_SHARE * lost) ** 2 + LEAST_V**2))

    def _current(self, variant: Supplied, wire: str, column: int) -> float:
        try:
            return float(np.nan_to_num(variant.solution.wire_current(wire)[column]))
        except KeyError:
            return 0.0

    def _battery(self, variant: Supplied, check: Check, column: int) -> tuple[float, float]:
        supply = check.where
        marks = variant.marks if variant.supply == supply else {}
        sheet = self.job.sheet_of(supply).supply
        assert sheet is not None
        if check.kind is CheckKind.SECONDARY_VOLTS:
            rated = (sheet.secondary_v or 0.0) * SECONDARY_HIGH * marks.get("secondary-share", 1.0)
            return (0.0, LEAST_V) if marks.get("no-secondary") else (rated, SECONDARY_SHARE * rated)
        element = variant.solution.netlist
        battery = next((e for e in element.elements if isinstance(e, Battery) and e.name == f"{supply}.battery"), None)
        emf = battery.emf_v if battery is not None else self._emf(supply)
        charged = sheet.charger.float_v + marks.get("float-shift", 0.0)
        charging = not marks.get("no-charge") and f"{supply}.mains" in {e.name for e in element.elements}
        if check.kind is CheckKind.LEADS_VOLTS:
            return (charged, 0.1) if charging and not marks.get("fuse-open") else (0.0, LEAST_V)
        if check.kind is CheckKind.FUSE_VOLTS:
            return (emf, BATTERY_V) if marks.get("fuse-open") else (0.0, LEAST_V)
        by_itself = check.scenario in (RESTED, TEST_LOAD)
        if marks.get("no-battery"):
            return (charged, 0.1) if charging and SCENARIOS[column].mains and not by_itself else (0.0, LEAST_V)
        sign = -1.0 if marks.get("reversed") else 1.0
        if check.scenario == TEST_LOAD:
            lost = min(test_load_a(self.job, supply) * (battery.inner_ohm if battery is not None else self._inner(supply)), emf)
            return sign * (emf - lost), float(np.hypot(BATTERY_V, TEST_LOAD_SHARE * lost))
        volts = self._posts(variant, sheet, check, column, emf, charged if charging else None)
        return sign * volts, BATTERY_V

    def _posts(self, variant: Supplied, sheet: SupplySheet, check: Check, column: int, emf: float, charged: float | None) -> float:
        """Return the volts at the battery's own posts: rested, on charge, or giving."""
        supply = check.where
        own = variant.marks if variant.supply == supply else {}
        if check.scenario == RESTED or own.get("fuse-open"):
            return emf
        if SCENARIOS[column].mains and charged is not None:
            return min(charged, emf + CHARGING_V) if own.get("charging") else charged
        branch = f"{supply}.battery"
        known = variant.solution.branches.position
        amps = -float(variant.solution.current(branch)[column]) if branch in known else 0.0
        battery = variant.solution.netlist.named(branch) if branch in known else None
        return emf - amps * battery.inner_ohm if isinstance(battery, Battery) else emf

    def _emf(self, supply: str) -> float:
        fitted = self.job.equipment[supply].battery
        return self.job.sheets.batteries[fitted.sheet].full_v if fitted is not None else 0.0

    def _inner(self, supply: str) -> float:
        fitted = self.job.equipment[supply].battery
        return self.job.sheets.batteries[fitted.sheet].internal_ohm / fitted.parallel if fitted is not None else 0.0
