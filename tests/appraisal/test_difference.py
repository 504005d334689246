"""The figures and findings of two jobs side by side: what moved, by how much, what became of its limit."""

from __future__ import annotations

import math
from functools import cache

import pytest

import loopwright.demo
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.appraisal.difference import Limit, Told, story
from loopwright.job.edit import Edit, RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.values.finding import Severity

TEXT = loopwright.demo.text("business")
COPPER_OHM_MM2_PER_M = 1 / 58
"""IEC 60028: standard annealed copper at 20 °C."""


@cache
def before() -> Appraisal:
    """Return the bindery, appraised."""
    return appraise(read(TEXT).job)


def after(*edits: Edit) -> Appraisal:
    """Return the bindery after edits, appraised."""
    text = TEXT
    for edit in edits:
        text = apply(text, edit).text
    return appraise(read(text).job)


def figure(figures: tuple[Told, ...], key: str) -> Told:
    """Return the figure of a key."""
    return next(each for each in figures if each.key == key)


def test_nothing_moves_between_a_job_and_itself() -> None:
    found = story(before(), before())
    assert not found.moved and not found.gone and not found.come and not found.sentences
    assert all(was == now for _, was, now in found.counts)
    assert found.figures


def test_a_longer_run_takes_the_volts_ohms_law_says() -> None:
    later = after(SetField("cables/W12/length_m", "60"))
    moved = figure(story(before(), later).moved, "volts/dual-stairs.supply")
    load = later.power.load("dual-stairs.supply")
    amps = load.amps_a[later.power.column("alarm/battery-end")]
    drop_v = amps * 2 * (60 - 16) * COPPER_OHM_MM2_PER_M / 0.22
    assert moved.was is not None and moved.now is not None
    # No solid copper does better; a stranded core of the table's highest resistance takes up to a quarter more.
    assert drop_v <= moved.was - moved.now <= 1.25 * drop_v
    assert str(moved).startswith("Stair foot detector, in alarm, on battery, at the cut-out: 10.33 V → ")


def test_a_device_that_falls_short_comes_first_with_its_finding_and_goes_again() -> None:
    later = after(SetField("cables/W30/length_m", "90"))
    there, back = story(before(), later), story(later, before())
    assert there.moved[0].key.startswith("volts/sounder-lobby.")
    assert there.moved[0].verdict == "no longer met"
    assert back.moved[0].verdict == "met now"
    assert [each.subject for each in there.come] == [each.subject for each in back.gone] != []
    musts = next((was, now) for severity, was, now in there.counts if severity is Severity.MUST)
    assert musts[1] == musts[0] + 1
    assert {each.key for each in there.moved} == {each.key for each in back.moved}


def test_a_renaming_moves_no_figure_and_no_finding() -> None:
    edits = (RenameItem("equipment/control", "panel"), RenameItem("circuits/c05", "shop"), RenameItem("cables/W30", "W99"))
    found = story(before(), after(*edits))
    assert found.moved == () and found.gone == () and found.come == ()
    assert len(found.sentences) == 3


def test_every_figure_stands_in_its_own_forecast() -> None:
    later = after(SetField("region/standby_h", "60"))
    found = story(before(), later)
    for item in later.standby:
        assert figure(found.figures, f"battery/{item.supply}").now == item.required_ah
    for item in before().standby:
        assert figure(found.figures, f"battery/{item.supply}").was == item.required_ah
    for circuit in later.circuits:
        assert figure(found.figures, f"rest/{circuit.circuit}").now == circuit.rest.field_ohm


@pytest.mark.parametrize(
    ("was", "now", "moved"),
    [
        (10.0, 10.004, False),
        (10.004, 10.006, False),
        (10.0, 10.02, True),
        (None, 10.0, True),
        (math.inf, math.inf, False),
        (5.0, math.inf, True),
    ],
)
def test_what_moved_by_no_more_than_its_last_digit_did_not_move(was: float | None, now: float | None, moved: bool) -> None:
    assert Told(key="k", label="l", unit="V", subject="s", was=was, now=now).moved is moved


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        (10, 11, ""),
        (8, 10, "met now"),
        (10, 8, "no longer met"),
        (8, 7, "not met"),
        (None, 8, "not met"),
        (None, 10, ""),
        (8, None, "met now"),
    ],
)
def test_what_became_of_a_limit(was: float | None, now: float | None, words: str) -> None:
    assert Told(key="k", label="l", unit="V", subject="s", was=was, now=now, limit=Limit(9, at_least=True)).verdict == words


def test_the_nearer_its_limit_the_weightier() -> None:
    near = Told(key="k", label="l", unit="V", subject="s", was=9.3, now=9.2, limit=Limit(9, at_least=True))
    far = Told(key="k", label="l", unit="V", subject="s", was=12.3, now=12.2, limit=Limit(9, at_least=True))
    assert near.weight > far.weight
