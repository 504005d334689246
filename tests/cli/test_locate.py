"""``loopwright locate``: plans and places as the library finds them, and words for what it cannot use."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo

Run = Callable[..., Any]


@pytest.fixture
def business(tmp_path: Path) -> str:
    file = tmp_path / "business.yaml"
    file.write_text(demo.text("business"), encoding="utf-8")
    return str(file)


def test_a_circuit_is_halved_in_the_order_of_the_library(run: Run, business: str) -> None:
    told = run("locate", business, "z13").out
    assert told.index("5 places: 2.3 readings") < told.index("run W24") < told.index("lift the pair that goes on")
    data = run("locate", business, "c13", "--json").data()
    assert data["most_visits"] == 3
    assert sum(each["chance"] for each in data["places"]) == pytest.approx(1)
    assert data["first"]["when_sound_beyond"]["do"].startswith("At ")


def test_what_was_seen_weighs_the_places_and_is_refused_where_nothing_is_open(run: Run, business: str, tmp_path: Path) -> None:
    seen = tmp_path / "visit.yaml"
    seen.write_text("readings:\n  - {where: c05, reading: OL}\n  - {where: c05, state: shorted dual-till, reading: OL}\n", encoding="utf-8")
    told = run("locate", business, "c05", "--seen", str(seen)).out
    assert "Circuit c05, open or high" in told
    assert "Where along circuit c05" in run("explain", business, "--seen", str(seen)).out
    seen.write_text("readings:\n  - {where: c05, reading: 2.72 kΩ}\n", encoding="utf-8")
    refused = run("locate", business, "c05", "--seen", str(seen))
    assert refused.status == 2 and "does not say that c05 is open" in refused.err


def test_earth_and_runs(run: Run, business: str) -> None:
    told = run("locate", business, "earth").out
    assert "19 cables of Control unit" in told and "Mind: Mains" in told and "--at expander" in told
    assert run("locate", business, "earth", "--at", "expander", "--json").data()["branches"] == 14
    assert "10.1 m from First-floor expander" in run("locate", business, "W52", "--near", "4.9 Ω", "--far", "7.8 Ω").out
    found = run("locate", business, "W52", "--near", "0.95 nF", "--spare", "3.42 nF", "--json").data()
    assert found["at_m"] == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("W99",), "no circuit, zone or cable run"),
        (("earth", "--at", "door-front"), "No cable leaves 'door-front'"),
        (("W52",), "read the pair at the start"),
        (("W52", "--near", "3"), "has no unit"),
        (("W52", "--near", "3 Ω"), "wants the ohms of both ends"),
        (("W52", "--near", "3 Ω", "--far", "2 nF"), "all ohms (a short) or all nanofarads"),
        (("W52", "--near", "OL", "--far", "OL"), "Over range is no short"),
        (("W52", "--near", "90 nF"), "along a run of 36 m"),
    ],
)
def test_what_cannot_be_located_is_told(run: Run, business: str, words: tuple[str, ...], told: str) -> None:
    refused = run("locate", business, *words)
    assert refused.status == 2 and told in refused.err
