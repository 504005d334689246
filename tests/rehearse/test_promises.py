"""Each promise kept by a good programme and broken by one wrong cell, with a story that says what happens."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Literal

import pytest

from loopwright import demo
from loopwright.appraisal.law import law_of
from loopwright.job.document import Job, User
from loopwright.job.read import read
from loopwright.rehearse.part import reached
from loopwright.rehearse.promise import PROMISES, Broken, Trial
from loopwright.rehearse.promises import areas
from loopwright.rehearse.reading import programme_of
from loopwright.rehearse.rehearsal import rehearse
from loopwright.rehearse.state import Event, begin
from loopwright.rehearse.step import step

EXPECTED: dict[str, Literal["full", "every-set"]] = {
    "z01": "full", "z02": "full", "z03": "every-set", "z04": "every-set", "z05": "every-set", "z06": "full", "z07": "full",
    "z08": "full", "z09": "every-set", "z10": "every-set", "z11": "every-set",
}  # fmt: skip


SENT = ("cancel", "override", "duress", "tamper", "hold-up", "zone-inhibited")


def good(**told: Any) -> Job:
    """Return the example dwelling with everything said that the promises ask for, and kept."""
    job = read(demo.text("dwelling")).job
    house = replace(job.areas["house"], entry_doors=("z01", "z02"), walked_past=("z06",), walk_s=20.0)
    signalling = replace(job.signalling, reports={**job.signalling.reports, **dict.fromkeys(SENT, "yes")})
    zones = {name: replace(zone, watched=EXPECTED[name]) for name, zone in job.zones.items()}
    return replace(job, areas={"house": house}, zones=zones, signalling=signalling, programme=replace(job.programme, **told))


def with_cell(job: Job, zone: str, state: str, word: str) -> Job:
    changed = replace(job.zones[zone], response={**job.zones[zone].response, state: word})
    return replace(job, zones={**job.zones, zone: changed})


def everywhere(job: Job, zone: str, word: str) -> Job:
    changed = replace(job.zones[zone], response=dict.fromkeys(job.zones[zone].response, word))
    return replace(job, zones={**job.zones, zone: changed})


def broken(job: Job) -> dict[str, Broken]:
    return {f"{each.promise} {each.subject}": each for each in rehearse(job, law_of(job)).broken}


def test_a_good_programme_is_not_accused() -> None:
    assert broken(good()) == {}


def test_a_zone_that_does_nothing_where_an_alarm_is_expected_breaks_the_promise_with_a_story() -> None:
    (only,) = broken(with_cell(good(), "z04", "stay", "ignored")).values()
    assert (only.promise, only.subject) == ("watched", "zones/z04/response/stay")
    assert only.lines == (
        "0 s: The owner sets House, stay: the exit time of House begins.",
        "60 s: The time of House is over: House is set.",
        "60 s: Zone 4 (Kitchen windows) opens: nothing happens.",
    )


def test_entry_is_an_answer_at_a_declared_door_only() -> None:
    found = broken(with_cell(good(), "z03", "full", "final-exit"))
    assert "no declared entry door" in found["watched zones/z03/response/full"].sentence


def test_soak_test_is_a_quiet_reason_with_a_name() -> None:
    assert broken(with_cell(good(), "z04", "full", "soak-test")) == {}


@pytest.mark.parametrize("walk_s, held", [(29.0, True), (30.0, False), (31.0, False)])
def test_the_walk_in_is_held_against_the_entry_time_ties_both_ways(walk_s: float, held: bool) -> None:
    job = good()
    job = replace(job, areas={"house": replace(job.areas["house"], walk_s=walk_s)})
    found = broken(job)
    assert ("walk areas/house/entry_doors#z01-in" not in found) == held
    if not held:
        assert found["walk areas/house/entry_doors#z01-in"].story[-1].at_s == 30 + 60


def test_the_walk_out_is_held_against_the_exit_time() -> None:
    job = good()
    job = replace(job, areas={"house": replace(job.areas["house"], walk_s=60.0, entry_s=90.0)})
    found = broken(job)
    assert {name for name in found if name.startswith("walk")} == {f"walk areas/house/entry_doors#{door}-out" for door in ("z01", "z02")}


def test_a_detector_passed_on_the_way_has_to_tolerate_it() -> None:
    found = broken(with_cell(good(), "z06", "full", "immediate"))
    assert "walk areas/house/entry_doors#z01-in" in found and "alarm in House" in found["walk areas/house/entry_doors#z01-in"].lines[-1]


def test_a_walk_is_tried_in_the_set_states_people_come_in_in() -> None:
    """Unless it is said that they come in in full set only, a part set is tried too; where nothing is said, that is told."""
    job = with_cell(good(), "z01", "stay", "immediate")
    said = {each: replace(job, areas={"house": replace(job.areas["house"], entered=each)}) for each in (None, "full", "every-set")}
    walks = {each: sorted(subject for subject in broken(made) if subject.startswith("walk")) for each, made in said.items()}
    assert walks["full"] == [] and walks[None] == walks["every-set"] == [f"walk areas/house/entry_doors#z01-{way}" for way in ("in", "out")]
    untold = {each: any("set in part" in line for line in rehearse(made).not_covered) for each, made in said.items()}
    assert untold == {None: True, "full": False, "every-set": False}


def test_who_clears_and_who_unsets_has_to_be_somebody() -> None:
    assert "way-back areas/house#clear" in broken(good(alarm_reset="engineer"))
    job = good(alarm_reset="engineer")
    engineer = replace(job.users["service"], access="engineer")
    assert broken(replace(job, users={**job.users, "service": engineer})) == {}
    assert "way-back areas/house#clear" not in broken(good(alarm_reset="remote"))
    users = {name: replace(user, areas={"house": "set"}) for name, user in job.users.items()}
    assert "way-back areas/house#unset" in broken(replace(good(), users=users))


def test_a_condition_that_is_not_looked_at_is_told() -> None:
    found = broken(good(prevents={"mains": "ignored", "open": "ignored"}))
    assert {name for name in found if name.startswith("setting")} == {"setting programme/prevents/mains", "setting programme/prevents/open"}
    assert broken(good(prevents={"open": "user", "tamper": "user", "memory": "engineer"})) == {}


def test_an_alarm_sent_is_cancelled() -> None:
    job = good()
    job = replace(job, signalling=replace(job.signalling, reports={**job.signalling.reports, "cancel": "no"}))
    only = broken(job)["cancel signalling/reports/cancel"]
    assert [scene.at_s for scene in only.story][-2:] == [30.0, 30.0]


def test_entry_and_abort_together_are_held_to_the_minute() -> None:
    """UL note beside SIA CP-01: entry delay and abort window together at most 60 s."""
    assert broken(good(abort_s=30.0)) == {}
    assert "cancel areas/house/entry_s" in broken(good(abort_s=31.0))


def test_confirmation_has_to_be_possible_and_of_two_circuits() -> None:
    assert broken(good(confirm_s=1800.0)) == {}
    job = good(confirm_s=1800.0)
    zones = {name: replace(zone, circuit="p04") if name == "z05" else zone for name, zone in job.zones.items()}
    found = broken(replace(job, zones=zones))
    assert set(found) == {"confirm zones/z05/circuit"} and "confirmed alarm" in found["confirm zones/z05/circuit"].lines[-1]
    lone = replace(job, zones={name: zone for name, zone in zones.items() if name == "z03"})
    lone = replace(lone, areas={"house": replace(lone.areas["house"], entry_doors=(), walked_past=())})
    assert "confirm areas/house#confirm" in broken(lone)


def test_sounders_without_a_time_are_mute() -> None:
    assert "sounds programme/sounder_s" in broken(good(sounder_s=0.0))


def test_lock_out_that_outlasts_the_set_period_can_silence_everybody() -> None:
    assert broken(good(lock_out_trips=2)) == {}
    found = broken(good(lock_out_trips=1, lock_out_reset="midnight"))
    only = found["not-all-locked-out areas/house#locked-out"]
    assert any("aborted" in line for line in only.lines)


def test_duress_and_hold_up_are_signalled() -> None:
    job = everywhere(good(), "z05", "hold-up")
    job = replace(job, users={**job.users, "owner": replace(job.users["owner"], duress=True)})
    reports = {**job.signalling.reports, "hold-up": "yes", "duress": "yes"}
    assert broken(replace(job, signalling=replace(job.signalling, reports=reports))) == {}
    silent = replace(job, signalling=replace(job.signalling, reports={**reports, "hold-up": "no", "duress": "local"}))
    assert set(broken(silent)) == {"answers signalling/reports/hold-up", "answers signalling/reports/duress"}


def test_no_sound_outside_while_unset_in_europe() -> None:
    job = with_cell(
        with_cell(with_cell(good(sounds={"24-hour-unset": "external"}), "z05", "unset", "24-hour"), "z05", "full", "24-hour"),
        "z05",
        "stay",
        "24-hour",
    )
    assert broken(job) == {}
    assert set(broken(replace(job, region=replace(job.region, ruleset="en-grade-2")))) == {"answers zones/z05/response/unset"}


def shared(**told: Any) -> Job:
    """Return the example business with its two areas upstairs and the lobby they share, every cell said."""
    job = read(demo.text("business")).job
    job = with_cell(job, "z23", "late", "immediate")
    signalling = replace(job.signalling, reports={**job.signalling.reports, "cancel": "yes"})
    return replace(job, signalling=signalling, programme=replace(job.programme, **told))


def of_lobby(job: Job) -> dict[str, Broken]:
    return {each.subject: each for each in areas.shared(Trial(job, programme_of(job)))}


def test_a_shared_area_follows_its_areas_unless_its_setting_can_fail() -> None:
    assert of_lobby(shared()) == {}
    only = of_lobby(shared(exit_error="fails"))["areas/lobby#left-unset"]
    assert "all of its areas set" in only.sentence and "fails" in only.lines[-1]
    assert of_lobby(shared(exit_error="fails", lobby_sets="at-once")) == {}


def test_somebody_who_may_unset_the_shared_area_leaves_it_unset() -> None:
    job = shared()
    users = {name: replace(user, areas={**user.areas, "lobby": "both"}) for name, user in job.users.items()}
    assert "areas/lobby#left-unset" in of_lobby(replace(job, users=users))


def test_the_business_says_what_was_not_covered_and_which_zone_answers_at_any_time_in_part() -> None:
    found = rehearse(read(demo.text("business")).job)
    assert [each.subject for each in found.broken] == [
        "zones/z30/response", "areas/shop/entry_doors#z04-in", "areas/shop/entry_doors#z04-out", "signalling/reports/cancel"
    ]  # fmt: skip
    assert "power" not in found.untried and not any("power" in line for line in found.not_covered)
    assert found.left_out == ("Zone 23 (Meeting room window) says nothing for late: searched without it.",)
    assert any("Lobby" in line for line in found.not_covered) and found.left_out[0] in found.not_covered
    assert all(each.promise in PROMISES for each in found.broken)


@pytest.mark.parametrize("word", ["instant", "immediate"])
def test_other_words_of_the_trade_are_known(word: str) -> None:
    assert broken(with_cell(good(), "z03", "full", word)) == {}


def test_areas_shared_in_a_circle_are_told_and_not_searched() -> None:
    job = shared()
    circle = {**job.areas, "offices": replace(job.areas["offices"], common_to=("lobby",))}
    assert any("shared by it" in line for line in rehearse(replace(job, areas=circle)).not_covered)


CHANGES = [
    ("z04", "full", "ignored"),
    ("z03", "stay", "soak-test"),
    ("z01", "full", "24-hour"),
    ("z06", "full", "immediate"),
    ("z09", "full", "hold-up"),
]


def test_what_was_searched_before_says_of_a_changed_cell_what_a_new_search_says() -> None:
    """Stories too: of zones that do the same each is told by its own name."""
    job, warm = good(), []
    for change in CHANGES:
        rehearse(job)
        warm.append(rehearse(with_cell(job, *change)))
    for change, found in zip(CHANGES, warm, strict=True):
        reached.cache_clear()
        assert rehearse(with_cell(job, *change)) == found
    told = [broken(with_cell(job, name, "full", "ignored"))[f"watched zones/{name}/response/full"] for name in ("z04", "z05")]
    assert ["Kitchen" in told[0].lines[-1], "Living room" in told[1].lines[-1]] == [True, True]


def test_an_area_that_sets_itself_warns_and_tells_when_it_cannot() -> None:
    def with_schedule(job: Job, **said: Any) -> Job:
        return replace(job, areas={"house": replace(job.areas["house"], set_at="weekdays 22:00", **said)})

    job = with_schedule(good(), warning_s=120.0)
    told = replace(job, signalling=replace(job.signalling, reports={**job.signalling.reports, "setting-failed": "yes"}))
    assert broken(told) == {}
    found = broken(job)
    assert set(found) == {"schedule signalling/reports/setting-failed"}
    story = found["schedule signalling/reports/setting-failed"].story
    assert [scene.at_s for scene in story][-1] == 120 and "House cannot be set" in story[-1].words
    assert "schedule areas/house/warning_s" in broken(with_schedule(told, warning_s=None))


def test_who_has_but_a_fob_overrides_nothing_and_clears_nothing() -> None:
    job = good(override_open=True)
    users = {"guard": User(role="guard", areas={"house": "both"}, fob=True)}
    people = programme_of(replace(job, users=users)).people
    assert [person.name for person in people] == ["the guard", "the guard by fob"]
    made = replace(programme_of(replace(job, users=users)), people=people[1:])
    state = {**begin(made), "z03.open": 1}
    assert step(made, state, Event("set", "house", "the guard by fob", 1)) is None
    after = step(made, state, Event("set", "house", "the guard by fob"))
    assert after is not None and [each.word for each in after[1]] == ["prevented"] and after[0]["house.mode"] == 0
    shut = step(made, begin(made), Event("set", "house", "the guard by fob"))
    assert shut is not None and shut[0]["house.mode"] == 1
    assert step(made, {**begin(made), "house.memory": 1}, Event("clear", "house", "the guard by fob")) is None


def test_whoever_is_made_to_put_the_setting_off_says_so_in_silence() -> None:
    job = good()
    users = {**job.users, "owner": replace(job.users["owner"], duress=True)}
    house = replace(job.areas["house"], set_at="weekdays 22:00", warning_s=120.0)
    made = programme_of(replace(job, users=users, areas={"house": house}))
    after = step(made, {**begin(made), "house.warns": 1}, Event("put-off", "house", "the owner under duress"))
    assert after is not None and after[0]["house.warns"] == 0
    assert [(each.word, each.about) for each in after[1]][-1] == ("sent", "duress") and after[1][0].word == "put-off"
