"""A number that can show its working.

A figure holds its value and unit; the working is a function, called only when somebody opens the figure, so a
sweep over thousands of figures costs nothing for workings nobody reads.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum


class Origin(StrEnum):
    """Where an input of a working came from."""

    DOCUMENT = "job document"
    SHEET = "data sheet"
    MEASURED = "measured"
    DEFAULT = "default, not confirmed"
    RULESET = "ruleset"
    COMPUTED = "computed"
    TABLE = "published table"


@dataclass(frozen=True, kw_only=True, slots=True)
class Input:
    """One input of a working: its name, value [unit], origin, and the document path it can be changed at."""

    name: str
    value: float | str
    unit: str = ""
    origin: Origin
    path: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Working:
    """How a figure came about: formula, inputs, the line with numbers put in, the result, the source's key."""

    formula: str
    inputs: tuple[Input, ...] = ()
    substituted: str = ""
    result: str = ""
    source: str = "first-principles"
    notes: tuple[str, ...] = ()

    @property
    def rests_on_defaults(self) -> bool:
        """Return whether any input is a default nobody confirmed."""
        return any(item.origin is Origin.DEFAULT for item in self.inputs)


def _no_working() -> Working:
    return Working(formula="(no working recorded)")


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """A value [unit] with a stable key, the pair of points a meter would touch, and its working on demand.

    ``value`` is None when the figure has no meaning (``why`` then says the reason, in words); infinity is an
    over-range resistance.
    """

    key: str
    label: str
    value: float | None
    unit: str
    probes: tuple[str, str] | None = None
    why: str = ""
    working: Callable[[], Working] = field(default=_no_working, repr=False, compare=False)

    def __str__(self) -> str:
        """Return the value as a person reads it."""
        return show(self.value, self.unit)


def show(value: float | None, unit: str) -> str:
    """Return ``value`` [unit] in the number of digits the trade reads it in; "no figure" for None, "OL" when over range."""
    if value is None or math.isnan(value):
        return "no figure"
    if math.isinf(value):
        return "OL" if unit == "Ω" else "no end"
    digits = {"V": 2, "A": 3, "mA": 1, "Ah": 2, "h": 1, "m": 1, "VA": 1, "W": 1, "%": 1, "nF": 0}.get(unit)
    if unit == "Ω":
        digits = 1 if abs(value) < 100 else 0
    text = f"{value:.4g}" if digits is None else f"{value:.{digits}f}"
    return f"{text} {unit}".strip()
