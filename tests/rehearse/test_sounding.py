"""Sounders within the rules and the law, cells of tamper and hold-up, strobes, and promises that were never put to the test."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from loopwright import demo
from loopwright.appraisal.law import law_of
from loopwright.job.document import Job, LocalLimit, OutputRule
from loopwright.job.read import read
from loopwright.rehearse.promise import PROMISES, UNTRIED
from loopwright.rehearse.rehearsal import rehearse
from loopwright.rehearse.sandbox import play
from rehearse.test_promises import broken, everywhere, good


def under(job: Job, **told: Any) -> Job:
    return replace(job, region=replace(job.region, **told))


@pytest.mark.parametrize("sounder_s, kept", [(240.0, True), (239.0, False)])
def test_a_household_sounder_runs_four_minutes_at_least(sounder_s: float, kept: bool) -> None:
    """UL 1023, from memory."""
    found = broken(good(sounder_s=sounder_s))
    assert (found == {}) == kept
    assert kept or "UL 1023 (from memory)" in found["sounds programme/sounder_s#law-0"].sentence


@pytest.mark.parametrize("sounder_s, kept", [(900.0, True), (901.0, False), (90.0, True), (89.0, False)])
def test_a_european_sounder_runs_90_s_to_15_min(sounder_s: float, kept: bool) -> None:
    """EN 50131-1, from memory."""
    found = broken(under(good(sounder_s=sounder_s), ruleset="en-grade-2"))
    assert any(name.startswith("sounds programme/sounder_s#law") for name in found) != kept


def test_sounding_in_a_set_period_is_bounded_by_lock_out_alone_and_the_story_sounds_twice() -> None:
    """An audible alarm in the United Kingdom: 20 min continuously, 1 h intermittently (a legal dictionary)."""
    endless = broken(under(good(), also=("uk-sounding",)))
    told = endless["sounds areas/house#in-all"]
    assert "any number of times" in told.sentence and "1 h intermittently" in told.sentence
    assert [any("sounder sounds" in line for line in told.lines[:-1]), "sounder sounds" in told.lines[-1]] == [True, True]
    # Eleven zones of three alarms each and an exit error: more than the hour at four minutes.
    bounded = broken(under(good(lock_out_trips=3), also=("uk-sounding",)))
    assert "in one set period" in bounded["sounds areas/house#in-all"].sentence
    law = {"sounding_total_s": LocalLimit(law="Bye-law 7", most_s=7000.0)}
    assert broken(under(good(lock_out_trips=2), local_law=law)) == {}
    law = {"sounding_total_s": LocalLimit(law="Bye-law 7", most_s=600.0)}
    assert "Bye-law 7" in broken(under(good(lock_out_trips=2), local_law=law))["sounds areas/house#in-all"].sentence


def test_what_a_tamper_sounds_is_held_against_the_cell_of_the_rules() -> None:
    """EN 50131-1 Table 7, seen in part: no sound outside while unset; it leaves hold-up free."""
    loud = good(sounds={"tamper-unset": "external", "hold-up-unset": "external"})
    job = everywhere(everywhere(loud, "z04", "tamper"), "z05", "hold-up")
    assert broken(job) == {}
    european = broken(under(job, ruleset="en-grade-3"))
    told = european["answers zones/z04/response/unset"]
    assert "Table 7" in told.sentence and "answers zones/z05/response/unset" not in european
    assert any("tamper while set" in line for line in rehearse(job, law_of(job)).not_covered)


@pytest.mark.parametrize("how, kept", [("follow", True), ("latch", True), ("timed", False), ("pulse", False)])
def test_a_strobe_goes_on(how: Any, kept: bool) -> None:
    job = read(demo.text("business")).job
    rule = replace(job.outputs["strobe"], how=how)
    job = replace(job, outputs={"strobe": rule})
    found = rehearse(job)
    assert ("outputs/strobe/how" not in [each.subject for each in found.broken]) == kept
    assert isinstance(rule, OutputRule) and "strobes" not in found.untried


def test_a_promise_never_put_to_the_test_says_so() -> None:
    assert set(UNTRIED) == set(PROMISES)
    job = good()
    silent = replace(job, zones={name: replace(zone, watched=None) for name, zone in job.zones.items()})
    assert "watched" in rehearse(silent).untried and "watched" not in rehearse(job).untried
    assert {"any-time", "answers", "confirm", "shared", "not-all-locked-out", "strobes"} <= set(rehearse(job).untried)
    nobody = replace(job, users={name: replace(user, areas={}) for name, user in job.users.items()})
    found = rehearse(nobody)
    assert {"watched", "walk", "setting", "cancel", "sounds"} <= set(found.untried)
    assert any("never comes to be set, full" in line for line in found.not_covered)
    doorless = replace(job, areas={"house": replace(job.areas["house"], entry_doors=())})
    assert "walk" in rehearse(doorless).untried


@pytest.mark.parametrize("soundings, kept", [(0, False), (6, False), (5, True), (10_000, False)])
def test_a_units_own_bound_on_its_sounders_is_held_against_the_law(soundings: int, kept: bool) -> None:
    """A legal dictionary: 20 min in one go. Five times 4 min are as long as that, six are longer."""
    job = under(good(soundings=soundings), also=("uk-sounding",))
    assert ("sounds areas/house#in-one-go" not in broken(job)) == kept


def test_sounders_that_sounded_as_often_as_they_may_say_so_until_somebody_unsets() -> None:
    """The alarm is there all the same, and it is sent."""
    acts = ["set|house|the owner|0|", "wait|60"]
    alarm = "activated|z07||0|"

    def heard(*more: str) -> tuple[str, ...]:
        return play(good(soundings=2), [*acts, *more]).log[-1].follows

    assert "external sounder sounds" in heard(alarm, "wait|300", alarm)
    third = heard(alarm, "wait|300", alarm, alarm)
    assert "alarm in House" in third and third[-1] == "the sounders have sounded as often as they may"
    again = heard(alarm, alarm, alarm, "unset|house|the owner|0|", "clear|house|the owner|0|", *acts, alarm)
    assert "external sounder sounds" in again


SETS, ALARM, DOOR = "set|house|the owner|0|", "activated|z07||0|", "activated|z01||0|"
"""The owner sets in full; a detector nobody passes; the front door."""
PHASES = {
    "intruder-full": [SETS, "wait|60", ALARM],
    "intruder-part": ["set|house|the owner|1|", "wait|60", "activated|z04||0|"],
    "intruder-exit": [SETS, ALARM],
    "intruder-entry": [SETS, "wait|60", DOOR, ALARM],
    "exit-error": [SETS, DOOR, "wait|60"],
}


@pytest.mark.parametrize("cell", PHASES)
def test_where_an_alarm_sounds_is_said_for_what_is_going_on(cell: str) -> None:
    """A cell says what sounds in its own case and in no other; where nothing is said, outside."""

    def heard(acts: list[str], **sounds: str) -> set[str]:
        said = "; ".join(play(good(sounds=sounds), acts).log[-1].follows)
        return {which for which in ("external", "internal") if f"{which} sounder sounds" in said}

    for each, acts in PHASES.items():
        assert heard(acts) == {"external"}
        assert heard(acts, **{cell: "internal"}) == {"internal" if each == cell else "external"}
        assert heard(acts, **{cell: "silent"}) == (set() if each == cell else {"external"})


def test_inside_only_while_it_sounds_outside_begins_nothing_and_outside_after_inside_does() -> None:
    def heard(*acts: str, **told: Any) -> tuple[str, ...]:
        job = everywhere(everywhere(good(sounds={"24-hour-set": "internal"}, **told), "z10", "24-hour"), "z11", "24-hour")
        return play(job, [SETS, "wait|60", *acts]).log[-1].follows

    inside, other = "activated|z10||0|", "activated|z11||0|"
    assert heard(ALARM, inside)[-1] == "the sounders sound already"
    assert heard(inside, ALARM)[-1] == "external sounder sounds" and heard(inside, other)[-1] == "internal sounder sounds"
    assert heard(ALARM, "wait|200", inside, "wait|40")[-1] == "sounder silent", "its time was not begun anew"
    assert heard(ALARM, ALARM)[-1] == "external sounder sounds"
    assert heard(ALARM, ALARM, sounder_anew=False)[-1] == "the sounders sound already"
    assert heard(ALARM, "wait|200", ALARM, "wait|40", sounder_anew=False)[-1] == "sounder silent"
    assert heard(inside, ALARM, sounder_anew=False)[-1] == "external sounder sounds"
    assert heard(ALARM, "wait|300", ALARM, sounder_anew=False)[-1] == "external sounder sounds", "it sounds again once it was silent"


INTRUDER = ("intruder-full", "intruder-part", "intruder-exit", "intruder-entry")


@pytest.mark.parametrize("told, kept", [
    ({}, False),
    ({"sounds": dict.fromkeys((*INTRUDER, "exit-error"), "internal")}, True),
    ({"sounds": dict.fromkeys(INTRUDER, "internal")}, True),
    ({"sounds": dict.fromkeys(INTRUDER, "silent")}, True),
    ({"sounds": {"intruder-exit": "silent", "intruder-full": "internal"}}, False),
])  # fmt: skip
def test_the_law_of_the_neighbours_is_held_against_what_sounds_outside(told: Any, kept: bool) -> None:
    """A legal dictionary: an audible alarm, 1 h intermittently. An exit error by itself is once in a set period."""
    assert ("sounds areas/house#in-all" not in broken(under(good(**told), also=("uk-sounding",)))) == kept


def test_sounders_whose_time_is_not_begun_anew_are_over_in_one_go() -> None:
    found = broken(under(good(sounder_anew=False), also=("uk-sounding",)))
    assert "sounds areas/house#in-one-go" not in found and "sounds areas/house#in-all" in found
    assert "sounds areas/house#in-one-go" in broken(under(good(), also=("uk-sounding",)))


def test_an_alarm_that_is_not_sent_is_to_be_heard_somewhere() -> None:
    job = good()
    unsent = replace(job, signalling=replace(job.signalling, reports={**job.signalling.reports, "alarm": "no"}))
    assert broken(unsent) == {}
    quiet = replace(unsent, programme=replace(job.programme, sounds={"intruder-entry": "silent", "24-hour-set": "silent"}))
    (only,) = broken(quiet).values()
    assert only.subject == "programme/sounds/intruder-entry" and "neither heard nor sent" in only.sentence
