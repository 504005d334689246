"""Checks on the battery and what charges it."""

from __future__ import annotations

import math

import numpy as np

from loopwright.job.document import Equipment, Stage
from loopwright.job.sheet import BatterySheet, ChargerKind, SupplySheet
from loopwright.power.battery import END_OF_LIFE_FRACTION, TEMPERATURE_RANGE_C
from loopwright.power.charge import DEFAULT_RETURN_FACTOR, TROUBLE_MAY_LAST_H, bulk_current_a
from loopwright.power.forecast import label_of
from loopwright.power.standby import StandbyForecast, recharge_figure
from loopwright.rules.facts import Facts
from loopwright.rules.worked import due, marked, severity_by, worked
from loopwright.values.figure import Figure, Input, Origin
from loopwright.values.finding import Finding, Severity


def check_battery_fitted(facts: Facts) -> list[Finding]:
    """Every supply that charges a battery has one, and every battery has something that charges it."""
    found = []
    for name, item in facts.job.equipment.items():
        supply = facts.job.sheet_of(name).supply
        label, subject = label_of(facts.job, name), f"equipment/{name}"
        if item.battery is None and supply is not None and supply.charger.kind is not ChargerKind.NONE:
            found.append(
                Finding(
                    code="battery-absent",
                    severity=due(facts.job, Stage.POWER_UP, Severity.SHOULD),
                    subject=subject,
                    sentence=f"No battery is entered for {label}: when mains is lost, everything it feeds stops.",
                    remedy="Enter the battery that is fitted, or fit one.",
                    source="practice",
                )
            )
        elif item.battery is not None and (supply is None or supply.charger.kind is ChargerKind.NONE):
            found.append(
                Finding(
                    code="battery-not-charged",
                    severity=Severity.SHOULD,
                    subject=subject,
                    sentence=f"Nothing charges the battery of {label}: its sheet has no {'charger' if supply else 'supply'}.",
                    remedy="Check the sheet; a battery that nothing charges has to be changed before it is flat.",
                    source="data-sheet",
                )
            )
    return found


def check_battery_size(facts: Facts) -> list[Finding]:
    """No battery is larger than its supply may charge."""
    found = []
    for name, item, supply, battery in _pairs(facts):
        most = supply.largest_battery_ah
        capacity = battery.capacity_ah * _count(item)
        if most is None or capacity <= most * (1 + 1e-9):
            continue
        found.append(
            Finding(
                code="battery-too-large",
                severity=Severity.MUST,
                subject=f"equipment/{name}/battery",
                sentence=f"{label_of(facts.job, name)} has {capacity:.3g} Ah of battery; it may charge {most:.3g} Ah at most.",
                remedy=f"Fit {most:.3g} Ah or less, or a second supply with a battery of its own.",
                clause="largest battery",
                source="data-sheet",
            )
        )
    return found


def check_charge_current(facts: Facts) -> list[Finding]:
    """No battery is charged with more than its sheet allows."""
    found = []
    for name, item, supply, battery in _pairs(facts):
        if battery.most_charge_a is None:
            continue
        most, charge = battery.most_charge_a * _count(item), facts.power.supply(name).charge_a
        worst = float(np.max(charge))
        if worst <= most * (1 + 1e-6):
            continue
        # Without a stated limit the current hangs on how flat the battery is taken to be, which is from memory and decides no must.
        stated = supply.charger.kind is ChargerKind.CURRENT_LIMITED and supply.charger.limit_a is not None
        figure = worked(
            f"charge/{name}",
            f"{label_of(facts.job, name)}, charging current into a flat battery",
            worst,
            "A",
            formula="I = (V - E) / R, no more than the charger's limit and what the supply has left",
            inputs=(Input(name="most over all states", value=round(worst, 4), unit="A", origin=Origin.COMPUTED),),
        )
        found.append(
            Finding(
                code="charge-current-too-high",
                severity=Severity.MUST if stated else Severity.SHOULD,
                subject=f"equipment/{name}/battery",
                sentence=f"{label_of(facts.job, name)} charges a flat battery with {figure}; the battery's sheet allows {most:.3g} A.",
                remedy=f"Set or change the charger to {most:.3g} A or less, or fit a battery that takes {worst:.2f} A.",
                clause="most charging current",
                source="data-sheet",
                figures=(figure,),
            )
        )
    return found


def check_recharge(facts: Facts) -> list[Finding]:
    """A flat battery is back at 80 % in the hours asked for, and full in about two days."""
    found = []
    for item in facts.standby:
        limit, hours = item.requirement.recharge_h, item.recharge.to_80_pct_h
        figure = recharge_figure(facts.job, item)
        if limit is not None and hours > limit:
            found.append(_slow(facts, item, figure, limit))
        elif item.recharge.to_full_h > TROUBLE_MAY_LAST_H:
            full = "never" if math.isinf(item.recharge.to_full_h) else f"after {item.recharge.to_full_h:.0f} h"
            found.append(
                Finding(
                    code="recharge-past-two-days",
                    severity=Severity.NOTE,
                    subject=f"equipment/{item.supply}/battery",
                    sentence=f"From flat, the battery of {label_of(facts.job, item.supply)} is full {full}; "
                    f"a low-battery trouble usually clears within {TROUBLE_MAY_LAST_H:.0f} h.",
                    remedy="Expect the trouble to stand longer after a long mains failure, or fit a charger with more current.",
                    source="practice",
                    figures=(figure,),
                )
            )
    return found


def _slow(facts: Facts, item: StandbyForecast, figure: Figure, limit: float) -> Finding:
    source, hours = item.requirement.recharge_source, item.recharge.to_80_pct_h
    never = math.isinf(hours)
    words = "never comes back to 80 %" if never else f"takes {figure} to 80 %"
    need = bulk_current_a(item.fitted_ah, limit, return_factor=DEFAULT_RETURN_FACTOR)
    return Finding(
        code="recharge-too-slow",
        severity=severity_by(source),
        subject=f"equipment/{item.supply}/battery",
        sentence=f"From flat, the battery of {label_of(facts.job, item.supply)} {words}; {marked(f'{limit:g} h are allowed', source)}.",
        remedy=f"It needs about {need:.2f} A for charging beyond the load and gets {item.charge_a:.2f} A: take load off this supply, "
        "or fit one with a stronger charger.",
        clause="recharge to 80 %",
        source=source,
        figures=(figure,),
    )


def check_battery_condition(facts: Facts) -> list[Finding]:
    """A battery measured below 80 % is replaced, and one kept too hot or too cold is outside every table."""
    found = []
    low, high = TEMPERATURE_RANGE_C
    for name, item, _, _ in _pairs(facts):
        fitted = item.battery
        assert fitted is not None
        label, subject = label_of(facts.job, name), f"equipment/{name}/battery"
        measured = fitted.measured_capacity_pct
        if measured is not None and measured < END_OF_LIFE_FRACTION * 100:
            found.append(
                Finding(
                    code="battery-worn",
                    severity=Severity.SHOULD,
                    subject=subject,
                    sentence=f"The battery of {label} gave {measured:.0f} % of its rating when it was tested.",
                    remedy=f"Replace a battery below {END_OF_LIFE_FRACTION:.0%} of its rating.",
                    source="end-of-life",
                )
            )
        if not low <= fitted.temperature_c <= high:
            found.append(
                Finding(
                    code="battery-temperature",
                    severity=Severity.NOTE,
                    subject=subject,
                    sentence=f"The battery of {label} stands at {fitted.temperature_c:.0f} °C; the temperature factor is known "
                    f"from {low:.0f} to {high:.0f} °C and taken at the end of that range.",
                    remedy="Move the box to a place that is neither cold nor hot, or measure the battery's capacity as it stands.",
                    source="ieee-485-fit",
                )
            )
    return found


def _pairs(facts: Facts) -> list[tuple[str, Equipment, SupplySheet, BatterySheet]]:
    """Return every supply that has a battery, with both sheets."""
    out = []
    for name, item in facts.job.equipment.items():
        supply = facts.job.sheet_of(name).supply
        if item.battery is not None and supply is not None:
            out.append((name, item, supply, facts.job.sheets.batteries[item.battery.sheet]))
    return out


def _count(item: Equipment) -> int:
    return item.battery.parallel if item.battery is not None else 1
