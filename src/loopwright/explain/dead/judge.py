"""What is entered for a dead check comes to: as it should be, odd, or a reason to keep the power off."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loopwright.explain.dead.check import TOUCH_OHM, DeadCheck, DeadKind
from loopwright.explain.meter import Shown
from loopwright.values.figure import show

APART = {
    DeadKind.EARTH: "A leak to earth of {}: find the pinched core before power comes on.",
    DeadKind.BETWEEN: "Two pairs are joined by {}: find where they touch before power comes on.",
    DeadKind.SUPPLY: "Data and supply are joined by {}: with power on, what is on the bus may be destroyed.",
}
"""What a reading too low means between cores that have nothing to do with each other."""


class Weight(StrEnum):
    """What a finding means for the power-up. ``NEVER``: it stays off; ``STOP``: until mended, or signed past with a reason."""

    RIGHT = "as it should be"
    ODD = "not as it should be"
    STOP = "stops the power-up"
    NEVER = "stops the power-up; cannot be signed past"


@dataclass(frozen=True, slots=True)
class Judged:
    """What an entry comes to: a weight, and the sentence that says why."""

    weight: Weight
    sentence: str


def judge(check: DeadCheck, shown: Shown | None, word: str) -> Judged:
    """Return what an entry comes to: a reading, or one of the check's answers. Raises ValueError for what is neither."""
    if check.answers:
        if word not in check.answers:
            raise ValueError(f"‘{word}’ is no answer here. Accepted: {' or '.join(check.answers)}.")
        return _answered(check, word)
    if shown is None or (shown.unit != check.unit and not (shown.over_range and check.unit == "Ω")):
        raise ValueError(f"{'Ohms' if check.unit == 'Ω' else 'Volts'} are read here, with their unit.")
    return _of_battery(check, shown.value) if check.unit == "V" else _of_ohms(check, shown.value)


def _answered(check: DeadCheck, word: str) -> Judged:
    if word == check.answers[0]:
        return Judged(Weight.RIGHT, "")
    return {
        DeadKind.MAINS: Judged(Weight.NEVER, "The mains is not proved dead: nothing is touched until a licensed person has done it."),
        DeadKind.BATTERY_OFF: Judged(Weight.STOP, "The battery is on: ohms read on a live pair are false. Take its leads off first."),
        DeadKind.POLARITY: Judged(Weight.STOP, "The supply pair is reversed: with power on, what hangs on it may be destroyed."),
    }[check.kind]


def _of_battery(check: DeadCheck, volts: float) -> Judged:
    if volts < -TOUCH_OHM:
        return Judged(Weight.NEVER, "The battery is the wrong way round: connected so, it destroys the supply and may burn.")
    if volts < check.low:
        return Judged(Weight.ODD, f"Below {check.low:.1f} V it is flat: charge or change it before it is connected.")
    if volts > check.high:
        return Judged(Weight.STOP, f"More than {check.high:.1f} V: another voltage, or no battery of this job.")
    return Judged(Weight.RIGHT, "")


def _of_ohms(check: DeadCheck, ohm: float) -> Judged:
    if check.kind in APART:
        return Judged(Weight.RIGHT, "") if ohm >= check.low else Judged(Weight.STOP, APART[check.kind].format(show(ohm, "Ω")))
    shorted = ohm <= check.short_ohm
    if shorted and check.feeds:
        return Judged(Weight.NEVER, f"Shorted: {show(ohm, 'Ω')} is no more than the cable itself. Part it cable by cable until it goes.")
    if check.low <= ohm <= check.high:
        return Judged(Weight.RIGHT, "")
    if shorted:
        return Judged(Weight.STOP, f"The two cores touch: {show(ohm, 'Ω')} is no more than the cable itself.")
    if check.feeds and ohm < check.low:
        return Judged(Weight.STOP, "Less than everything on it takes at work: something lies across the pair, or is reversed.")
    if check.feeds:
        return Judged(Weight.ODD, "More than its plain loads read: something is not connected yet.")
    if "." in check.where:
        return Judged(Weight.ODD, "Not what the bus should read: a terminator missing, one too many, or a device across the pair.")
    way = "Less" if ohm < check.low else "More"
    return Judged(Weight.ODD, f"{way} than the design by more than parts and meter allow: the five readings tell what it is.")
