"""A reading held against what it should be, at once: by the parts' tolerances and what the instrument itself may add."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from loopwright.explain.meter import Instrument
from loopwright.explain.written import Unreadable, shown_of
from loopwright.prove.alike import amount, asked
from loopwright.prove.item import Bound, Item, Target
from loopwright.prove.record import Entry, Tool

_LEVEL = re.compile(r"(\d{1,3}(?:[.,]\d)?)\s*dB(?:\s*\(?A\)?)?\s*(?:at|in|@)\s*(\d{1,3}(?:[.,]\d+)?)\s*m", re.IGNORECASE)
_TIME = re.compile(r"(?:(\d+)\s*min)?\s*(?:(\d+(?:[.,]\d+)?)\s*s)?", re.IGNORECASE)
LOWEST_DB, HIGHEST_DB = 40.0, 130.0
LEAST_M, MOST_M = 0.3, 50.0
METER_SPREADS = 2.0
WATCH_S = 2.0
"""What starting and stopping a watch by hand may add or take [s]; judgement."""
ROOM_DB = 3.0
"""What echo and a meter of class 2 may add or take [dB]; judgement. Class 2 itself is 1.4 dB (IEC 61672-1, from memory)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Judged:
    """``right`` is None where nothing is forecast; ``sentence`` says by how much. ``value`` [unit] is what was understood."""

    right: bool | None
    sentence: str
    value: float | None = None
    unit: str = ""


def instrument_of(tool: Tool | None) -> Instrument:
    """Return a tool as the meter it is; what its paper does not say is that of a usual one."""
    if tool is None:
        return Instrument()
    said = {name: value for name in ("accuracy_pct", "digits", "counts") if (value := getattr(tool, name)) is not None}
    return Instrument(name=tool.name, **said)


def judged(item: Item, entry: Entry, tool: Tool | None) -> Judged:
    """Return what an entry comes to. Raises ValueError, with a sentence, where it is no answer to this item."""
    if not item.unit:
        if entry.answer not in ("yes", "no"):
            raise ValueError("Say yes or no.")
        right = entry.answer == item.right
        return Judged(right=right, sentence="" if right else f"It should be {item.right}.")
    value = value_of(item, entry.reading, instrument_of(tool))
    held = _held(item.target, value, instrument_of(tool), entry.reading) if item.target is not None else None
    if item.bounds:
        return _ruled(item, held, value, entry.reading)
    return held or Judged(right=None, sentence="nothing is forecast to hold it against", value=value, unit=item.unit)


def _ruled(item: Item, held: Judged | None, value: float, reading: str) -> Judged:
    """Return what a reading comes to by its forecast and by every rule; each that is broken says so."""
    told = [each for bound in item.bounds if (each := _broken(bound, value, reading))]
    right = not told and (held is None or held.right is not False)
    names = told or [f"{asked(bound, reading)}: {bound.words}" for bound in item.bounds]
    sentence = "; ".join(filter(None, (held.sentence if held else "", *names)))
    return Judged(right=right, sentence=sentence, value=value, unit=item.unit)


def _broken(bound: Bound, value: float, reading: str) -> str:
    """Return how far a reading is out of a bound; empty where it is within.

    A level is taken to the distance that is meant by the inverse-distance law of a free field, 6 dB for each doubling
    (www.sengpielaudio.com/calculator-squarelaw.htm); walls and the meter may add ``ROOM_DB``.
    """
    room, lead = WATCH_S, ""
    if bound.at_m is not None and bound.unit.startswith("dB"):
        metres = metres_of(reading)
        value += 20.0 * math.log10(metres / bound.at_m)
        room, lead = ROOM_DB, f"that is {value:.0f} dB at {bound.at_words}; "
    low, high = bound.least is not None and value < bound.least - room, bound.most is not None and value > bound.most + room
    return f"{lead}{asked(bound, reading)} {'is' if lead else 'are'} asked: {bound.words}" if low or high else ""


def value_of(item: Item, text: str, meter: Instrument) -> float:
    """Return a reading's value in the item's unit. Raises ValueError with a sentence."""
    if item.unit == "dB":
        return _level(text)
    if item.unit == "s":
        return _seconds(text)
    try:
        shown = shown_of(text, meter)
    except Unreadable as error:
        raise ValueError(str(error)) from None
    if shown.unit != item.unit:
        raise ValueError(f"‘{text}’ is in {shown.unit}; here {item.unit} is read.")
    return shown.value


def _level(text: str) -> float:
    found = _LEVEL.fullmatch(text.strip())
    level = float(found[1].replace(",", ".")) if found else math.nan
    if found is None or not LOWEST_DB <= level <= HIGHEST_DB:
        raise ValueError(f"‘{text}’ is no level: write for example 92 dB at 3 m, between {LOWEST_DB:g} and {HIGHEST_DB:g} dB.")
    metres_of(text)
    return level


def metres_of(text: str) -> float:
    """Return the distance [m] a level was read at. Raises ValueError with a sentence where it is none."""
    found = _LEVEL.fullmatch(text.strip())
    metres = float(found[2].replace(",", ".")) if found else 0.0
    if not LEAST_M <= metres <= MOST_M:
        raise ValueError(f"‘{text}’ is read from no distance: write {LEAST_M:g} to {MOST_M:g} m, for example 92 dB at 3 m.")
    return metres


def _seconds(text: str) -> float:
    found = _TIME.fullmatch(text.strip())
    if found is None or not (found[1] or found[2]):
        raise ValueError(f"‘{text}’ is no time: write for example 90 s, or 14 min 50 s.")
    return 60.0 * float(found[1] or 0) + float((found[2] or "0").replace(",", "."))


def _held(target: Target, value: float, meter: Instrument, reading: str) -> Judged:
    room = METER_SPREADS * float(meter.spread(value, target.unit)) if target.unit in ("Ω", "V", "A") else 0.0  # type: ignore[arg-type]
    right = target.low - room <= value <= target.high + room
    return Judged(right=right, sentence=_apart(target, value, reading), value=value, unit=target.unit)


def _apart(target: Target, value: float, reading: str) -> str:
    """Return how far a value is from its forecast, written as the reading was."""
    if math.isinf(value) or math.isinf(target.value):
        wanted = "over range" if math.isinf(target.value) else amount(target.value, target.unit, reading)
        return "" if value == target.value else f"forecast {wanted}"
    wanted, off = amount(target.value, target.unit, reading), value - target.value
    if amount(value, target.unit, reading) == wanted:
        return f"forecast {wanted}"
    sign = "+" if off >= 0 else "−"
    share = f", {sign}{abs(off / target.value):.1%}" if target.value else ""
    return f"forecast {wanted}, {sign}{amount(abs(off), target.unit, reading)}{share}"
