"""``loopwright dead-checks``: the list, what was entered judged, and power kept off."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from loopwright import demo

Run = Callable[..., Any]


def test_the_list_and_what_keeps_the_power_off(run: Run, tmp_path: Path) -> None:
    file, seen = tmp_path / "business.yaml", tmp_path / "dead.yaml"
    file.write_text(demo.text("business"), encoding="utf-8")
    told = run("dead-checks", str(file)).out
    assert "licensed" in told and "Circuit c01: ohms between its two cores" in told and "0 of 121 are entered" in told
    assert "Power stays off" not in told
    seen.write_text(
        "readings:\n  - {where: control, at: battery, state: no power, reading: -12.7 V}\n"
        "  - {where: z01, state: no power, reading: 2.72 kΩ}\n  - {where: c02, at: eart, state: no power, reading: OL}\n",
        encoding="utf-8",
    )
    found = run("dead-checks", str(file), "--seen", str(seen))
    assert "cannot be signed past" in found.out and "Power stays off: 1 finding" in found.out and "‘eart’" in found.err
    data = run("dead-checks", str(file), "--seen", str(seen), "--json").data()
    assert data["power_may_come_on"] is False
    assert {each["comes_to"] for each in data["checks"] if each["entered"]} >= {"as it should be"}
