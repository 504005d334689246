"""docs/tour.md is true: the way it tells is the way a number takes, and what it names exists."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import numpy as np

from loopwright.appraisal.appraise import appraise
from loopwright.demo import text
from loopwright.job.edit import SetField, apply
from loopwright.job.read import read

TOUR = (Path(__file__).parents[1] / "docs" / "tour.md").read_text(encoding="utf-8")


def test_a_longer_run_lowers_the_volts_at_its_end() -> None:
    """Edit, read, appraise; then the inverse brings the very same text and volts back."""
    before = text("business")
    edited = apply(before, SetField("cables/W31/length_m", "60"))
    first, second = appraise(read(before).job), appraise(read(edited.text).job)
    there = [a.power.load("sounder-press.supply").volts_v[a.power.column("alarm/battery-end")] for a in (first, second)]
    assert there[1] < there[0] - 0.1
    assert apply(edited.text, edited.inverse).text == before
    again = appraise(read(apply(edited.text, edited.inverse).text).job)
    np.testing.assert_array_equal(again.power.load("sounder-press.supply").volts_v, first.power.load("sounder-press.supply").volts_v)


def test_every_name_in_the_tour_exists() -> None:
    """Dotted names are modules of the package, or things in them."""
    names = set(re.findall(r"`((?:loopwright\.)?(?:job|netlist|power|circuits|rules|appraisal|store)\.[a-z_.]+)`", TOUR))
    assert len(names) >= 9
    for name in names:
        full = name if name.startswith("loopwright.") else f"loopwright.{name}"
        try:
            importlib.import_module(full)
        except ModuleNotFoundError:
            module, _, attribute = full.rpartition(".")
            assert hasattr(importlib.import_module(module), attribute), name
