"""Amounts written as the reading beside them was, so that one line holds one way of writing: kΩ beside kΩ, mA beside mA."""

from __future__ import annotations

import math
import re
from decimal import Decimal

from loopwright.prove.item import Bound, Item
from loopwright.values.figure import show

_KILO = re.compile(r"(?:^|[\d\s])[kK]")
_MILLI = re.compile(r"(?:^|[\d\s])mA")
_MINUTES = re.compile(r"\bmin\b|\dmin\b")
_PLAIN = re.compile(r"(-?\d+(?:\.\d+)?) ?(k?)Ω|(-?\d+(?:\.\d+)?) ?(m?)A")
KILO_OHM = 1000.0


def usual_unit(item: Item) -> str:
    """Return the unit a reading is usually typed in: kΩ where a kilohm or more is forecast."""
    target = item.target
    kilo = item.unit == "Ω" and target is not None and KILO_OHM <= target.value < math.inf
    return "kΩ" if kilo else "" if item.unit == "dB" else item.unit


def beside(item: Item, reading: str) -> str:
    """Return what the other amounts of a line are written like: its reading, the usual unit where that has none."""
    return reading if any(letter.isdigit() for letter in reading) else usual_unit(item)


def amount(value: float, unit: str, like: str = "") -> str:
    """Return an amount [unit] written like a reading or a unit, with as many digits as it has by itself.

    >>> amount(2703.0, "Ω", "2.71 kΩ"), amount(2703.0, "Ω", "2703 Ω"), amount(0.757, "A", "761 mA"), amount(178.0, "s", "2 min 50 s")
    ('2.703 kΩ', '2703 Ω', '757 mA', '2 min 58 s')
    """
    if not math.isfinite(value):
        return show(value, unit)
    if unit == "Ω" and _KILO.search(like):
        return f"{value / 1000:.3f} kΩ"
    if unit == "A" and _MILLI.search(like):
        return f"{value * 1000:.0f} mA"
    if unit == "s" and _MINUTES.search(like):
        minutes, seconds = divmod(round(value), 60)
        return " ".join(f"{number} {word}" for number, word in ((minutes, "min"), (seconds, "s")) if number) or "0 s"
    return show(value, unit)


def asked(bound: Bound, like: str) -> str:
    """Return what a rule asks for, written like the reading beside it.

    >>> bound = Bound(least=90.0, most=None, unit="s", words="")
    >>> asked(bound, "2 min 58 s"), asked(bound, "95 s")
    ('at least 1 min 30 s', 'at least 90 s')
    """
    if bound.unit != "s" or not _MINUTES.search(like):
        return bound.asked
    ends = (("at least", bound.least), ("at most", bound.most))
    return " and ".join(f"{word} {amount(end, 's', like)}" for word, end in ends if end is not None)


def rewritten(text: str, like: str) -> str:
    """Return an earlier reading with its point moved to where the one beside it has it; as it stands where it is neither Ω nor A.

    >>> rewritten("2703 Ω", "2.71 kΩ"), rewritten("2.70 kΩ", "2711 Ω"), rewritten("OL", "2711 Ω"), rewritten("0.757 A", "761 mA")
    ('2.703 kΩ', '2700 Ω', 'OL', '757 mA')
    """
    found = _PLAIN.fullmatch(text.strip())
    if found is None or not any(letter.isdigit() for letter in like):
        return text
    if found[1]:
        number, prefix, unit, wanted = found[1], found[2], "Ω", "k" if _KILO.search(like) else ""
    else:
        number, prefix, unit, wanted = found[3], found[4], "A", "m" if _MILLI.search(like) else ""
    if prefix == wanted:
        return text
    # From kΩ to Ω and from A to mA the number grows.
    places = 3 if (prefix, wanted) in (("k", ""), ("", "m")) else -3
    return f"{Decimal(number).scaleb(places):f} {wanted}{unit}"
