"""Quantities as people write them: ``150 ft``, ``2k2``, ``750 mA``, ``22 AWG``, ``7/0.2``."""

from __future__ import annotations

import math
import re
from functools import lru_cache

from loopwright.job.document import UnitSystem
from loopwright.job.field import Gauge, Quantity
from loopwright.job.unit import EXAMPLES, FOOT_M, KFT_PER_KM, worth_of

_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_WITH_UNIT = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*([^\s\d:,._].*)", re.ASCII | re.DOTALL)
_COMMA = re.compile(r"([+-]?\d+),(\d+)(.*)", re.ASCII | re.DOTALL)
_CODE = re.compile(r"(\d*)([A-Za-zµμ])(\d*)", re.ASCII)
_FEET_INCHES = re.compile(r"(\d+)\s*(?:ft|'|\u2032)\s*(\d+(?:\.\d+)?)\s*(?:in|\"|\u2033)", re.ASCII)
_AWG = re.compile(r"(?:(\d{1,2})\s*AWG|AWG\s*(\d{1,2}))", re.ASCII | re.IGNORECASE)
_STRANDS = re.compile(r"(\d{1,3})\s*[/x×]\s*(\d*\.\d+)(?:\s*mm)?", re.ASCII)
_AREA = re.compile(r"(\d+(?:\.\d+)?|\.\d+)\s*(?:mm²|mm2|mm\^2|sq\.?\s?mm)", re.ASCII)

# The letter stands where the decimal point would (IEC 60062:2016, clause 4). Small k and r are not in the standard but on every bench.
_CODES = {
    "Ω": {"L": 1e-3, "R": 1.0, "r": 1.0, "K": 1e3, "k": 1e3, "M": 1e6, "G": 1e9},
    "nF": {"p": 1e-3, "n": 1.0, "µ": 1e3, "μ": 1e3, "u": 1e3},
}
LONGEST = 60
GAUGE_LOW_MM2, GAUGE_HIGH_MM2 = 0.01, 50.0
AWG_LOW, AWG_HIGH = 4, 40


@lru_cache(maxsize=4096)
def parse_quantity(text: str, unit: str) -> float:
    """Return the number, in ``unit``, that the text stands for; a number without a unit is taken to be in ``unit``.

    Raises ValueError, with a message that shows what would be accepted.

    >>> parse_quantity("150 ft", "m"), parse_quantity("2k2", "Ω"), parse_quantity("750 mA", "A")
    (45.72, 2200.0, 0.75)
    """
    written = text.strip()
    if len(written) <= LONGEST:
        value = float(written) if _PLAIN.fullmatch(written) else _special(written, unit)
        if value is None:
            value = _with_unit(written, unit)
        if value is not None and math.isfinite(value):
            return value
    raise ValueError(_refusal(written, unit))


def _special(written: str, unit: str) -> float | None:
    """Return the value of a resistor or capacitor code, or of feet and inches, or None."""
    if unit in _CODES:
        code = _CODE.fullmatch(written)
        if code and (code[1] or code[3]) and code[2] in _CODES[unit]:
            return float(f"{code[1] or 0}.{code[3] or 0}") * _CODES[unit][code[2]]
    elif unit == "m":
        feet = _FEET_INCHES.fullmatch(written)
        if feet:
            return float(feet[1]) * FOOT_M + float(feet[2]) * FOOT_M / 12
    return None


def _with_unit(written: str, unit: str) -> float | None:
    parts = _WITH_UNIT.fullmatch(written)
    worth = worth_of(parts[2], unit) if parts else None
    return None if parts is None or worth is None else _tidy(float(parts[1]) * worth[0] + worth[1])


def _tidy(value: float) -> float:
    """Return the value without the dust of a conversion (5.6 k is 5600, not 5599.999...)."""
    return float(f"{value:.12g}")


def _refusal(written: str, unit: str) -> str:
    shown = written if len(written) <= LONGEST else written[:45] + "..."
    comma = _COMMA.fullmatch(shown) if shown.count(",") == 1 else None
    accepted = f"write for example {EXAMPLES[unit]}"
    if comma and len(comma[2]) == 3:
        return f"'{shown}' has a comma, which may mean two things: write {comma[1]}.{comma[2]}{comma[3]} or {comma[1]}{comma[2]}{comma[3]}"
    if comma:
        return f"'{shown}' has a decimal comma: write {comma[1]}.{comma[2]}{comma[3]}"
    if "_" in shown:
        return f"'{shown}' has an underscore in it: write {shown.replace('_', '')}"
    parts = _WITH_UNIT.fullmatch(shown)
    if _PLAIN.fullmatch(shown):
        return f"'{shown}' is too large a number: {accepted}"
    if parts:
        kind = f"in {unit}" if unit else "a plain number"
        return f"'{parts[2]}' is not a unit that can stand here ({kind}): {accepted}"
    return f"'{shown}' is not a number: {accepted}"


def awg_area_mm2(awg: int) -> float:
    """Return the copper area of an American Wire Gauge size.

    Equation: d = 0.127 mm × 92^((36 − n) / 39), A = π d² / 4

    Args:
        awg: gauge number n, 4 to 40 here.

    Returns:
        Area [mm²].

    >>> round(awg_area_mm2(22), 3), round(awg_area_mm2(18), 3)
    (0.326, 0.823)

    Source: ASTM B258, the geometric law of the gauge.
    """
    diameter_mm: float = 0.127 * 92 ** ((36 - awg) / 39)
    return math.pi / 4 * diameter_mm**2


def parse_gauge(text: str) -> Gauge:
    """Return the conductor size that the text stands for. Raises ValueError, with a message that shows what would be accepted.

    >>> parse_gauge("7/0.2")
    Gauge(area_mm2=0.22, awg=None)
    """
    written = text.strip()
    gauge = _gauge(written) if len(written) <= LONGEST else None
    if gauge is None:
        raise ValueError(_gauge_refusal(written[:45]))
    if not GAUGE_LOW_MM2 <= gauge.area_mm2 <= GAUGE_HIGH_MM2:
        raise ValueError(f"'{written}' is not the size of a core in alarm cable: write for example {EXAMPLES['mm²']}")
    return gauge


def _gauge(written: str) -> Gauge | None:
    awg = _AWG.fullmatch(written)
    if awg:
        number = int(awg[1] or awg[2])
        return Gauge(awg_area_mm2(number), number) if AWG_LOW <= number <= AWG_HIGH else Gauge(0.0, number)
    strands = _STRANDS.fullmatch(written)
    if strands:
        # Three figures: the diameter is printed with one or two, so that 7/0.2 is sold as 0.22 mm².
        return Gauge(float(f"{int(strands[1]) * math.pi / 4 * float(strands[2]) ** 2:.3g}"))
    area = _AREA.fullmatch(written)
    return Gauge(float(area[1])) if area else None


def _gauge_refusal(shown: str) -> str:
    if _PLAIN.fullmatch(shown):
        return f"'{shown}' may be mm² or AWG: write {shown} mm² or {shown} AWG"
    comma = _COMMA.fullmatch(shown) if shown.count(",") == 1 else None
    if comma:
        return f"'{shown}' has a decimal comma: write {comma[1]}.{comma[2]}{comma[3]}"
    return f"'{shown}' is not a conductor size: write for example {EXAMPLES['mm²']}"


_US = {"m": (1 / FOOT_M, 0.0, "ft"), "°C": (1.8, 32.0, "°F"), "Ω/km": (1 / KFT_PER_KM, 0.0, "Ω/kft"), "pF/m": (FOOT_M, 0.0, "pF/ft")}
_STEPS = {
    "Ω": ((1e6, "MΩ"), (1e3, "kΩ"), (1.0, "Ω"), (1e-3, "mΩ")),
    "A": ((1.0, "A"), (1e-3, "mA"), (1e-6, "µA")),
    "nF": ((1e3, "µF"), (1.0, "nF"), (1e-3, "pF")),
}


def show_quantity(value: float, unit: str, system: UnitSystem = UnitSystem.METRIC) -> str:
    """Return the quantity, kept in ``unit``, as people of one system read it, to four figures.

    >>> show_quantity(45.72, "m", UnitSystem.US), show_quantity(5600.0, "Ω"), show_quantity(20.0, "°C", UnitSystem.US)
    ('150 ft', '5.6 kΩ', '68 °F')
    """
    if system is UnitSystem.US and unit in _US:
        factor, offset, unit = _US[unit]
        value = value * factor + offset
    for step, name in _STEPS.get(unit, ()):
        if abs(value) >= step:
            value, unit = value / step, name
            break
    figures = f"{value:.4g}" if abs(value) < 10000 else f"{value:.0f}"
    return f"{figures} {unit}".strip()


def bounds(quantity: Quantity) -> str:
    """Return the bounds of a quantity in words."""
    return f"{show_quantity(quantity.low, quantity.unit)} to {show_quantity(quantity.high, quantity.unit)}"


def show_gauge(gauge: Gauge, system: UnitSystem = UnitSystem.METRIC) -> str:
    """Return the conductor size as people of one system read it; a metric size in AWG is the nearest one, marked as such.

    >>> show_gauge(Gauge(0.22), UnitSystem.US), show_gauge(Gauge(0.326, 22))
    ('about 24 AWG', '0.326 mm²')
    """
    if system is UnitSystem.METRIC:
        return f"{gauge.area_mm2:.3g} mm²"
    if gauge.awg is not None:
        return f"{gauge.awg} AWG"
    diameter_mm = math.sqrt(gauge.area_mm2 * 4 / math.pi)
    return f"about {round(36 - 39 * math.log(diameter_mm / 0.127, 92))} AWG"
