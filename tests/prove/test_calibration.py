"""How old an instrument's calibration was on the day it was read, and one way of writing the amounts of a line."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.explain.meter import Instrument
from loopwright.explain.written import shown_of
from loopwright.prove.alike import amount, rewritten
from loopwright.prove.calibration import calibration_doubts, day_of, too_old, trusted_until
from loopwright.prove.record import Entry, Record, Tool
from often import often

METER = Tool(id="m", name="meter 2", serial="HM-2207", calibrated_on="2025-01-20")


def read_on(*days: date, tool: Tool = METER) -> Record:
    entries = tuple(
        Entry(id=str(n), at=f"{day}T09:00:00+00:00", by="Ina", key=f"ohm:{n}", reading="2.7 kΩ", tool=tool.id) for n, day in enumerate(days)
    )
    return Record(tools=(tool,), entries=entries)


@settings(max_examples=often(30))
@given(st.dates(date(2001, 1, 1), date(2090, 1, 1)), st.lists(st.integers(0, 1500), min_size=1, max_size=6))
def test_exactly_what_was_read_more_than_a_year_after_is_in_doubt(calibrated: date, after: list[int]) -> None:
    days = [calibrated + timedelta(days=each) for each in after]
    found = calibration_doubts(read_on(*days, tool=replace(METER, calibrated_on=f"{calibrated}")))
    late = sum((day.year, day.month, day.day) > (calibrated.year + 1, calibrated.month, calibrated.day) for day in days)
    # Who calibrates on the last of February a leap year has is trusted to the last there is a year later.
    if (calibrated.month, calibrated.day) != (2, 29):
        assert sum(each.readings for each in found) == late
    assert all("common practice, no source" in each.sentence and "HM-2207" in each.sentence for each in found)


def test_what_is_told_of_a_calibration_that_is_of_no_use() -> None:
    assert not calibration_doubts(read_on(date(2025, 12, 1)))
    (old,) = calibration_doubts(read_on(date(2026, 1, 21), date(2025, 6, 1), date(2026, 3, 2)))
    assert old.readings == 2 and "the 2 readings with it on 2026-01-21 to 2026-03-02" in old.sentence
    (after,) = calibration_doubts(read_on(date(2025, 1, 19)))
    assert "after the one reading with it on 2025-01-19" in after.sentence
    month = replace(METER, calibrated_on="2025-01")
    assert not calibration_doubts(read_on(date(2025, 1, 3), date(2026, 1, 31), tool=month)), "a month without its day is taken kindly"
    assert calibration_doubts(read_on(date(2026, 2, 1), tool=month)) and calibration_doubts(read_on(date(2024, 12, 31), tool=month))
    taken_back = read_on(date(2026, 3, 2))
    back = Entry(id="x", at="2026-03-02T10:00:00+00:00", by="Ina", key="ohm:0")
    assert not calibration_doubts(replace(taken_back, entries=(*taken_back.entries, back)))
    assert (
        day_of("soon") is None
        and day_of("2026-13") is None
        and day_of("2026-00-01") is None
        and not too_old(Tool(id="", name=""), date.max)
    )
    assert (
        trusted_until(date(2024, 2, 29)) == date(2025, 2, 28)
        and too_old(METER, date(2026, 1, 21))
        and not too_old(METER, date(2026, 1, 20))
    )


@settings(max_examples=often(60))
@given(st.integers(100, 999_999), st.sampled_from(["Ω", "A"]), st.booleans())
def test_an_amount_written_otherwise_is_the_same_amount(number: int, unit: str, prefixed: bool) -> None:  # noqa: FBT001
    prefix = "k" if unit == "Ω" else "m"
    value = float(number) if unit == "Ω" else number / 1000
    like = f"1 {prefix}{unit}" if prefixed else f"1 {unit}"
    text = amount(value, unit, like)
    assert shown_of(text, Instrument()).value == shown_of(amount(value, unit), Instrument()).value == value
    assert text.endswith(f"{prefix}{unit}") is prefixed
    for other in (f"1 {unit}", f"1 {prefix}{unit}"):
        assert shown_of(rewritten(text, other), Instrument()).value == value and rewritten(rewritten(text, other), like) == text
    assert rewritten(text, "OL") == text and rewritten("13.65 V", like) == "13.65 V"
