"""Reading the job document."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.job.read import read

SAMPLE = (Path(__file__).parent / "sample.yaml").read_text(encoding="utf-8")


def test_the_sample_is_read_as_written() -> None:
    job = read(SAMPLE).job
    assert job.region.country == "GB"
    assert job.cables["W02"].length_m == pytest.approx(45 * 0.3048)
    assert job.sheets.equipment["panel-8"].inputs is not None
    assert job.sheets.equipment["panel-8"].inputs.pull_up_ohm == 4700
    assert job.sheets.cables["six-core"].gauge.area_mm2 == 0.22
