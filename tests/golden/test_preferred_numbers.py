"""Preferred numbers and resistor codes against published lists (IEC 60063, IEC 60062) and two libraries."""

from __future__ import annotations

import pytest

from loopwright.circuits.preferred import (
    DIGIT_COLOURS,
    TOLERANCE_COLOURS,
    Series,
    colour_code,
    is_preferred,
    nearest_preferred,
    read_colours,
    rkm,
    series_values,
)

# IEC 60063, list seen at pastebin.com/sJzhzBnP.
E12 = "1.0 1.2 1.5 1.8 2.2 2.7 3.3 3.9 4.7 5.6 6.8 8.2"
E24 = "1.0 1.1 1.2 1.3 1.5 1.6 1.8 2.0 2.2 2.4 2.7 3.0 3.3 3.6 3.9 4.3 4.7 5.1 5.6 6.2 6.8 7.5 8.2 9.1"

# IEC 60062, table seen at gist.github.com/pwillard/a415d93f6e180685fc12.
DIGITS = {
    "black": 0, "brown": 1, "red": 2, "orange": 3, "yellow": 4, "green": 5, "blue": 6, "violet": 7, "grey": 8, "white": 9,
}
# Orange, yellow and grey are left out: two editions give three different tolerances, and neither was seen whole.
TOLERANCES_PCT = {"brown": 1, "red": 2, "green": 0.5, "blue": 0.25, "violet": 0.1, "gold": 5, "silver": 10}

# End-of-line values of the trade: common practice, no source.
TRADE_VALUES = {"1k": 1000, "2k2": 2200, "4k7": 4700, "5k6": 5600, "6k8": 6800, "10k": 10_000}


@pytest.mark.parametrize(("series", "printed"), [(Series.E12, E12), (Series.E24, E24)])
def test_series_as_printed(series: Series, printed: str) -> None:
    assert [value / 10 for value in series_values(series)] == [float(word) for word in printed.split()]


def test_digit_and_tolerance_colours_as_printed() -> None:
    assert {colour: digit for digit, colour in enumerate(DIGIT_COLOURS)} == DIGITS
    assert {colour: pct for pct, colour in TOLERANCE_COLOURS.items()} == TOLERANCES_PCT


@pytest.mark.parametrize(("colour", "digit"), DIGITS.items())
def test_each_colour_is_also_a_multiplier(colour: str, digit: int) -> None:
    assert read_colours(("brown", "black", colour, "gold")) == (float(f"10e{digit}"), 5.0)


def test_whole_codes() -> None:
    assert colour_code(4700, 5) == ("yellow", "violet", "red", "gold")
    assert colour_code(4700, 1, bands=5) == ("yellow", "violet", "black", "brown", "brown")


def test_small_values_have_gold_and_silver_multipliers() -> None:
    """0.1 and 0.01, as in the tables seen at elektropage.com and kodekata.net/resistorcolorcode.html."""
    assert colour_code(4.7, 5) == ("yellow", "violet", "gold", "gold")
    assert colour_code(0.47, 5) == ("yellow", "violet", "silver", "gold")
    assert colour_code(47, 1, bands=5) == ("yellow", "violet", "black", "gold", "brown")


@pytest.mark.parametrize(
    ("ohm", "pct", "bands"), [(4990, 1, 4), (4700, 3, 4), (4700, 0.05, 5), (0.04, 5, 4), (0, 5, 4), (4.7e13, 5, 4), (47, 5, 6)]
)
def test_what_the_bands_cannot_tell_is_refused(ohm: float, pct: float, bands: int) -> None:
    with pytest.raises(ValueError):
        colour_code(ohm, pct, bands=bands)


@pytest.mark.parametrize(
    "bands",
    [
        ("red", "red", "red"),
        ("gold", "red", "red", "gold"),
        ("red", "red", "pink", "gold"),
        ("red", "red", "red", "orange"),
        ("red", "red", "red", "grey"),
    ],
)
def test_a_colour_that_says_nothing_sure_is_refused(bands: tuple[str, ...]) -> None:
    with pytest.raises(ValueError):
        read_colours(bands)


@pytest.mark.parametrize(("code", "ohm"), TRADE_VALUES.items())
def test_the_trades_values_are_preferred_and_written_with_the_letter(code: str, ohm: float) -> None:
    assert is_preferred(ohm, Series.E12)
    assert rkm(ohm) == code


@pytest.mark.parametrize(
    ("ohm", "code"),
    [(4.7, "4R7"), (0.47, "0R47"), (470, "470R"), (47_000, "47k"), (4_700_000, "4M7"), (999.9, "999R9"), (12_100, "12k1")],
)
def test_letters_for_the_decimal_point(ohm: float, code: str) -> None:
    assert rkm(ohm) == code


@pytest.mark.parametrize("ohm", [0.0, -1.0, 1e12, float("inf"), 12345.6])
def test_what_the_notation_cannot_tell_is_refused(ohm: float) -> None:
    with pytest.raises(ValueError):
        rkm(ohm)


@pytest.mark.parametrize("ohm", [0.0, -5.0, float("inf"), float("nan")])
def test_no_value_is_nearest_to_what_is_no_resistance(ohm: float) -> None:
    with pytest.raises(ValueError):
        nearest_preferred(ohm, Series.E24)


def test_two_equally_near_take_the_greater_and_a_decade_is_no_border() -> None:
    assert nearest_preferred(10.5, Series.E24) == 11
    assert nearest_preferred(9.7, Series.E12) == 10
    assert nearest_preferred(99.9, Series.E96) == 100


@pytest.mark.parametrize("series", list(Series))
def test_series_and_nearest_value_against_the_eseries_library(series: Series) -> None:
    eseries = pytest.importorskip("eseries", reason="oracle not run: the Python package eseries is not installed")
    key = eseries.ESeries(int(series))
    assert series_values(series) == eseries.series(key)
    for ohm in (0.33, 1.012, 9.6, 48.0, 97.3, 512.0, 4711.0, 5000.1, 9_999.0, 1_234_567.0):
        assert nearest_preferred(ohm, series) == pytest.approx(eseries.find_nearest(key, ohm), rel=1e-12)


def test_letters_are_read_back_by_the_rkm_codes_library() -> None:
    codes = pytest.importorskip("rkm_codes", reason="oracle not run: the Python package rkm-codes is not installed")
    for series in Series:
        for value in series_values(series):
            for power in range(-3, 7):
                ohm = float(f"{value}e{power}")
                assert float(codes.from_rkm(rkm(ohm))) == pytest.approx(ohm, rel=1e-12)
