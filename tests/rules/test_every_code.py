"""Every code: a small document in which it is found, the same without the edit in which it is not, and its row in the manual."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.edit import AddItem, Edit, RemoveField, RemoveItem, SetField
from loopwright.job.write import Value
from loopwright.power.forecast import CONDITIONS
from loopwright.programme.event import ALWAYS
from loopwright.rules import register
from loopwright.values.code import CodeFacts
from loopwright.values.source import sources

ROOT = Path(__file__).parents[2]
Appraise = Callable[..., Appraisal]

PANEL, SUPPLY, BUS = "sheets/equipment/panel-8", "sheets/equipment/panel-8/supply", "sheets/equipment/panel-8/bus"
CABLE, PIR = "sheets/cables/six-core", "sheets/equipment/pir-12"
SECOND_SUPPLY: tuple[Edit, ...] = (
    AddItem("sheets/equipment", "second", {"kind": "power-supply", "maker": "Example Works", "model": "S-2", "invented": True,
        "supply": {"output_v": 13.7, "limit_a": 1, "charger": {"kind": "none"}}, "outputs": {"aux": {"limit_a": 1}}}),
    AddItem("equipment", "second", {"sheet": "second"}),
)  # fmt: skip
KEYPAD_ON_SECOND = (*SECOND_SUPPLY, AddItem("cables", "W20", {"sheet": "six-core", "start": "second", "end": "keypad", "length_m": 2,
    "feeds": [{"output": "second.aux"}]}), RemoveField("cables/W05/feeds"))  # fmt: skip
PIR_ON_SECOND = (*SECOND_SUPPLY, AddItem("cables", "W20", {"sheet": "six-core", "start": "second", "end": "pir-lounge", "length_m": 2,
    "feeds": [{"output": "second.aux"}]}), RemoveField("cables/W01/feeds"))  # fmt: skip
LONG_PAIR = (SetField("cables/W04/length_m", "600"),)
NORTH_AMERICA = (SetField("region/ruleset", "na-household"), SetField("programme/abort_s", "15"), SetField("areas/house/exit_s", "60"))
AREAS = (
    AddItem("areas", "shop", {"name": "Shop", "entry_s": 30, "exit_s": 45}),
    AddItem("areas", "lobby", {"name": "Hall", "entry_s": 30, "exit_s": 45, "common_to": ["house", "shop"]}),
    SetField("users/owner/areas/shop", "both"),
    SetField("users/owner/areas/lobby", "both"),
    SetField("equipment/pir-lounge/room", "hall"),
)
ONE_CIRCUIT = tuple(RemoveItem(path) for path in ("circuits/c02", "zones/z2", "circuits/c03", "zones/z3"))
SHED = (AddItem("areas", "shed", {"name": "Shed", "entry_s": 30, "exit_s": 45}), SetField("users/owner/areas/shed", "set"))
def keyed(name: str, **what: Value) -> Edit:
    """Put a setting that is keyed at the unit into its sheet."""
    return AddItem(f"{PANEL}/settings", name, {"address": "line Here", **what})


KNOWN = {
    "volts-below-minimum": [SetField("cables/W06/length_m", "90")],
    "board-below-minimum": [SetField(f"{PANEL}/loads/supply/min_v", "10.5")],
    "volts-above-maximum": [SetField("sheets/equipment/bell/loads/supply/max_v", "12.5")],
    "volts-collapse": [SetField("cables/W06/length_m", "400")],
    "output-over-limit": [SetField(f"{PANEL}/outputs/aux/limit_a", "50 mA")],
    "supply-overloaded": [SetField(f"{SUPPLY}/limit_a", "300 mA")],
    "supply-overloaded-charging": [SetField(f"{SUPPLY}/limit_a", "700 mA")],
    "charge-held-back": [SetField(f"{SUPPLY}/limit_a", "400 mA")],
    "transformer-over-rating": [
        SetField(f"{SUPPLY}/conversion", "transformer"), SetField(f"{SUPPLY}/transformer_va", "10"),
        SetField(f"{SUPPLY}/efficiency", "70 %"),
    ],
    "not-fed": [RemoveField("cables/W05/feeds")],
    "feed-astray": [*SECOND_SUPPLY, SetField("cables/W05/feeds/0/output", "second.aux")],
    "circuit-way-broken": [SetField("circuits/c02/path/0/cable", "W06")],
    "contact-in-two-circuits": [AddItem("circuits/c02/path", None, {"cable": "W04", "device": "door"})],
    "feed-without-return": [SetField("cables/W06/feeds/0/return_cores", "0")],
    "circuit-without-common-0v": PIR_ON_SECOND,
    "bus-without-common-0v": KEYPAD_ON_SECOND,
    "battery-too-small": [SetField("sheets/batteries/seven/capacity_ah", "1.5")],
    "standby-too-short": [SetField("equipment/control/battery/measured_capacity_pct", "25")],
    "stops-before-battery": [SetField("sheets/equipment/keypad/loads/supply/min_v", "12")],
    "standby-hours-unconfirmed": [RemoveField("region/standby_h")],
    "standby-hours-missing": [RemoveField("region/standby_h"), SetField("region/ruleset", "custom")],
    "battery-absent": [RemoveField("equipment/control/battery")],
    "battery-not-charged": [SetField(f"{SUPPLY}/charger/kind", "none")],
    "battery-too-large": [SetField("equipment/control/battery/parallel", "2")],
    "charge-current-too-high": [SetField("sheets/batteries/seven/most_charge_a", "300 mA")],
    "recharge-too-slow": [SetField(f"{SUPPLY}/charger/limit_a", "60 mA")],
    "recharge-past-two-days": [SetField(f"{SUPPLY}/charger/limit_a", "130 mA")],
    "battery-worn": [SetField("equipment/control/battery/measured_capacity_pct", "70")],
    "battery-temperature": [SetField("equipment/control/battery/temperature_c", "-10")],
    "output-without-resistor": [RemoveField("cables/W06/feeds")],
    "output-branch-unwatched": [
        AddItem("equipment", "bell-2", {"sheet": "bell"}),
        AddItem("cables", "W31", {"sheet": "six-core", "start": "control", "end": "bell-2", "length_m": 5,
            "feeds": [{"output": "control.siren"}]}),
    ],
    "supervision-out-of-band": [SetField(f"{PANEL}/outputs/siren/supervision/open_above_ohm", "1001")],
    "circuit-misread": [SetField("circuits/c01/resistors/end_ohm", "4k7")],
    "circuit-near-edge": [SetField(f"{PANEL}/inputs/bands/double/1/to_ohm", "2750")],
    "circuit-corner-crosses": [SetField(f"{PANEL}/inputs/bands/double/1/to_ohm", "2756.2"), *ONE_CIRCUIT],
    "circuit-cannot-tell": [RemoveItem(f"{PANEL}/inputs/bands/double/3"), RemoveField(f"{PANEL}/inputs/bands/double/2/to_ohm")],
    "several-devices-on-circuit": [AddItem("circuits/c02/path", None, {"cable": "W02", "device": "door", "contacts": ["alarm"]})],
    "circuit-not-landed": [RemoveField("circuits/c01/input")],
    "topology-not-served": [SetField("circuits/c01/topology", "triple")],
    "bands-missing": [RemoveField(f"{PANEL}/inputs/bands")],
    "input-used-twice": [SetField("circuits/c02/input", "control.1")],
    "resistor-missing": [RemoveField("circuits/c01/resistors/end_ohm")],
    "resistor-not-as-sheet": [SetField("circuits/c01/resistors/end_ohm", "2k2")],
    "resistor-value-not-made": [SetField("circuits/c01/resistors/end_ohm", "2690")],
    "end-resistor-at-control-unit": [SetField("circuits/c01/end_at", "control-unit")],
    "alarm-contact-unused": [AddItem("circuits/c02/path/0/contacts", None, "tamper")],
    "tamper-contact-unused": [RemoveItem("circuits/c01/path/0/contacts/0")],
    "circuit-wiring-long": LONG_PAIR,
    "circuit-leaks": [SetField("circuits/c01/leak_ohm", "80k")],
    "cores-short": [SetField(f"{CABLE}/cores", "2")],
    "off-the-bus": [SetField("cables/W05/bus", "no")],
    "address-missing": [RemoveField("equipment/keypad/address")],
    "address-out-of-range": [SetField("equipment/keypad/address", "17")],
    "address-used-twice": [
        AddItem("equipment", "keypad-2", {"sheet": "keypad", "address": 1, "enrolled": "yes"}),
        AddItem("cables", "W30", {"sheet": "six-core", "start": "keypad", "end": "keypad-2", "length_m": 3, "bus": True,
            "feeds": [{"output": "control.aux"}]}),
    ],
    "not-enrolled": [SetField("equipment/keypad/enrolled", "no")],
    "bus-way-too-long": [SetField(f"{BUS}/longest_m", "3")],
    "bus-too-long": [SetField(f"{BUS}/total_m", "3")],
    "bus-capacitance-too-high": [SetField(f"{BUS}/capacitance_nf", "0.3")],
    "bus-capacitance-unknown": [SetField(f"{BUS}/capacitance_nf", "10"), RemoveField(f"{CABLE}/core_to_core_pf_per_m")],
    "bus-not-a-line": [SetField(f"{BUS}/shape", "line"), *(SetField(f"cables/{run}/bus", "yes") for run in ("W01", "W04"))],
    "bus-ends": [SetField(f"{BUS}/terminate_ohm", "120")],
    "zone-without-circuit": [RemoveField("zones/z1/circuit")],
    "zone-in-no-area": [RemoveField("zones/z1/areas")],
    "circuit-without-zone": [RemoveItem("zones/z2")],
    "response-cells-empty": [RemoveField("zones/z1/response/night")],
    "area-cells-empty": SHED,
    "user-cells-empty": [RemoveItem("users/owner/areas/house")],
    "report-cells-empty": [RemoveField("signalling/reports/alarm")],
    "common-area-detector": [*AREAS, SetField("zones/z1/areas/0", "lobby")],
    "factory-codes-unknown": [RemoveField("equipment/control/default_codes_changed")],
    "factory-codes-left": [SetField("equipment/control/default_codes_changed", "no")],
    "entry-time": [SetField("areas/house/entry_s", "50")],
    "exit-time": [*NORTH_AMERICA, SetField("areas/house/exit_s", "40")],
    "sounder-time": [SetField("programme/sounder_s", "60")],
    "abort-time": [*NORTH_AMERICA, SetField("programme/abort_s", "60")],
    "entry-and-abort-time": [*NORTH_AMERICA, SetField("programme/abort_s", "45")],
    "time-missing": [RemoveField("areas/house/entry_s")],
    "ruleset-unknown": [SetField("region/ruleset", "en-grade-9")],
    "grade-too-low": [SetField(f"{PANEL}/grade", "1")],
    "setting-not-on-unit": [keyed("coming-in", default="10 s", of="areas/*/entry_s", up_to="1", most="20")],
    "keyed-setting-contradicts": [keyed("coming-in", default="10 s", of="areas/*/colour")],
    "keyed-entry-unclear": [
        keyed("again", default="no", of="programme/exit_restart", choices={"yes": "again", "no": "once"}),
        keyed("open", default="no", of="programme/override_open", choices={"yes": "Y", "no": "N"}),
    ],
    "programme-range": [*NORTH_AMERICA, SetField("programme/lock_out_trips", "9")],
    "programme-choice": [SetField("programme/sounds/tamper-unset", "external")],
    "response-unknown": [SetField("zones/z2/response/full", "shrug")],
    "final-exit-without-time": [SetField("areas/house/exit_s", "0")],
    "shared-area-circular": [*AREAS, AddItem("areas/house", "common_to", ["lobby"])],
    "area-nobody-sets": [SetField("users/owner/areas/house", "unset")],
    "area-nobody-unsets": [SetField("users/owner/areas/house", "set")],
    "walk-unknown": [RemoveField("areas/house/entry_doors")],
    "entry-door-refused": [SetField("zones/z1/response/night", "immediate")],
    "walk-raises-alarm": [AddItem("areas/house", "walked_past", ["z2"])],
    "walk-in-too-slow": [SetField("areas/house/walk_s", "31")],
    "walk-out-too-slow": [SetField("users/owner/walk_s", "46")],
    "silent-event-not-reported": [SetField("users/owner/duress", "yes"), SetField("signalling/reports/duress", "local")],
    "unprotected-time-unknown": [SetField("programme/lock_out_trips", "3"), SetField("signalling/reports/lock-out", "yes")],
    "output-event-unknown": [SetField("outputs/bell/follows", "the moon")],
    "output-time-missing": [SetField("outputs/bell/how", "pulse"), RemoveField("outputs/bell/duration_s")],
    "output-time-unread": [SetField("outputs/bell/how", "latch")],
    "output-reaches-nothing": [SetField("outputs/bell/terminal", "second.aux"), *SECOND_SUPPLY],
    "sounder-without-rule": [RemoveItem("outputs/bell")],
    "output-over-rating": [SetField("outputs/bell/load_a", "50")],
    "output-polarity": [SetField("outputs/bell/rest", "on")],
    "life-safety-on-supply": [SetField(f"{PIR}/kind", "life-safety-device")],
}  # fmt: skip

OWNER = CodeFacts(name="user/owner", length=6, digits_only=True)
CLEANER = CodeFacts(name="user/cleaner", length=6, digits_only=True)
BY_FACTS: dict[str, tuple[CodeFacts, ...]] = {
    "code-too-short": (replace(OWNER, length=3),),
    "code-as-delivered": (replace(OWNER, name="installer/control", is_factory=True),),
    "code-easily-guessed": (replace(OWNER, is_sequence=True),),
    "codes-the-same": (replace(OWNER, same_as=("user/cleaner",)), replace(CLEANER, same_as=("user/owner",))),
    "codes-near": (replace(OWNER, one_away=("user/cleaner",)), replace(CLEANER, one_away=("user/owner",))),
    "duress-code-unsure": (replace(OWNER, name="duress/owner"),),
    "duress-code-near": (replace(OWNER, name="duress/owner", one_away=("user/owner",)), replace(OWNER, one_away=("duress/owner",))),
}
"""Codes that are found by facts of the codes in the vault, and the facts they are found by."""


def documented() -> dict[str, tuple[str, ...]]:
    """Return every code of the manual with the severities its row names."""
    text = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
    return {code: tuple(words.split(", ")) for code, words in re.findall(r"^\| `([a-z0-9-]+)` \| ([a-z, ]+) \|", text, re.MULTILINE)}


def written_codes() -> set[str]:
    """Return every word with a dash that stands in the checks as a string and is no source, condition or event: a code."""
    found = set()
    for path in (*(ROOT / "src" / "loopwright" / "rules").glob("*.py"), ROOT / "src" / "loopwright" / "keying" / "check.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", node.value):
                found.add(node.value)
    return found - set(sources()) - set(CONDITIONS) - set(ALWAYS) - {"utf-8"}


def test_every_code_is_documented_and_none_is_documented_that_is_not_there() -> None:
    assert written_codes() == set(documented())


def test_every_code_has_a_document_in_which_it_is_found() -> None:
    assert set(KNOWN) | set(BY_FACTS) == set(documented())
    assert not set(KNOWN) & set(BY_FACTS)


def test_the_small_house_has_no_finding(appraised: Appraise) -> None:
    assert [finding.code for finding in appraised().findings] == []
    assert appraised(codes=(OWNER, CLEANER)).private == ()


@pytest.mark.parametrize("code", [*KNOWN, *BY_FACTS])
def test_a_document_with_the_fault_is_found_out(code: str, appraised: Appraise) -> None:
    whole = appraised(*KNOWN.get(code, ()), codes=BY_FACTS.get(code, ()))
    found = [finding for finding in (whole.private if code in BY_FACTS else whole.findings) if finding.code == code]
    assert found
    for finding in found:
        assert finding.severity in documented()[code]
        assert finding.private is (code in BY_FACTS)
        assert finding.sentence.endswith(".") and "!" not in finding.sentence + finding.remedy
        assert finding.remedy.endswith(".")
        assert "None" not in finding.sentence + finding.remedy and "nan" not in finding.sentence.split()
        for figure in finding.figures:
            assert figure.working().formula and figure.working().formula != "(no working recorded)"


def test_every_check_stands_in_the_register() -> None:
    written = set()
    for path in (ROOT / "src" / "loopwright" / "rules").glob("*.py"):
        names = [node.name for node in ast.parse(path.read_text(encoding="utf-8")).body if isinstance(node, ast.FunctionDef)]
        written |= {f"{path.stem}.{name}" for name in names if name.startswith("check_")}
    listed = [f"{check.__module__.rpartition('.')[2]}.{check.__name__}" for check in register.CHECKS + register.CODE_CHECKS]
    assert set(listed) == written
    assert len(set(listed)) == len(listed)
