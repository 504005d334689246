"""The meter: how sure its digits are, where its ranges end, and what mistakes people make with it.

A display shows digits, so a reading has a probability, not a density: that of the interval its last digit stands for, over range included.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.special import ndtr

from loopwright.explain.hypothesis import Floats

LEAST_STEP = {"Ω": 0.1, "V": 0.001, "A": 0.001, "nF": 0.01}
"""The last digit of the lowest range of a common hand-held meter [unit] (common practice, no source)."""
NEXT_TO_NOTHING = {"Ω": 1.0, "V": 0.1, "A": 0.005, "nF": 0.1}
"""Up to this [unit] a meter shows what is as good as nothing: leads, stray volts, its own last digits (judgement)."""
MOST_STEP = {"Ω": 1e4, "V": 0.1, "A": 0.01, "nF": 1e4}
"""The last digit of the highest range [unit]: 60 MΩ, 600 V, 60 A, 60 mF on a meter of 6000 counts."""
CAPACITANCE_PCT = 2.0
"""No hand-held meter reads capacitance better than this, per cent of the reading (common practice, no source)."""
LEADS_OHM = 0.2
"""What the leads add to ohms [Ω], zeroed or not (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Instrument:
    """A meter: ``accuracy_pct`` [%] of the reading and ``digits`` of the last place; ``counts`` is where a range ends."""

    name: str = ""
    accuracy_pct: float = 0.8
    digits: float = 3.0
    counts: float = 6000.0

    def step(self, value: Floats, unit: str) -> Floats:
        """Return the worth of the last digit [unit] in the range that ``value`` is shown in."""
        least, most = LEAST_STEP[unit], MOST_STEP[unit]
        with np.errstate(divide="ignore", invalid="ignore"):
            decade = np.ceil(np.log10(np.maximum(np.abs(value), 1e-300) / (self.counts * least)))
        return np.asarray(np.clip(least * 10.0 ** np.clip(np.nan_to_num(decade, posinf=99), 0, 99), least, most))

    def top(self, unit: str) -> float:
        """Return where the highest range ends [unit]: beyond it the meter shows over range."""
        return self.counts * MOST_STEP[unit]

    def spread(self, value: Floats, unit: str) -> Floats:
        """Return the spread [unit] of what is shown for ``value``: the stated bounds taken as the ends of a uniform one."""
        finite = np.where(np.isfinite(value), np.abs(value), 0.0)
        bound = finite * max(self.accuracy_pct, CAPACITANCE_PCT if unit == "nF" else 0.0) / 100
        return np.sqrt((bound**2 + (self.digits * self.step(finite, unit)) ** 2) / 3 + (LEADS_OHM**2 if unit == "Ω" else 0.0))


class Mistake(StrEnum):
    """What can go wrong with a measurement itself."""

    NONE = "measured as said"
    WIRE_IN = "a wire was still in its terminal"
    NO_CONTACT = "the tips did not touch"
    RANGE = "the range or the unit was misread"
    STRAY = "stray volts, or a digit misread"
    WORD = "the keypad was misread, or the wrong line was looked at"


METER_MISTAKES = {Mistake.WIRE_IN: 0.008, Mistake.NO_CONTACT: 0.003, Mistake.RANGE: 0.004, Mistake.STRAY: 0.005}
"""How often each happens, a reading (judgement; about one reading in fifty in all)."""
WORD_MISTAKE = 0.01
"""How often a word is told wrongly (judgement)."""
RANGE_FACTORS = (0.001, 0.1, 10.0, 1000.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Shown:
    """What a display showed: ``value`` [unit], infinite for over range; the digits stand for ``half`` to either side.

    ``rough``: no meter showed it, a lamp that is lit or dark did; reading it with one is still worth something.
    """

    value: float
    half: float
    unit: str
    rough: bool = False

    @property
    def over_range(self) -> bool:
        """Return whether the meter showed over range."""
        return math.isinf(self.value)


def between(low: Floats | float, high: Floats | float, mean: Floats, sd: Floats) -> Floats:
    """Return the probability that a normal value falls between two bounds, the small tails kept."""
    with np.errstate(invalid="ignore"):
        a, b = (low - mean) / sd, (high - mean) / sd
    flip = a > 0
    return np.asarray(np.maximum(np.where(flip, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a)), 0.0))


def chance_shown(shown: Shown, mean: Floats, sd: Floats, meter: Instrument) -> Floats:
    """Return the probability of the digits ``shown`` when the true value has ``mean`` and ``sd`` [unit]; infinite is an open circuit."""
    open_circuit = np.isinf(mean)
    finite = np.where(open_circuit, 0.0, mean)
    whole = np.hypot(np.where(open_circuit, 1.0, sd), meter.spread(finite, shown.unit))
    top = meter.top(shown.unit)
    if shown.over_range:
        return np.where(open_circuit, 1.0, between(top, np.inf, finite, whole))
    low = -np.inf if shown.unit == "Ω" and shown.value - shown.half <= 0 else shown.value - shown.half
    return np.where(open_circuit, 0.0, between(low, min(shown.value + shown.half, top), finite, whole))


def chance_anything(shown: Shown, meter: Instrument) -> float:
    """Return the probability of the digits when nothing is known: over range, next to nothing, or any magnitude alike.

    Next to nothing is any of the digits a dead point or a short shows, and no one of them above the others.
    """
    least, top = NEXT_TO_NOTHING[shown.unit], meter.top(shown.unit)
    if shown.over_range:
        return 0.25
    value = abs(shown.value)
    if value <= least:
        return 0.15 * min(2 * shown.half / least, 1.0)
    span = math.log((value + shown.half) / max(value - shown.half, least))
    return 0.6 * min(span / math.log(top / least), 1.0)


def chances_of_mistakes(shown: Shown, mean: Floats, sd: Floats, meter: Instrument, pull_ohm: float) -> dict[Mistake, Floats]:
    """Return for each mistake, and for none, its prior times the probability of the digits under it, one a variant."""
    prior = {mistake: share for mistake, share in METER_MISTAKES.items() if mistake is not Mistake.WIRE_IN or math.isfinite(pull_ohm)}
    out = {Mistake.NONE: (1 - sum(prior.values())) * chance_shown(shown, mean, sd, meter)}
    if Mistake.WIRE_IN in prior:
        with np.errstate(divide="ignore", invalid="ignore"):
            beside = np.where(np.isinf(mean), pull_ohm, mean * pull_ohm / (mean + pull_ohm))
        out[Mistake.WIRE_IN] = prior[Mistake.WIRE_IN] * chance_shown(shown, beside, np.minimum(sd, 0.02 * pull_ohm), meter)
    out[Mistake.NO_CONTACT] = np.full(mean.shape, prior[Mistake.NO_CONTACT] * _chance_untouched(shown, meter))
    scaled = [chance_shown(shown, mean * factor, sd * factor, meter) for factor in RANGE_FACTORS]
    out[Mistake.RANGE] = prior[Mistake.RANGE] * np.mean(scaled, axis=0)
    out[Mistake.STRAY] = np.full(mean.shape, prior[Mistake.STRAY] * chance_anything(shown, meter))
    return out


def _chance_untouched(shown: Shown, meter: Instrument) -> float:
    """Return the probability of the digits when the tips touch nothing: over range in ohms, else what a dead point shows."""
    if shown.unit == "Ω":
        return float(shown.over_range)
    sd = np.array(NEXT_TO_NOTHING[shown.unit] / 2)
    return float(chance_shown(shown, np.array(0.0), sd, meter))


def chances_of_words(told: Floats, chances: Floats) -> dict[Mistake, Floats]:
    """Return the same for a word: ``told`` is 1 for each outcome the word covers, ``chances`` (variants, outcomes)."""
    wide = float(np.mean(told))
    return {
        Mistake.NONE: (1 - WORD_MISTAKE) * (chances @ told),
        Mistake.WORD: np.full(len(chances), WORD_MISTAKE * wide),
    }
