"""Resistors by their preferred numbers, colour bands and letter notation.

Sources: IEC 60063 for the series, IEC 60062 for colours and letters, both as seen in published tables. Editions of
IEC 60062 disagree on the tolerance colours orange, yellow and grey, so those three are neither given nor read.
"""

from __future__ import annotations

import math
from enum import IntEnum
from functools import cache

_E24_BY_HISTORY = {26: 27, 29: 30, 32: 33, 35: 36, 38: 39, 42: 43, 46: 47, 83: 82}
"""Values of the 5 % series that were in use before the formula, and were kept (IEC 60063)."""

DIGIT_COLOURS = ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white")
_MULTIPLIER_COLOURS = {-2: "silver", -1: "gold", **dict(enumerate(DIGIT_COLOURS))}
TOLERANCE_COLOURS = {0.1: "violet", 0.25: "blue", 0.5: "green", 1.0: "brown", 2.0: "red", 5.0: "gold", 10.0: "silver"}
"""Colour of each tolerance [%] on which the editions of IEC 60062 agree."""


class Series(IntEnum):
    """A series of preferred numbers, named after how many stand in a decade."""

    E6 = 6
    E12 = 12
    E24 = 24
    E48 = 48
    E96 = 96

    @property
    def digits(self) -> int:
        """Return how many figures a value of the series has."""
        return 2 if self <= Series.E24 else 3


@cache
def series_values(series: Series) -> tuple[int, ...]:
    """Return one decade of a series as whole numbers of its figures.

    Equation: 10^(k / n) for k = 0 .. n - 1, rounded to two figures up to E24 and to three above; eight values of E24 (and
    with them E12 and E6, which are every second and fourth of it) were kept as they had been.

    >>> series_values(Series.E12)
    (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)

    Source: IEC 60063 (published list of E12 and E24 seen).
    """
    exact = [round(10 ** (series.digits - 1 + k / series)) for k in range(series)]
    if series.digits > 2:
        return tuple(exact)
    # Rounded on the 24 steps: E6 and E12 are picked out of E24, history included.
    return tuple(_E24_BY_HISTORY.get(value, value) for value in exact)


def is_preferred(ohm: float, series: Series) -> bool:
    """Return whether a resistance stands in a series, to one part in a million.

    >>> is_preferred(4700.0, Series.E12), is_preferred(5000.0, Series.E24)
    (True, False)
    """
    return math.isclose(ohm, nearest_preferred(ohm, series), rel_tol=1e-6)


def nearest_preferred(ohm: float, series: Series) -> float:
    """Return the value of a series that is nearest to a resistance, the greater of two equally near.

    Raises ValueError unless the resistance is above nought and finite.

    >>> nearest_preferred(5000.0, Series.E24)
    5100.0
    """
    if not 0 < ohm < math.inf:
        raise ValueError(f"{ohm} ohm has no preferred value")
    decade = math.floor(math.log10(ohm))
    candidates = [_scaled(value, power) for power in range(decade - series.digits, decade + 2) for value in series_values(series)]
    return min(candidates, key=lambda value: (abs(value - ohm), -value))


def colour_code(ohm: float, tolerance_pct: float, *, bands: int = 4) -> tuple[str, ...]:
    """Return the colour bands of a resistor, read from the end the tolerance band is not at.

    Args:
        ohm: the resistance, of no more figures than the bands can tell [ohm].
        tolerance_pct: one of 0.1, 0.25, 0.5, 1, 2, 5, 10 [%].
        bands: 4 (two figures) or 5 (three figures).

    Returns:
        Two or three figures, the multiplier, the tolerance.

    Valid: 0.1 ohm (4 bands) or 1 ohm (5 bands) up to 99 or 999 gigohm.

    Raises:
        ValueError: when the bands cannot tell the value, or the tolerance has no colour on which the editions agree.

    >>> colour_code(4700.0, 5.0)
    ('yellow', 'violet', 'red', 'gold')
    >>> colour_code(4700.0, 1.0, bands=5)
    ('yellow', 'violet', 'black', 'brown', 'brown')

    Source: IEC 60062.
    """
    if bands not in (4, 5):
        raise ValueError(f"{bands} bands: a resistor has 4 or 5")
    if tolerance_pct not in TOLERANCE_COLOURS:
        raise ValueError(f"no colour for {tolerance_pct} % on which the editions of IEC 60062 agree")
    figures, power = _figures(ohm, bands - 2)
    if power not in _MULTIPLIER_COLOURS:
        raise ValueError(f"{ohm} ohm is beyond the multiplier colours of {bands} bands")
    digits = (DIGIT_COLOURS[int(digit)] for digit in str(figures))
    return (*digits, _MULTIPLIER_COLOURS[power], TOLERANCE_COLOURS[tolerance_pct])


def read_colours(bands: tuple[str, ...]) -> tuple[float, float]:
    """Return the resistance [ohm] and tolerance [%] that four or five colour bands tell.

    Raises ValueError for a colour that says nothing, or nothing sure, in its place.

    >>> read_colours(("green", "blue", "red", "gold"))
    (5600.0, 5.0)
    """
    if len(bands) not in (4, 5):
        raise ValueError(f"{len(bands)} bands: a resistor has 4 or 5")
    *digits, multiplier, tolerance = bands
    try:
        figures = int("".join(str(DIGIT_COLOURS.index(colour)) for colour in digits))
        power = next(power for power, colour in _MULTIPLIER_COLOURS.items() if colour == multiplier)
        tolerance_pct = next(pct for pct, colour in TOLERANCE_COLOURS.items() if colour == tolerance)
    except (ValueError, StopIteration):
        raise ValueError(f"{', '.join(bands)}: a colour says nothing sure in its place") from None
    return _scaled(figures, power), tolerance_pct


def rkm(ohm: float) -> str:
    """Return a resistance as drawings write it: the letter stands where the decimal point would.

    Raises ValueError unless the resistance is from 1 milliohm to below 1 teraohm and of four figures or fewer.

    >>> rkm(2200), rkm(10_000), rkm(47), rkm(0.22), rkm(1_500_000)
    ('2k2', '10k', '47R', '0R22', '1M5')

    Source: IEC 60062, with the trade's small k.
    """
    if not 1e-3 <= ohm < 1e12:
        raise ValueError(f"{ohm} ohm has no letter")
    if not math.isclose(float(f"{ohm:.4g}"), ohm, rel_tol=1e-9):
        raise ValueError(f"{ohm} ohm has more figures than the notation is written with")
    step = max(0, math.floor(math.log10(float(f"{ohm:.4g}")) / 3))
    whole, _, fraction = f"{ohm / 1000**step:.4f}".partition(".")
    return f"{whole}{'RkMG'[step]}{fraction.rstrip('0')}"


def _scaled(figures: int, power: int) -> float:
    """Return figures times a power of ten, as the float a person who typed the value would get."""
    return float(f"{figures}e{power}")


def _figures(ohm: float, count: int) -> tuple[int, int]:
    """Return the value as ``count`` whole figures and a power of ten. Raises ValueError when it has more figures."""
    if not 0 < ohm < math.inf:
        raise ValueError(f"{ohm} ohm has no colour bands")
    mantissa, _, exponent = f"{ohm:.{count - 1}e}".partition("e")
    figures, power = int(mantissa.replace(".", "")), int(exponent) - count + 1
    if not math.isclose(_scaled(figures, power), ohm, rel_tol=1e-9):
        raise ValueError(f"{ohm} ohm has more than {count} figures")
    return figures, power
