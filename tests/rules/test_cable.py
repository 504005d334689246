"""Cores a run is asked for."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from loopwright.appraisal.appraise import Appraisal
from loopwright.job.edit import AddItem, SetField
from loopwright.values.error import JobError

Appraise = Callable[..., Appraisal]
SECOND = AddItem("circuits", "c09", {"topology": "double", "path": [{"cable": "W01"}]})
FIVE = SetField("sheets/cables/six-core/cores", "5")


def needed(it: Appraisal) -> float | None:
    return next((finding.figures[0].value for finding in it.findings if finding.code == "cores-short"), None)


def test_a_shared_return_saves_a_core(appraised: Appraise) -> None:
    """W01 carries a supply pair and a circuit; a second circuit needs two cores more, or one where it comes back with the first."""
    assert needed(appraised(SECOND, FIVE)) == 6
    assert needed(appraised(SECOND, FIVE, SetField("circuits/c09/path/0/shares_return_with", "c01"))) is None


def test_the_circuit_it_shares_with_must_be_there(appraised: Appraise) -> None:
    with pytest.raises(JobError, match="There is no circuit called c99"):
        appraised(SECOND, SetField("circuits/c09/path/0/shares_return_with", "c99"))
