"""It will not set: what applies is found, what cannot be known is asked, and nothing outside the area gets in the way."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.appraisal.expected import expected
from loopwright.explain.expected.expect import Expectation, Shown
from loopwright.explain.expected.setting import Applies, Cause, Hindrance, wont_set
from loopwright.explain.expected.situation import Situation, Step
from loopwright.explain.expected.trouble import TroubleKind
from loopwright.job.document import Job, Stage
from loopwright.job.read import read
from loopwright.values.source import source
from often import often


@cache
def business() -> Appraisal:
    return appraise(read(demo.text("business")).job)


def quiet(**kwargs: object) -> Expectation:
    return expected(business(), Situation(stage=Stage.IN_SERVICE, **kwargs))  # type: ignore[arg-type]


def applying(causes: tuple[Cause, ...]) -> dict[Hindrance, Cause]:
    return {cause.hindrance: cause for cause in causes if cause.applies is Applies.YES}


def job() -> Job:
    return business().job


def test_a_system_in_order_leaves_questions_only() -> None:
    causes = wont_set(job(), "shop", quiet(), user="owner")
    assert not applying(causes)
    assert {cause.hindrance for cause in causes} == set(Hindrance)
    assert {cause.hindrance for cause in causes if cause.applies is Applies.NO} == {
        Hindrance.RIGHT, Hindrance.COMMON_AREA, Hindrance.SERVICE_MODE,
    }  # fmt: skip


@given(data=st.data())
@settings(max_examples=often(40))
def test_an_open_zone_hinders_just_the_areas_and_modes_it_counts_in(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(job().zones)))
    area = data.draw(st.sampled_from([key for key, each in job().areas.items() if not each.common_to]))
    mode = data.draw(st.sampled_from(["full", *job().programme.part_sets]))
    zone = job().zones[name]
    hinders = area in zone.areas and zone.response.get(mode, "immediate") not in ("ignored", "final-exit", "entry-route")
    found = applying(wont_set(job(), area, quiet(), mode=mode, user="owner", open_zones=[name]))
    assert (Hindrance.ZONE_OPEN in found) is hinders
    if hinders:
        assert zone.text in found[Hindrance.ZONE_OPEN].sentence


def test_who_may_not_is_told_so_and_a_shared_area_sets_itself() -> None:
    assert Hindrance.RIGHT in applying(wont_set(job(), "offices", quiet(), user="shop-staff"))
    shared = applying(wont_set(job(), "lobby", quiet(), user="owner"))[Hindrance.COMMON_AREA]
    assert "Workshop and Offices" in shared.sentence
    nobody = {cause.hindrance: cause.applies for cause in wont_set(job(), "shop", quiet())}
    assert nobody[Hindrance.RIGHT] is Applies.ASK


@pytest.mark.parametrize(
    ("step", "place", "hindrance"),
    [
        (Step.BATTERY, "control", Hindrance.BATTERY),
        (Step.MAINS, "control", Hindrance.MAINS),
        (Step.PATHS, "radio", Hindrance.PATH),
        (Step.BUS, "keypad-press", Hindrance.FAULT),
        (Step.LIDS, "control", Hindrance.TAMPER),
        (Step.LEFT_SERVICE, "control", Hindrance.SERVICE_MODE),
        (Step.CLOCK, "control", Hindrance.TIME),
    ],
)
def test_what_should_show_hinders(step: Step, place: str, hindrance: Hindrance) -> None:
    found = applying(wont_set(job(), "shop", quiet(said=MappingProxyType({(step, place): False})), user="owner"))
    assert set(found) == {hindrance}


def test_a_lid_of_another_area_does_not_hinder_this_one() -> None:
    elsewhere = next(
        hop.device
        for zone in job().zones.values()
        if zone.circuit and zone.areas == ("offices",)
        for hop in job().circuits[zone.circuit].path
        if hop.device and "tamper" in hop.contacts
    )
    said = MappingProxyType({(Step.LIDS, elsewhere): False})
    assert applying(wont_set(job(), "offices", quiet(said=said), user="owner"))
    assert not applying(wont_set(job(), "shop", quiet(said=said), user="owner"))


def test_what_the_keypad_shows_counts_and_what_was_asked_is_settled() -> None:
    shown = [Shown(kind=TroubleKind.BATTERY_LOW, place="equipment/supply-2")]
    causes = wont_set(job(), "shop", quiet(), user="owner", shown=shown, denied=[Hindrance.MEMORY])
    assert set(applying(causes)) == {Hindrance.BATTERY}
    assert next(cause for cause in causes if cause.hindrance is Hindrance.MEMORY).applies is Applies.NO


def test_at_grades_3_and_4_a_tamper_is_cleared_by_service() -> None:
    """EN 50131-1 Table 6 as transcribed: clearing a tamper at grades 3 and 4 needs level 3. The rest of the table is from memory."""
    said = MappingProxyType({(Step.LIDS, "control"): False})
    for ruleset, user_clears in (("en-grade-2", True), ("en-grade-3", False), ("en-grade-4", False)):
        strict = replace(job(), region=replace(job().region, ruleset=ruleset))
        tamper = applying(wont_set(strict, "shop", quiet(said=said), user="owner"))[Hindrance.TAMPER]
        assert ("user" in tamper.clear_by) is user_clears
        assert not source(tamper.source).binding


@pytest.mark.parametrize(
    "wrong",
    [
        {"area": "cellar"},
        {"area": "shop", "mode": "sideways"},
        {"area": "shop", "user": "nobody"},
        {"area": "shop", "open_zones": ["z99"]},
    ],
)
def test_a_name_the_job_has_not_is_refused(wrong: dict[str, object]) -> None:
    arguments = dict(wrong)
    with pytest.raises(KeyError):
        wont_set(job(), str(arguments.pop("area")), quiet(), **arguments)  # type: ignore[arg-type]
