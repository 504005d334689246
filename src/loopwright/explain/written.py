"""A reading as a person writes it down, and what its digits stand for."""

from __future__ import annotations

import math
import re

import numpy as np

from loopwright.explain.meter import Instrument, Shown
from loopwright.job.quantity import parse_quantity

OVER_RANGE = frozenset({"ol", "o.l", "o.l.", "over range", "overrange", "over load", "overload", "open", "open circuit", "infinite", "∞"})
ABOUT = re.compile(r"(?:about|around|roughly|some|approx\.?|ca\.?|~)\s*", re.IGNORECASE)
ABOUT_SHARE = 0.05
"""What "about" leaves open to either side (judgement)."""
KIND_OF_CURRENT = re.compile(r"\s*\b(?:dc|ac)$", re.IGNORECASE)
NUMBER = re.compile(r"[+-]?(\d*)(?:\.(\d*))?")
CODE = re.compile(r"(\d*)[kKMRrG](\d*)\s*(?:Ω|ohms?)?")
UNITS = ("Ω", "V", "A", "nF")
LARGEST = {"Ω": 1e9, "V": 2000.0, "A": 1000.0, "nF": 1e8}
"""No meter a technician carries shows more than this of each unit (common practice, no source): it is a slip, or over range."""
EXAMPLES = "2.72 kΩ, 2k72, 13.2 V, 230 mA, 4.7 nF, OL, about 2.7 kΩ"


class Unreadable(ValueError):
    """The text is no reading; the message says why and what would be."""


def shown_of(text: str, meter: Instrument) -> Shown:
    """Return what a display showed, from the text of a reading. Over range is ohms.

    Raises Unreadable, with a sentence, for a text without a unit, an unknown one, ohms below naught, or more than a meter shows.

    >>> round(shown_of("2.72 kΩ", Instrument()).half, 6), shown_of("OL", Instrument()).over_range
    (5.0, True)
    """
    written = KIND_OF_CURRENT.sub("", " ".join(text.split()))
    if written.lower() in OVER_RANGE:
        return Shown(value=math.inf, half=0.0, unit="Ω")
    about = ABOUT.match(written)
    plain = written[about.end() :] if about else written
    if re.fullmatch(r"[+-]?\d*\.?\d*", plain) and plain:
        raise Unreadable(f"'{text}' has no unit: write {plain} V, {plain} Ω, {plain} kΩ or {plain} mA.")
    for unit in UNITS:
        try:
            value = parse_quantity(plain, unit)
        except ValueError:
            continue
        if unit == "Ω" and value < 0:
            raise Unreadable(
                f"'{text}' is below naught, which no resistance is: there were volts on the pair. Read the volts of the lifted pair first."
            )
        if abs(value) > LARGEST[unit]:
            raise Unreadable(f"'{text}' is more than a meter shows. Write OL where it was over range; look at the unit where it was not.")
        half = max(_half_digit(plain, value), float(meter.step(np.array(value), unit)) / 2)
        return Shown(value=value, half=max(half, abs(value) * ABOUT_SHARE) if about else half, unit=unit)
    raise Unreadable(f"'{text}' is not a reading that can be used here: write for example {EXAMPLES}.")


def _half_digit(text: str, value: float) -> float:
    """Return half of what the last written digit is worth."""
    code = CODE.fullmatch(text)
    if code:
        mantissa, places = float(f"{code[1] or 0}.{code[2] or 0}"), len(code[2])
    else:
        number = NUMBER.match(text)
        places = len(number[2] or "") if number else 0
        mantissa = abs(float(number[0])) if number and number[0] not in ("", "+", "-", ".") else 0.0
    scale = abs(value) / mantissa if mantissa > 0 else 1.0
    return 0.5 * 10.0**-places * scale
