"""Switched outputs: how each kind follows its event in a course of events, and what is held against them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from loopwright import demo
from loopwright.job.document import Job, OutputRule
from loopwright.job.read import read
from loopwright.rehearse.promise import Broken
from loopwright.rehearse.rehearsal import rehearse
from loopwright.rehearse.sandbox import NEXT, WAIT, play, switched

SET, ALARM, UNSET, CLEAR = "set|house|the owner|0|", "activated|z03||0|", "unset|house|the owner|0|", "clear|house|the owner|0|"


def with_rule(follows: str, **said: Any) -> Job:
    job = read(demo.text("dwelling")).job
    terminal = next(rule.terminal for rule in job.outputs.values())
    return replace(job, outputs={"one": OutputRule(terminal=terminal, follows=follows, **said)})


def stands(job: Job, *acts: str) -> str:
    (line,) = switched(job, play(job, (SET, NEXT, *acts)))
    name, _, how = line.partition(" of Panel ")
    assert name == next(rule.terminal for rule in job.outputs.values()).partition(".")[2], "an output is called what people call it"
    return how


@pytest.mark.parametrize(
    ("said", "acts", "line"),
    [
        ({}, (), "off"),
        ({}, (ALARM,), "on since 60 s"),
        ({}, (ALARM, UNSET), "off"),
        ({"duration_s": 30.0}, (ALARM,), "on since 60 s until 90 s"),
        ({"duration_s": 30.0}, (ALARM, f"{WAIT}|30"), "off"),
        ({"how": "pulse", "duration_s": 5.0}, (ALARM, UNSET), "on since 60 s until 65 s"),
        ({"how": "timed", "duration_s": 30.0}, (ALARM, f"{WAIT}|10", "activated|z04||0|"), "on since 70 s until 100 s"),
        ({"how": "latch"}, (ALARM, UNSET), "on since 60 s"),
        ({"how": "latch"}, (ALARM, UNSET, "shut|z03||0|", CLEAR), "off"),
        ({"rest": "on"}, (), "on"),
        ({"rest": "on"}, (ALARM,), "off since 60 s"),
    ],
)
def test_an_output_follows_an_alarm_as_it_is_told_to(said: dict[str, Any], acts: tuple[str, ...], line: str) -> None:
    assert stands(with_rule("alarm in any area", **said), *acts) == line


def test_an_output_follows_what_it_names_only() -> None:
    assert stands(with_rule("set")) == "on since 60 s" and stands(with_rule("set"), UNSET) == "off"
    assert stands(with_rule("mains failure"), "fault|mains||0|", ALARM) == "on since 60 s"
    assert stands(with_rule("battery low"), "fault|mains||0|", ALARM) == "off"


def test_an_output_lasts_as_long_as_what_it_follows_lasts_somewhere() -> None:
    mains, battery, back = "fault|mains||0|", "fault|battery||0|", "restored|battery||0|"
    assert stands(with_rule("fault"), mains, battery, back) == "on since 60 s"
    assert stands(with_rule("fault"), mains, battery, back, "restored|mains||0|") == "off"
    assert stands(with_rule("unset")) == "off" and switched(with_rule("unset"), play(with_rule("unset"), ()))[0].endswith("on since 0 s")
    # The alarm of another zone ends no entry; that nobody unset in time does.
    assert stands(with_rule("entry"), "activated|z01||0|", ALARM) == "on since 60 s"
    assert stands(with_rule("entry"), "activated|z01||0|", ALARM, NEXT) == "off"


def held(job: Job) -> dict[str, Broken]:
    return {each.subject: each for each in rehearse(job).broken if each.promise == "outputs"}


def test_an_output_has_to_follow_something_that_happens_and_is_seen() -> None:
    assert held(with_rule("alarm in any area")) == held(with_rule("alarm in House")) == {}
    assert set(held(with_rule("confirmed alarm"))) == {"outputs/one/follows"}
    assert set(held(with_rule("chime"))) == {"outputs/one/duration_s"}
    assert held(with_rule("chime", how="pulse", duration_s=1.0)) == {}
    assert any("bananas" in line for line in rehearse(with_rule("bananas")).not_covered)


def test_a_sounder_gives_no_duress_away() -> None:
    job = with_rule("duress", how="pulse", duration_s=60.0)
    job = replace(job, users={name: replace(user, duress=True) for name, user in job.users.items()})
    fed = {feed.output for cable in job.cables.values() for feed in cable.feeds if job.sheet_of(cable.end).kind == "sounder"}
    sounding = replace(job, outputs={"one": replace(job.outputs["one"], terminal=min(fed))})
    found = held(sounding)["outputs/one/follows"]
    assert "would be heard" in found.sentence and "duress" in found.story[-1].words
