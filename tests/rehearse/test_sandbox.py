"""The sandbox: whatever people do in it, it is the step of the search, in order of time, and never raises."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.rehearse.rehearsal import rehearse
from loopwright.rehearse.sandbox import NEXT, WAIT, play, written
from loopwright.rehearse.state import Event, begin
from loopwright.rehearse.step import due, step


@cache
def job(name: str = "dwelling") -> Job:
    return read(demo.text(name)).job


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 40), max_size=12), st.sampled_from(["dwelling", "business"]))
def test_whatever_can_be_done_is_what_the_step_says_and_time_never_goes_back(choices: list[int], name: str) -> None:
    acts: list[str] = []
    for choice in choices:
        stand = play(job(name), acts)
        can = [written(event) for event, _ in stand.possible()]
        acts.append([*can, NEXT, f"{WAIT}|45"][choice % (len(can) + 2)])
    stand = play(job(name), acts)
    times = [each.at_s for each in stand.log]
    assert times == sorted(times) and all(time <= stand.at_s for time in times)
    assert all(each.words and each.follows and not each.refused for each in stand.log)
    assert set(stand.state) == set(begin(stand.programme))
    for event, _ in stand.possible():
        assert step(stand.programme, stand.state, event) is not None


def test_a_time_that_is_over_ends_by_itself_while_one_waits() -> None:
    stand = play(job(), ["set|house|the owner|0|", f"{WAIT}|600"])
    assert [(each.at_s, each.follows[0]) for each in stand.log] == [(0, "the exit time of House begins"), (60, "House is set")]
    assert stand.at_s == 600 and not due(stand.programme, stand.state)


def test_an_alarm_says_when_it_sounds_when_it_is_sent_and_why() -> None:
    stand = play(job(), ["set|house|the owner|0|", NEXT, "activated|z03||0|", NEXT, "unset|house|the sitter|0|"])
    alarm, sent, unset = stand.log[2:]
    assert alarm.at_s == 60 and "alarm in House" in alarm.follows and "immediate while House is set" in alarm.why
    assert (sent.at_s, sent.follows) == (90, ("sent to the receiving centre: alarm",))
    assert "sent to the receiving centre: cancel" in unset.follows


def test_what_the_event_says_itself_is_not_said_again_and_what_is_sent_is_named_in_words() -> None:
    failed, back = play(job(), ["fault|mains||0|", "restored|mains||0|"]).log
    assert (failed.words, failed.follows) == ("mains power fails", ("sent to the receiving centre: mains failure",))
    assert (back.words, back.follows) == ("mains power comes back", ("nothing else happens",))


def test_what_the_search_tells_of_one_area_happens_in_the_sandbox_too() -> None:
    """The story of a broken promise, acted out: the same zone is opened in the same state, and the same nothing follows."""
    windows = "circuit: p04, areas: [house], response: {unset: ignored, full: "
    text = demo.text("dwelling").replace(f"{windows}immediate", f"{windows}ignored")
    broken = read(text).job
    (story,) = [each.story for each in rehearse(broken).broken if each.subject == "zones/z04/response/full"]
    acts: list[str] = []
    for scene in story:
        wait = scene.at_s - play(broken, acts).at_s
        acts += [f"{WAIT}|{wait:g}"] if wait > 0 else []
        if scene.event.kind != "end":
            acts.append(written(scene.event))
    last = play(broken, acts).log[-1]
    assert last.at_s == story[-1].at_s and last.follows == ("nothing happens",)


@pytest.mark.parametrize(
    "act", ["dance|||0|", "set|attic|the owner|0|", "end|house||0|", "activated|z03", "wait|soon", "set|house|the owner|x|"]
)
def test_what_is_no_act_is_refused(act: str) -> None:
    with pytest.raises(ValueError):
        play(job(), [act])


def test_an_act_that_cannot_happen_now_is_told_and_changes_nothing() -> None:
    stand = play(job(), [written(Event("unset", "house", "the owner"))])
    assert stand.log[0].refused and stand.state == begin(stand.programme)
