"""The visible list of checks, and the one loop that runs them."""

from __future__ import annotations

from collections.abc import Callable

from loopwright.rules import (
    allowed,
    battery,
    bus,
    cable,
    charging,
    circuit,
    code,
    contradiction,
    feed,
    load,
    output,
    programme,
    reading,
    report,
    scope,
    supply,
    switched,
    timing,
    walk,
    way,
)  # fmt: skip
from loopwright.rules.facts import Facts
from loopwright.values.finding import Finding, Severity

Check = Callable[[Facts], list[Finding]]

CHECKS: tuple[Check, ...] = (
    supply.check_device_volts,
    supply.check_device_volts_high,
    supply.check_collapse,
    load.check_output_load,
    load.check_supply_load,
    load.check_charge_left,
    load.check_transformer,
    feed.check_fed,
    feed.check_feeds_arrive,
    feed.check_common_zero,
    battery.check_standby_asked,
    battery.check_capacity,
    battery.check_first_to_stop,
    charging.check_battery_fitted,
    charging.check_battery_size,
    charging.check_charge_current,
    charging.check_recharge,
    charging.check_battery_condition,
    output.check_supervision,
    circuit.check_landed,
    way.check_ways,
    way.check_contacts_shared,
    circuit.check_resistors,
    circuit.check_end_resistor_place,
    circuit.check_contacts,
    circuit.check_wiring,
    reading.check_readings,
    reading.check_several_devices,
    cable.check_cores,
    bus.check_addresses,
    bus.check_bus_length,
    bus.check_bus_capacitance,
    bus.check_bus_shape,
    bus.check_bus_zero,
    programme.check_zones,
    programme.check_responses,
    programme.check_areas,
    programme.check_reports,
    programme.check_common_areas,
    programme.check_factory_codes,
    contradiction.check_response_words,
    contradiction.check_exit_time_there,
    contradiction.check_shared_areas,
    contradiction.check_rights,
    walk.check_walks_known,
    walk.check_entry_doors,
    walk.check_walks_tolerated,
    walk.check_walks_in_time,
    report.check_silent_events,
    report.check_unprotected,
    switched.check_output_rules,
    switched.check_outputs_reach,
    switched.check_outputs_bear,
    timing.check_area_times,
    timing.check_programme_times,
    allowed.check_ranges,
    allowed.check_choices,
    scope.check_ruleset,
    scope.check_grades,
    scope.check_life_safety,
)

CODE_CHECKS: tuple[Check, ...] = (
    code.check_code_length,
    code.check_codes_as_delivered,
    code.check_codes_guessed,
    code.check_codes_alike,
    code.check_duress_codes,
    code.check_duress_there,
)
"""Checks on facts of the codes, which are known only while the vault is open. What these find is private."""

_ORDER = {Severity.MUST: 0, Severity.SHOULD: 1, Severity.GAP: 2, Severity.NOTE: 3}


def run_checks(facts: Facts, checks: tuple[Check, ...] = CHECKS) -> tuple[Finding, ...]:
    """Return the findings of every check, most binding first, in the order of the list within a severity."""
    found = [finding for check in checks for finding in check(facts)]
    return tuple(sorted(found, key=lambda finding: _ORDER[finding.severity]))
