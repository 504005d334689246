"""Numbers that are each in bounds and cannot stand beside each other are refused, with their place."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.job.edit import SetField, apply
from loopwright.job.read import read
from loopwright.values.error import JobError

SAMPLE = (Path(__file__).parent / "sample.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("path", "text", "words"),
    [
        ("sheets/batteries/seven/discharge/0/current_a", "90 A", "does not fit beside"),
        ("sheets/equipment/panel-8/inputs/bands/double/1/from_ohm", "1", "lies over the one before it"),
        ("sheets/equipment/panel-8/inputs/bands/double/1/to_ohm", "1", "ends where it begins"),
        ("sheets/equipment/panel-8/outputs/siren/supervision/short_below_ohm", "9k", "is never right"),
        ("sheets/batteries/seven/nominal_v", "24 V", "does not rest at"),
        ("sheets/batteries/seven/full_v", "11.5 V", "does not rest at"),
    ],
)
def test_refused_with_its_place(path: str, text: str, words: str) -> None:
    with pytest.raises(JobError) as refused:
        read(apply(SAMPLE, SetField(path, text)).text)
    assert any(words in problem.message and problem.line > 1 and problem.accepted for problem in refused.value.problems)


def test_rows_may_stand_in_any_order() -> None:
    """The sample's own table is read; it need not run from quick to slow."""
    rows = read(SAMPLE).job.sheets.batteries["seven"].discharge
    assert len(rows) > 2
