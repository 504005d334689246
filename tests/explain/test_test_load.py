"""A battery under a test load: what it shows follows from its ohms, and tells an aged battery from its lugs and from a sound one."""

from __future__ import annotations

import pytest

import loopwright.demo
from loopwright.explain.check import CheckKind
from loopwright.explain.explain import Inquiry
from loopwright.explain.observation import read_observations
from loopwright.explain.power.check import TEST_LOAD
from loopwright.explain.telling import entry_of
from loopwright.job.read import read

JOB = read(loopwright.demo.text("business")).job
INQUIRY = Inquiry(JOB)
SUPPLY = "control"
TROUBLE = f"  - {{where: {SUPPLY}, at: battery, shows: yes}}\n"


def weighed(*entries: str):  # type: ignore[no-untyped-def]  # noqa: ANN201
    return INQUIRY.weigh(read_observations(JOB, "readings:\n" + TROUBLE + "".join(f"  - {each}\n" for each in entries)))[0]


def test_it_shows_the_rested_volts_less_amperes_times_ohms() -> None:
    """Ohm's law by hand: half as many amperes as ampere-hours, through the ohms of the sheet, as many times as the fault makes of them."""
    fitted = JOB.equipment[SUPPLY].battery
    assert fitted is not None
    sheet = JOB.sheets.batteries[fitted.sheet]
    part = next(part for part in weighed().rows.parts if part.name == "power")
    column = next(n for n, c in enumerate(part.predicted.checks) if c.kind is CheckKind.BATTERY_VOLTS and c.scenario == TEST_LOAD)
    amps, ohm = 0.5 * sheet.capacity_ah * fitted.parallel, sheet.internal_ohm / fitted.parallel
    means = {}
    for row, owner in enumerate(part.predicted.owner.tolist()):
        means.setdefault(part.hypotheses[owner].fault.id if owner >= 0 else "", []).append(float(part.predicted.mean[row, column]))
    assert means[""][0] == pytest.approx(sheet.full_v - amps * ohm)
    aged = sorted(means["P11"], reverse=True)
    assert aged[0] == pytest.approx(sheet.full_v - 6 * amps * ohm)
    assert aged == pytest.approx([max(sheet.full_v - factor * amps * ohm, 0.0) for factor in (6, 16.286, 44.208, 120)], abs=1e-3)
    # Lugs and fuse are no part of what is tested, and a battery with a shorted cell stands one cell lower, as full as it was.
    assert means["P15"] == pytest.approx([means[""][0]] * len(means["P15"]))
    assert means["P13"] == pytest.approx([means[""][0] - cell for cell in (2.3, 2.1, 1.9)])


def test_it_parts_an_aged_battery_from_a_loose_lug() -> None:
    loaded = (weighed(f"{{where: {SUPPLY}, at: battery, state: test load, reading: {volts} V}}") for volts in ("9.4", "12.8"))
    chances = ({h.fault.id: float(p) for h, p in zip(w.rows.hypotheses, w.after.hypotheses, strict=True)} for w in (weighed(), *loaded))
    before, low, good = chances
    assert low["P11"] > 0.9
    assert low["P15"] < 0.01
    assert good["P11"] < 0.25 * before["P11"]
    assert good["P15"] > 1.5 * before["P15"]


def test_its_entry_reads_back_as_the_same_check() -> None:
    check = next(c for p in weighed().rows.parts for c in p.predicted.checks if c.scenario == TEST_LOAD and c.where == SUPPLY)
    entry = entry_of(check) | {"reading": "12.5 V"}
    text = "readings:\n  - {" + ", ".join(f"{key}: {value}" for key, value in entry.items()) + "}\n"
    assert read_observations(JOB, text).seen[0].check == check
