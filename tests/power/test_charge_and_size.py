"""Chargers by kind, what their workings admit, and capacity by the firm's own rule."""

from __future__ import annotations

import math

import pytest

from loopwright.power import charge, sizing
from loopwright.power.charge import Charger, ChargerKind, recharge
from loopwright.power.sizing import AGED, FORMULAS, custom, required_capacity_ah


def hours_to_80(charger: Charger, *, spare_a: float = 1.0) -> float:
    return recharge(charger, capacity_ah=7, spare_a=spare_a, internal_ohm=0.02).to_80_pct_h


def test_no_charger_never_charges() -> None:
    assert math.isinf(hours_to_80(Charger(kind=ChargerKind.NONE)))


def test_no_spare_current_never_charges() -> None:
    assert math.isinf(hours_to_80(Charger(kind=ChargerKind.CONSTANT_VOLTAGE, charge_v=13.7), spare_a=-0.1))


def test_volts_below_the_batterys_own_never_fill_it() -> None:
    assert math.isinf(hours_to_80(Charger(kind=ChargerKind.CONSTANT_VOLTAGE, charge_v=12.3)))


def test_a_resistor_charges_slower_the_fuller_the_battery() -> None:
    """13.7 V through 4.7 ohm into 11.82 V starts at 0.4 A, and takes longer than a steady 0.4 A would."""
    resistor = Charger(kind=ChargerKind.RESISTOR, charge_v=13.7, series_ohm=4.7)
    found = recharge(resistor, capacity_ah=7, spare_a=1.0, internal_ohm=0.02)
    assert found.initial_a == pytest.approx((13.7 - 11.82) / 4.72, rel=1e-6)
    assert found.to_80_pct_h > 1.2 * 0.8 * 7 / found.initial_a


def test_the_supply_cannot_give_more_than_it_has_to_spare() -> None:
    limited = Charger(kind=ChargerKind.CURRENT_LIMITED, charge_v=13.7, limit_a=0.7)
    assert hours_to_80(limited, spare_a=0.2) == pytest.approx(1.2 * 0.8 * 7 / 0.2, rel=1e-3)


def test_a_battery_over_80_pct_has_no_hours_to_80_pct() -> None:
    limited = Charger(kind=ChargerKind.CURRENT_LIMITED, charge_v=13.7, limit_a=0.7)
    assert recharge(limited, capacity_ah=7, spare_a=1.0, internal_ohm=0.02, from_charge=0.9).to_80_pct_h == 0.0


@pytest.mark.parametrize("kind", [ChargerKind.CURRENT_LIMITED, ChargerKind.RESISTOR, ChargerKind.CONSTANT_VOLTAGE])
def test_a_charger_lacking_what_its_kind_needs_is_refused(kind: ChargerKind) -> None:
    with pytest.raises(ValueError, match="charger"):
        Charger(kind=kind, charge_v=0.0 if kind is ChargerKind.CONSTANT_VOLTAGE else 13.7)


def test_c20_the_return_factor_shows_as_a_default() -> None:
    found = recharge(Charger(kind=ChargerKind.CURRENT_LIMITED, charge_v=13.7, limit_a=0.35), capacity_ah=7, spare_a=1, internal_ohm=0.02)
    shown = charge.working_to_80_pct(7, charging_a=0.35, found=found, return_factor=charge.DEFAULT_RETURN_FACTOR)
    assert shown.rests_on_defaults
    assert shown.result == "19.2 h"
    assert not charge.working_to_80_pct(7, charging_a=0.35, found=found, return_factor=1.1, confirmed=True).rests_on_defaults


def test_hours_by_grade_with_ageing() -> None:
    """12 h at 0.3 A, met until the battery is down to 80 %: 4.5 Ah. The firm's own factor of 1.25 comes to the same."""
    load = {"standby_a": 0.3, "standby_h": 12.0, "alarm_a": 0.0, "alarm_h": 0.0}
    assert required_capacity_ah(**load, formula=AGED) == pytest.approx(4.5)
    assert required_capacity_ah(**load, formula=custom(1.25)) == pytest.approx(4.5)
    assert required_capacity_ah(**load, formula=custom(1.25, by_temperature=True), temperature_c=0) > 6


def test_a_working_names_what_it_rests_on() -> None:
    shown = sizing.working(standby_a=0.21, standby_h=24, alarm_a=1.1, alarm_h=4 / 60, formula=FORMULAS["household"])
    assert shown.result == "6.14 Ah"
    assert "from memory" in shown.notes[0]
    assert sizing.working(standby_a=0.3, standby_h=12, alarm_a=0, alarm_h=0, formula=AGED).notes == ()


def test_no_life_safety_formula_can_bind() -> None:
    assert not any(formula.binding for formula in FORMULAS.values() if formula.life_safety)
    assert sum(formula.life_safety for formula in FORMULAS.values()) == 3
