"""Quantities as people write them; the table of units is held against pint, a general units library (test only)."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from loopwright.job.document import UnitSystem
from loopwright.job.field import Gauge
from loopwright.job.quantity import awg_area_mm2, parse_gauge, parse_quantity, show_gauge, show_quantity
from loopwright.job.unit import FOLDED, UNITS, worth_of

PINT_NAMES = {
    "Ω": "ohm", "ohms": "ohm", "R": "ohm", "kΩ": "kiloohm", "MΩ": "megaohm", "mΩ": "milliohm", "k": "kiloohm", "M": "megaohm",
    "kohm": "kiloohm", "kohms": "kiloohm", "Mohm": "megaohm", "mohm": "milliohm", "amps": "ampere", "amp": "ampere",
    "'": "foot", '"': "inch", "in": "inch", "ft": "foot", "yd": "yard", "kft": "kilofoot", "sec": "second", "hr": "hour", "d": "day",
    "°C": "degC", "C": "degC", "°F": "degF", "F": "degF", "%": "percent", "100m": "hectometer", "1000ft": "kilofoot", "100ft": "hectofoot",
    "Ah": "ampere_hour", "mAh": "milliampere_hour", "VA": "volt_ampere", "kVA": "kilovolt_ampere",
    "": "dimensionless", "uA": "µA", "uF": "µF", "dB(A)": "decibel", "dBA": "decibel", "dB": "decibel",
}  # fmt: skip


@cache
def _registry() -> Any:
    import pint  # a second, which whoever runs other tests need not wait for

    made = pint.UnitRegistry()
    made.define("volt_ampere = volt * ampere")
    return made


def _pint(name: str) -> Any:
    top, slash, bottom = name.partition("/")
    unit = _registry().Unit(PINT_NAMES.get(top, top))
    return unit / _registry().Unit(PINT_NAMES.get(bottom, bottom)) if slash else unit


ROWS = [(kept, name) for kept, table in UNITS.items() for name in table]


@pytest.mark.parametrize(("kept", "name"), ROWS)
def test_every_unit_is_worth_what_a_units_library_says(kept: str, name: str) -> None:
    worth = worth_of(name, kept)
    assert worth is not None
    for number in (0.0, 1.0, 37.5):
        expected = _registry().Quantity(number, _pint(name)).to(_pint(kept)).magnitude
        assert number * worth[0] + worth[1] == pytest.approx(expected, rel=1e-12, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("12.5", "m", 12.5), ("150 ft", "m", 45.72), ("18 m", "m", 18), ("45 cm", "m", 0.45), ("150ft", "m", 45.72), ("12' 6\"", "m", 3.81),
        ("12 ft 6 in", "m", 3.81), ("5.6 kΩ", "Ω", 5600), ("5.6k", "Ω", 5600), ("5.6 K", "Ω", 5600),
        ("1M", "Ω", 1e6), ("470 ohm", "Ω", 470),
        ("470 \u2126", "Ω", 470), ("750 mA", "A", 0.75), ("7 Ah", "Ah", 7), ("30 s", "s", 30), ("2 min", "s", 120), ("2 min", "min", 2),
        ("90 min", "h", 1.5), ("68 °F", "°C", 20), ("-40 F", "°C", -40), ("1.5 nF", "nF", 1.5), ("4n7", "nF", 4.7), ("0.1 µF", "nF", 100),
        ("0.1 \u03bcF", "nF", 100), ("100 pF/m", "pF/m", 100), ("25 Ω/km", "Ω/km", 25), ("25.7 ohm/kft", "Ω/km", 84.317585),
        ("85 %", "%", 85),
        ("80 %", "", 0.8), ("010", "m", 10), (" 5 ", "V", 5), ("1e3", "Ω", 1000), (".5", "A", 0.5), ("50 HZ", "Hz", 50),
    ],
)  # fmt: skip
def test_what_people_write_is_read(text: str, unit: str, value: float) -> None:
    assert parse_quantity(text, unit) == pytest.approx(value, rel=1e-7)


@pytest.mark.parametrize(
    ("code", "ohm"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470),
        ("4K7", 4700),
        ("47K", 47000),
        ("2k2", 2200),
        ("1M", 1e6),
        ("3M32", 3.32e6),
        ("10L", 0.01),
    ],
)
def test_resistor_codes(code: str, ohm: float) -> None:
    """IEC 60062, letter and digit code (examples of its form from memory)."""
    assert parse_quantity(code, "Ω") == pytest.approx(ohm, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit", "says"),
    [
        ("5,6 kΩ", "Ω", "write 5.6 kΩ"),
        ("1,000", "m", "write 1.000 or 1000"),
        ("1_000", "m", "write 1000"),
        ("12:30", "s", "not a number"),
        ("nan", "V", "not a number"),
        ("inf", "V", "not a number"),
        ("1e400", "V", "too large a number"),
        ("0x10", "", "not a unit"),
        ("18 kg", "m", "'kg' is not a unit"),
        ("18 kg", "m", "150 ft"),
        ("5 m", "Ω", "'m' is not a unit"),
        ("5 MOHM", "Ω", "'MOHM' is not a unit"),
        ("", "Ω", "not a number"),
        ("1" * 90, "Ω", "not a number"),
        ("٥", "m", "not a number"),
    ],
)
def test_what_is_not_a_quantity_is_refused_with_what_would_be(text: str, unit: str, says: str) -> None:
    with pytest.raises(ValueError, match="write") as refused:
        parse_quantity(text, unit)
    assert says in str(refused.value)


def test_capitals_do_not_matter_where_they_cannot_mislead() -> None:
    assert parse_quantity("10 FT", "m") == parse_quantity("10 ft", "m")
    assert "m" not in FOLDED["Ω"]
    assert "mω" not in FOLDED["Ω"]


@pytest.mark.parametrize(
    ("text", "gauge"),
    [
        ("22 AWG", Gauge(awg_area_mm2(22), 22)), ("22awg", Gauge(awg_area_mm2(22), 22)), ("AWG 18", Gauge(awg_area_mm2(18), 18)),
        ("0.22 mm²", Gauge(0.22)), ("0.22 mm2", Gauge(0.22)), ("0.5mm²", Gauge(0.5)), ("7/0.2", Gauge(0.22)), ("7/0.2 mm", Gauge(0.22)),
    ],
)  # fmt: skip
def test_conductor_sizes(text: str, gauge: Gauge) -> None:
    assert parse_gauge(text) == gauge


@pytest.mark.parametrize("text", ["0.22", "22", "0,22 mm²", "60 AWG", "0 mm²", "900 mm²", "22/4", "thick", "", "7/0.2/1", "00 AWG"])
def test_what_is_not_a_conductor_size_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="write"):
        parse_gauge(text)


@pytest.mark.parametrize(("awg", "diameter_in"), [(24, 0.0201)])
def test_awg_by_a_published_table(awg: int, diameter_in: float) -> None:
    """AWG wire table, hyperphysics.phy-astr.gsu.edu/hbase/Tables/wirega.html: diameter of AWG 24."""
    assert (awg_area_mm2(awg) * 4 / 3.141592653589793) ** 0.5 / 25.4 == pytest.approx(diameter_in, abs=0.00005)


def test_quantities_are_shown_in_the_units_of_the_reader() -> None:
    assert show_quantity(45.72, "m", UnitSystem.US) == "150 ft"
    assert show_quantity(20, "°C", UnitSystem.US) == "68 °F"
    assert show_quantity(0.75, "A") == "750 mA"
    assert show_quantity(0, "A") == "0 A"
    assert show_quantity(84.317585, "Ω/km", UnitSystem.US) == "25.7 Ω/kft"
    assert show_quantity(0.8, "") == "0.8"
    assert show_gauge(Gauge(0.326, 22), UnitSystem.US) == "22 AWG"
    assert show_gauge(Gauge(awg_area_mm2(18)), UnitSystem.US) == "about 18 AWG"


@pytest.mark.parametrize(
    ("value", "unit"), [(5600.0, "Ω"), (0.75, "A"), (45.72, "m"), (20.5, "°C"), (4.7, "nF"), (91.5, "Ω/km"), (66.0, "pF/m")]
)
@pytest.mark.parametrize("system", UnitSystem)
def test_what_is_shown_can_be_typed_back(value: float, unit: str, system: UnitSystem) -> None:
    assert parse_quantity(show_quantity(value, unit, system), unit) == pytest.approx(value, rel=5e-4)
