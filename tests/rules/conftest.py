"""A small house without a finding, and what is found after edits of its text."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job.edit import AddItem, Edit, SetField, apply
from loopwright.job.read import read
from loopwright.values.code import CodeFacts

SAMPLE = Path(__file__).parents[1] / "job" / "sample.yaml"
SOUND: tuple[Edit, ...] = (
    SetField("sheets/equipment/panel-8/loads/supply/min_v", "9"),
    SetField("equipment/control/default_codes_changed", "yes"),
    *(SetField(f"zones/{zone}/response/unset", "ignored") for zone in ("z1", "z2", "z3")),
    *(
        SetField(f"signalling/reports/{event}", "yes")
        for event in ("tamper", "hold-up", "mains-failure", "path-failure", "set-and-unset", "cancel")
    ),
    AddItem("areas/house", "entry_doors", ["z1"]),
    SetField("areas/house/walk_s", "20"),
)
Appraise = Callable[..., Appraisal]


def _appraised(*edits: Edit, codes: tuple[CodeFacts, ...] = ()) -> Appraisal:
    text = SAMPLE.read_text(encoding="utf-8")
    for edit in (*SOUND, *edits):
        text = apply(text, edit).text
    return appraise(read(text).job, codes)


@pytest.fixture(scope="session")
def appraised() -> Appraise:
    """Return the function that appraises the small house after edits."""
    return _appraised
