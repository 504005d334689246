"""Whether an instrument was still within the time its calibration is trusted for, on the day something was read with it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta

from loopwright.prove.record import Record, Tool

_DAY = re.compile(r"((?:19|20)\d\d)-(\d\d)(?:-(\d\d))?")
DAY = len("2026-03-02")
BASIS = (
    "a year is usual (common practice, no source); where the maker's sheet or the company's own procedure gives another interval, "
    "that counts."
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Doubt:
    """An instrument whose calibration was old, or of no use, when it was read; ``readings`` are how many rest on that."""

    tool: Tool
    readings: int
    sentence: str


def day_of(text: str) -> date | None:
    """Return the day of a calibration, the last of a month that is told without its day; None where it is no date.

    >>> day_of("2026-01-20"), day_of("2024-02"), day_of("2026-02-30")
    (datetime.date(2026, 1, 20), datetime.date(2024, 2, 29), None)
    """
    found = _DAY.fullmatch(text.strip())
    if found is None:
        return None
    year, month = int(found[1]), int(found[2])
    try:
        return date(year, month, int(found[3])) if found[3] else _end_of(year, month)
    except (ValueError, OverflowError):
        return None


def trusted_until(calibrated: date) -> date:
    """Return the last day a calibration is usually trusted on: that of the same date a year later.

    >>> trusted_until(date(2024, 2, 29))
    datetime.date(2025, 2, 28)
    """
    last = _end_of(calibrated.year + 1, calibrated.month)
    return last.replace(day=min(calibrated.day, last.day))


def _end_of(year: int, month: int) -> date:
    """Return the last day of a month."""
    return (date(year, month, 1) + timedelta(days=31)).replace(day=1) - timedelta(days=1)


def calibration_doubts(record: Record) -> tuple[Doubt, ...]:
    """Return of every instrument something was read with whether its calibration was old that day, or came only after it."""
    out = []
    for tool in record.tools:
        calibrated = day_of(tool.calibrated_on)
        days = [date.fromisoformat(each.at[:DAY]) for each in record.standing.values() if each.tool == tool.id and each.reading]
        if calibrated is None:
            continue
        late = [day for day in days if day > trusted_until(calibrated)]
        # A month without its day may have begun with the calibration.
        early = [day for day in days if day < calibrated and f"{day:%Y-%m}" != tool.calibrated_on.strip()]
        lead = f"{tool.name}, no. {tool.serial}, was calibrated {tool.calibrated_on}"
        if late:
            words = f"{lead}, more than a year before {_many(len(late))} on {_span(late)}: {BASIS}"
            out.append(Doubt(tool=tool, readings=len(late), sentence=words))
        if early:
            words = f"{lead}, after {_many(len(early))} on {_span(early)}: the calibration it had then belongs here."
            out.append(Doubt(tool=tool, readings=len(early), sentence=words))
    return tuple(out)


def too_old(tool: Tool, today: date) -> bool:
    """Return whether an instrument's calibration is older today than is usual."""
    calibrated = day_of(tool.calibrated_on)
    return calibrated is not None and today > trusted_until(calibrated)


def _many(readings: int) -> str:
    return "the one reading with it" if readings == 1 else f"the {readings} readings with it"


def _span(days: list[date]) -> str:
    first, last = min(days), max(days)
    return f"{first}" if first == last else f"{first} to {last}"
