"""What a supply input is said to be in one scenario, in words, and the line it is drawn with."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from loopwright.appraisal.appraise import Appraisal
from loopwright.power.forecast import LoadForecast

CLOSE_V = 0.5
"""Volts in hand [V] from which a device is drawn as close to its minimum: a choice of this drawing, no source."""


class State(StrEnum):
    """How a supply input stands."""

    SOUND = "sound"
    CLOSE = "close"
    SHORT = "short"
    OVER = "over"
    OFF = "off"
    UNFED = "not fed"


@dataclass(frozen=True, kw_only=True, slots=True)
class Standing:
    """A supply input's state in one scenario: its words, its volts [V] (None where a meter shows nothing of meaning)."""

    state: State
    words: str
    volts_v: float | None

    @property
    def look(self) -> str:
        """Return the class of its marks."""
        return {State.SHORT: "lw-short", State.OVER: "lw-over", State.OFF: "lw-soft", State.UNFED: "lw-soft"}.get(self.state, "lw-ink")

    @property
    def dash(self) -> str:
        """Return the dashes of its line; empty for a solid one."""
        return {State.CLOSE: "5 3", State.OFF: "1 3", State.UNFED: "1 6"}.get(self.state, "")


def standing_of(appraisal: Appraisal, load: LoadForecast, column: int) -> Standing:
    """Return how a supply input stands in a scenario, given by its column."""
    volts = float(load.volts_v[column])
    if load.name in appraisal.power.unfed:
        return Standing(state=State.UNFED, words="not fed", volts_v=None)
    if math.isnan(volts):
        return Standing(state=State.UNFED, words="no common 0 V", volts_v=None)
    if load.landing.output is not None and not load.live[column]:
        return Standing(state=State.OFF, words="off", volts_v=None)
    over = math.inf if load.draw.max_v is None else load.draw.max_v - volts
    if over < 0:
        return Standing(state=State.OVER, words=f"{-over:.2f} V too high", volts_v=volts)
    margin = volts - load.draw.min_v
    if margin < 0:
        return Standing(state=State.SHORT, words=f"{_digits(-margin)} V short", volts_v=volts)
    if margin < CLOSE_V:
        return Standing(state=State.CLOSE, words=f"{_digits(margin)} V in hand", volts_v=volts)
    return Standing(state=State.SOUND, words="sound", volts_v=volts)


def _digits(volts: float) -> str:
    # Less than half a tenth would read "0.0 V short".
    return f"{volts:.1f}" if volts >= 0.05 else f"{volts:.3f}"
