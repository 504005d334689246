"""How a field of the document is declared: its quantity, its bounds, its references, its meaning.

The records in :mod:`loopwright.job.document` are the data dictionary. The reader, the JSON Schema, the manual and the edit
cells on screen are all derived from what is declared here, so that a field is described once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated, Any, NamedTuple


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with an SI unit and the bounds outside which the text is refused as a slip of the pen."""

    unit: str
    low: float = 0.0
    high: float = 1e9


@dataclass(frozen=True, slots=True)
class Ref:
    """A reference to a key of another part of the document, written as ``part`` or ``part/part``."""

    to: str


@dataclass(frozen=True, slots=True)
class TerminalRef:
    """A reference ``equipment.terminal``; ``among`` is ``outputs``, ``inputs`` or ``loads`` of the equipment's sheet."""

    among: str


@dataclass(frozen=True, slots=True)
class Words:
    """Free text of at most ``longest`` characters."""

    longest: int = 200


@dataclass(frozen=True, slots=True)
class Dated:
    """A date of ISO 8601 as far as it is known: a year, a month or a day; with ``time`` a day, and the hour and minute where known."""

    time: bool = False


class Gauge(NamedTuple):
    """A conductor size: ``area_mm2`` [mm²] of copper, and the AWG number when the size was given as one."""

    area_mm2: float
    awg: int | None = None

    def __str__(self) -> str:
        """Return the size as the trade writes it."""
        return f"{self.awg} AWG" if self.awg is not None else f"{self.area_mm2:g} mm²"


Metres = Annotated[float, Quantity("m", 0.0, 5000.0)]
Ohms = Annotated[float, Quantity("Ω", 0.0, 1e8)]
ResistorOhms = Annotated[float, Quantity("Ω", 0.1, 1e8)]
OhmsPerKm = Annotated[float, Quantity("Ω/km", 0.1, 5000.0)]
Volts = Annotated[float, Quantity("V", 0.0, 60.0)]
BatteryVolts = Annotated[float, Quantity("V", 2.0, 60.0)]
WorkingVolts = Annotated[float, Quantity("V", 0.5, 60.0)]
MainsVolts = Annotated[float, Quantity("V", 90.0, 260.0)]
Amperes = Annotated[float, Quantity("A", 0.0, 100.0)]
AmpereHours = Annotated[float, Quantity("Ah", 0.01, 1000.0)]
VoltAmperes = Annotated[float, Quantity("VA", 0.0, 5000.0)]
Celsius = Annotated[float, Quantity("°C", -60.0, 120.0)]
Seconds = Annotated[float, Quantity("s", 0.0, 1e7)]
Minutes = Annotated[float, Quantity("min", 0.0, 100000.0)]
Hours = Annotated[float, Quantity("h", 0.0, 10000.0)]
DischargeHours = Annotated[float, Quantity("h", 0.001, 10000.0)]
DischargeAmperes = Annotated[float, Quantity("A", 0.0001, 10000.0)]
Percent = Annotated[float, Quantity("%", 0.0, 100.0)]
PicofaradsPerMetre = Annotated[float, Quantity("pF/m", 0.0, 10000.0)]
Nanofarads = Annotated[float, Quantity("nF", 0.0, 1e6)]
Degrees = Annotated[float, Quantity("°", 0.0, 360.0)]
Decibels = Annotated[float, Quantity("dB(A)", 0.0, 160.0)]
Hertz = Annotated[float, Quantity("Hz", 1.0, 1000.0)]
Share = Annotated[float, Quantity("", 0.05, 1.0)]
Count = Annotated[int, Quantity("", 0, 10000)]
OneOrMore = Annotated[int, Quantity("", 1, 10000)]
Text = Annotated[str, Words(200)]
Keyable = Annotated[float, Quantity("", 0.0, 1e6)]
LongText = Annotated[str, Words(4000)]
Day = Annotated[str, Dated()]
Moment = Annotated[str, Dated(time=True)]


def need(doc: str) -> Any:  # noqa: ANN401 - a dataclass field stands in for a value of any type
    """Return a field that the document must hold."""
    return field(metadata={"doc": doc})


def may(doc: str, default: Any = None) -> Any:  # noqa: ANN401
    """Return a field that takes ``default`` when the document is silent."""
    return field(default=default, metadata={"doc": doc})


def rows(doc: str, factory: Callable[[], Any] = dict) -> Any:  # noqa: ANN401
    """Return a field holding a mapping or a list that is empty when the document is silent."""
    return field(default_factory=factory, metadata={"doc": doc})
