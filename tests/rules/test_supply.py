"""One fault, one finding: what an overloaded supply or a missing return explains is not said again of every device."""

from __future__ import annotations

from collections.abc import Callable

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.edit import AddItem, Edit, RemoveField, SetField

Appraise = Callable[..., Appraisal]

LIMIT = "sheets/equipment/panel-8/supply/limit_a"
SECOND_BELL: tuple[Edit, ...] = (
    AddItem("equipment", "bell-2", {"sheet": "bell", "label": "Second bell"}),
    AddItem(
        "cables", "W40", {"sheet": "six-core", "start": "bell", "end": "bell-2", "length_m": 5, "feeds": [{"output": "control.siren"}]}
    ),
)
NEIGHBOUR: tuple[Edit, ...] = (
    *SECOND_BELL,
    AddItem("sheets/equipment", "klaxon", {"kind": "sounder", "maker": "Example Works", "model": "K-1", "invented": True,
        "loads": {"supply": {"unset_a": 0, "alarm_a": 1.2, "min_v": 9, "law": "constant-power"}}}),
    AddItem("equipment", "klaxon", {"sheet": "klaxon", "label": "Klaxon"}),
    AddItem("cables", "W41", {"sheet": "six-core", "start": "bell", "end": "klaxon", "length_m": 5,
        "feeds": [{"output": "control.siren"}]}),
    SetField("cables/W06/length_m", "20"),
)  # fmt: skip
FAR = (SetField("cables/W06/length_m", "50"),)


def codes(found: Appraisal) -> list[str]:
    return [finding.code for finding in found.findings]


def test_devices_an_overloaded_supply_starves_get_no_finding_of_their_own(appraised: Appraise) -> None:
    found = appraised(SetField(LIMIT, "100 mA"), RemoveField("equipment/control/battery"))
    overload = [finding for finding in found.findings if finding.code == "supply-overloaded"]
    assert len(overload) == 1 and "fall short" in overload[0].sentence
    assert "volts-below-minimum" not in codes(found)


def test_limit_is_met_exactly_where_the_loads_fit(appraised: Appraise) -> None:
    # By hand, in alarm: board 90, two detectors 15 each, keypad 70 mA, and the bell's 0.28 A × 12 V over its own volts.
    figure = next(f for f in appraised(SetField(LIMIT, "400 mA")).findings if f.code == "supply-overloaded").figures[0]
    least = 0.090 + 2 * 0.015 + 0.070 + 0.28 * 12 / 13.7
    assert figure.value is not None and least < figure.value < least * 1.04
    assert "supply-overloaded" not in codes(appraised(SetField(LIMIT, f"{figure.value + 0.001:.4f}")))


def test_the_load_that_pulls_an_output_down_is_named(appraised: Appraise) -> None:
    found = [finding for finding in appraised(*NEIGHBOUR).findings if finding.code == "volts-collapse"]
    assert len(found) == 1 and "Take Klaxon off" in found[0].remedy and "has its volts" in found[0].remedy


def test_further_devices_on_the_worst_run_say_where_to_begin(appraised: Appraise) -> None:
    found = [finding for finding in appraised(*SECOND_BELL, *FAR).findings if finding.code == "volts-below-minimum"]
    assert len(found) == 2
    assert sum("Any one of these just meets the minimum" in finding.remedy for finding in found) == 1
    assert sum(finding.remedy.startswith("Begin with") for finding in found) == 1


def test_a_missing_return_is_one_finding(appraised: Appraise) -> None:
    found = codes(appraised(SetField("cables/W06/feeds/0/return_cores", "0")))
    assert "feed-without-return" in found and "volts-below-minimum" not in found and "volts-collapse" not in found


def test_a_supply_without_a_battery_is_not_said_to_starve_its_devices(appraised: Appraise) -> None:
    assert codes(appraised(RemoveField("equipment/control/battery"))) == ["battery-absent"]
