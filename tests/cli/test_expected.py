"""``loopwright forecast``: the list of troubles that should show now."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo
from loopwright.appraisal.appraise import appraise
from loopwright.appraisal.expected import expected
from loopwright.job.read import read

Run = Callable[..., Any]


@pytest.fixture
def business(tmp_path: Path) -> str:
    file = tmp_path / "business.yaml"
    file.write_text(demo.text("business"), encoding="utf-8")
    return str(file)


def test_the_list_follows_the_stage_and_what_is_said(run: Run, business: str) -> None:
    first = run("forecast", business, "--stage", "first-power-up").out
    assert "Troubles that should show now" in first
    assert "all normal at this stage" in first
    assert first.index("Lids on") < first.index("Battery connected") < first.index("Clock set")
    fewer = run("forecast", business, "--stage", "first-power-up", "--done", "lids on", "--done", "clock-set").out
    assert "Lids on" not in fewer and "Clock set" not in fewer and "Battery connected" in fewer
    served = run("forecast", business, "--not-done", "battery connected@control").out
    assert "1, 1 of them not normal at this stage" in served
    assert "None: every step is done" in run("forecast", business).out


def test_machines_get_the_same_list(run: Run, business: str) -> None:
    data = run("forecast", business, "--stage", "first-power-up", "--json").data()["expected"]
    text = Path(business).read_text(encoding="utf-8").replace("stage: in-service", "stage: first-power-up")
    troubles = expected(appraise(read(text).job)).troubles
    assert [each["sentence"] for each in data["troubles"]] == [trouble.sentence for trouble in troubles]
    assert data["next_step"] == "earth joined"


def test_a_word_that_is_no_step_is_refused_with_those_that_are(run: Run, business: str) -> None:
    done = run("forecast", business, "--done", "tea made")
    assert done.status == 2
    assert "tea made" in done.err and "clock set" in done.err


def test_a_place_alone_can_be_said_not_to_be_done(run: Run, business: str) -> None:
    told = run("forecast", business, "--not-done", "bus list taken@keypad-press").out
    assert "Press hall keypad answers on the bus and is not on the control unit's list yet." in told
    assert "Landing keypad answers" not in told
