"""One thing that must be proved, and what it is held against."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Proof(StrEnum):
    """What is done to prove something. The value leads the key of an item."""

    WALK = "walk"
    EDGE = "edge"
    BEYOND = "beyond"
    RESTORE = "restore"
    TAMPER = "tamper"
    LID_SHUT = "lid-shut"
    MASK = "mask"
    LABEL = "label"
    PHOTO = "photo"
    USE = "use"
    RADIO = "radio"
    OHM = "ohm"
    LIFT = "lift"
    SECONDARY = "secondary"
    FLOAT = "float"
    RESTED = "rested"
    MINUTE = "minute"
    UNSET_A = "unset-a"
    ALARM_A = "alarm-a"
    LEVEL = "level"
    DURATION = "duration"
    HOLD_OFF = "hold-off"
    LIGHT = "light"
    PATH = "path"
    SETTING = "setting"
    SIGNAL = "signal"


SHORT = {
    Proof.WALK: "walk test", Proof.EDGE: "edge of coverage", Proof.BEYOND: "nothing beyond it", Proof.LID_SHUT: "lid shut",
    Proof.LABEL: "text", Proof.PHOTO: "photograph", Proof.RADIO: "radio margin", Proof.RESTED: "rested volts", Proof.FLOAT: "float volts",
    Proof.MINUTE: "volts after a minute", Proof.USE: "set and unset at it",
    Proof.PATH: "a signal by it alone", Proof.HOLD_OFF: "sounds without hold-off", Proof.UNSET_A: "current unset",
    Proof.ALARM_A: "current in alarm",
}  # fmt: skip
"""Short words for what is done, where its own value is none."""


class Group(StrEnum):
    """Where a thing stands on the sheet and in the record."""

    DEVICES = "Devices"
    CIRCUITS = "Circuits"
    SUPPLIES = "Supplies"
    SOUNDERS = "Sounders and strobes"
    SETTING = "Set and unset"
    PATHS = "Paths"
    SIGNALS = "Signals"


@dataclass(frozen=True, kw_only=True, slots=True)
class Target:
    """Between which bounds [unit] a reading agrees with its forecast. ``value`` is the forecast itself; infinite for over range."""

    value: float
    low: float
    high: float
    unit: str
    words: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Bound:
    """What a rule allows a reading to be, whatever is forecast: ``words`` name the rule and how it is known.

    ``at_m`` [m] is the distance a level is meant at, ``at_words`` how the people of the job write it.
    """

    least: float | None
    most: float | None
    unit: str
    words: str
    at_m: float | None = None
    at_words: str = ""

    @property
    def asked(self) -> str:
        """Return what is asked for, in a few words.

        >>> Bound(least=100.0, most=None, unit="dB(A)", words="", at_m=3.048, at_words="10 ft").asked
        'at least 100 dB(A) at 10 ft'
        """
        ends = [f"{word} {end:g}" for word, end in (("at least", self.least), ("at most", self.most)) if end is not None]
        return f"{' and '.join(ends)} {self.unit}{f' at {self.at_words}' if self.at_m is not None else ''}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Item:
    """One thing that must be proved. ``subject`` is its document path, ``unit`` that of a reading, empty where it is yes or no.

    ``wanted`` is False where it is kept when it was done and no gap when it was not. ``right`` is the answer that proves it: of what is
    to be seen beyond the edge of coverage it is no. ``bounds`` are what rules ask of a reading beside its forecast. ``brief`` says
    in two or three words what is done, where its kind alone does not.
    """

    key: str
    proof: Proof
    group: Group
    subject: str
    where: str
    act: str
    unit: str = ""
    target: Target | None = None
    bounds: tuple[Bound, ...] = ()
    wanted: bool = True
    right: str = "yes"
    caution: str = ""
    brief: str = ""

    @property
    def short(self) -> str:
        """Return in two or three words what is done: of a circuit in which state, of a signal which."""
        return self.brief or SHORT.get(self.proof, self.proof.replace("-", " "))


def key_of(proof: Proof, *parts: str) -> str:
    """Return the key of an item.

    >>> key_of(Proof.WALK, "door-front")
    'walk:door-front'
    """
    return ":".join((proof, *parts))
