"""Troubles as a control unit shows them, in worded kinds, and what is known of each kind: why, what clears it, what must not be done."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files

from loopwright.explain.expected.situation import Situation, Step


class TroubleKind(StrEnum):
    """What a trouble is of. The words are the trade's; every control unit has its own for them."""

    DARK = "dead"
    MAINS_MISSING = "mains missing"
    BATTERY_MISSING = "battery missing"
    BATTERY_LOW = "battery low"
    OUTPUT_OVERLOADED = "supply output overloaded"
    EARTH = "earth"
    LID_OPEN = "lid open"
    MODULE_MISSING = "module missing"
    MODULE_UNKNOWN = "module unknown"
    CLOCK_NOT_SET = "clock not set"
    ZONE_OPEN = "zone open"
    ZONE_SHORTED = "zone shorted"
    ZONE_TAMPER = "zone tamper"
    ZONE_FAULT = "zone fault"
    ZONE_UNCERTAIN = "zone uncertain"
    WARMING_UP = "warming up"
    SOUNDER_CIRCUIT = "sounder circuit"
    SOUNDER_SOUNDS = "sounder sounds"
    PATH = "path fault"
    REPORT = "report not delivered"
    FACTORY_CODES = "factory codes"
    OLD_EVENTS = "old events"
    SERVICE_MODE = "service mode"


@dataclass(frozen=True, kw_only=True, slots=True)
class Lore:
    """What is known of a kind of trouble, in words. ``stays`` tells what may keep it lit after its cause is gone."""

    why: str
    clears: str
    never: str
    caution: str
    stays: str
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Trouble:
    """One trouble that should show now.

    ``place`` is a document path. ``normal`` says that at this stage of work it is no defect. ``step`` is what clears it, None when only
    time does or when the design itself is wrong (``defect``); ``at`` is the place of that step as a Situation names places, empty where
    it is a step of the whole. ``sure`` is False where the control unit may or may not show it. ``wait_s`` (shortest, longest) [s] is how
    long it still lasts by itself, None when it does not go by waiting.
    """

    kind: TroubleKind
    place: str
    sentence: str
    normal: bool
    step: Step | None = None
    at: str = ""
    sure: bool = True
    defect: bool = False
    wait_s: tuple[float, float] | None = None

    @property
    def lore(self) -> Lore:
        """Return what is known of its kind."""
        return lore()[self.kind]


def for_want_of(
    situation: Situation, step: Step, kind: TroubleKind, sentence: str, *, unit: str = "", place: str = "", at: str = "", sure: bool = True
) -> Trouble:
    """Return what shows because a step is not done: normal where at this stage it is not done as a rule.

    ``unit`` is the equipment it shows at and is done at; else ``place`` is a document path and ``at`` the place of the step.
    """
    return Trouble(
        kind=kind,
        place=f"equipment/{unit}" if unit else place,
        sentence=sentence,
        normal=not situation.usual(step),
        step=step,
        at=at or unit,
        sure=sure,
    )


@cache
def lore() -> Mapping[TroubleKind, Lore]:
    """Return what is known of every kind of trouble, read once from the package's ``troubles.toml``."""
    text = files("loopwright.explain.expected").joinpath("troubles.toml").read_text(encoding="utf-8")
    return {TroubleKind(kind): Lore(**{"caution": "", "stays": "", **row}) for kind, row in tomllib.loads(text).items()}
