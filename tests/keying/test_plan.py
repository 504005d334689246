"""The plan of the example dwelling, its forms held against what its sheet says, contradictions told, and codes never shown."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.appraisal.appraise import appraise
from loopwright.job.document import Job, Stage
from loopwright.job.read import read
from loopwright.job.sheet import KeyingSheet, Setting
from loopwright.keying.form import Form, Kind, Unfit, same
from loopwright.keying.found import found_at, readings_in
from loopwright.keying.pace import Pace, paces_of
from loopwright.keying.plan import plan_of
from loopwright.keying.spot import spots_of, units_of
from loopwright.programme.route import IN, routes_of
from often import often

DWELLING = demo.text("dwelling")


@pytest.fixture(scope="module")
def job() -> Job:
    return read(DWELLING).job


def changed(old: str, new: str) -> Job:
    assert old in DWELLING
    return read(DWELLING.replace(old, new)).job


def entries(job: Job) -> dict[str, str]:
    return {entry.address: entry.keys for entry in plan_of(job, "panel").entries}


def test_only_what_differs_is_entered_and_what_shares_an_address_is_entered_at_once(job: Job) -> None:
    keyed = entries(job)
    assert keyed["page Doors, line Coming home"] == "030" and "page Doors, line Leaving" not in keyed
    assert keyed["page Doors, line Habits"] == "ATX" and keyed["page Station, line Tells of"] == "YYYYYNY"
    assert keyed["page Zones, leaf 1, line Ways"] == "DDC" and "page Zones, leaf 4, line Ways" not in keyed
    assert keyed["page Zones, leaf 12, line Wired"] == "free" and "page Siren, line Minutes" not in keyed


def test_what_is_enrolled_comes_first_and_the_code_that_locks_the_unit_last(job: Job) -> None:
    order = [entry.address for entry in plan_of(job, "panel").entries]
    assert order[:2] == ["page Keypads, line 1", "page Keypads, line 2"] and order[-1] == "page Words, line Installer"
    assert order.index("page Station, line Our number") < order.index("page Station, line Tells of")


def test_what_was_keyed_and_found_again_leaves_nothing_to_enter_but_codes(job: Job) -> None:
    """The way back of the way there: reading every address of a unit that was keyed gives the programme and no difference."""
    plan = plan_of(job, "panel")
    shown = "\n".join(f"{entry.address} = {entry.shows}" for entry in plan.entries if not entry.by_hand)
    told = found_at(job, "panel", readings_in(shown)[0])
    assert not told.problems and not told.differences
    rest = {spot.key: spot.default for spot in spots_of(job, "panel") if spot.key not in told.values and spot.form.kind not in HAND}
    again = plan_of(job, "panel", told.values | rest)
    assert all(entry.by_hand for entry in again.entries) and not again.restore


HAND = (Kind.SECRET, Kind.CLOCK)


def test_the_programme_found_names_what_differs_and_repeats_nothing_that_may_be_a_code(job: Job) -> None:
    text = (
        "page Doors, line Coming home = 045\npage Words, line 1 = 471199\npage Doors, line Leavin = 9\n"
        "page Zones, leaf 12, line Wired = 471199\npage Zones, leaf 44, line Name = CELLAR\n"
    )
    told = found_at(job, "panel", readings_in(text)[0])
    assert [(row.path, row.found, row.programme, row.factory) for row in told.differences] == [
        ("areas/house/entry_s", "45 s", "30 s", True),
        ("zones/zone-44/text", "‘CELLAR’", "", False),
    ]
    said = " ".join(str(problem) for problem in told.problems)
    assert [problem.line for problem in told.problems] == [2, 3, 4] and "471199" not in said and "such as page Doors, line Leaving" in said


def test_no_code_stands_in_a_plan_and_each_is_named_by_whose_it_is(job: Job) -> None:
    plan = plan_of(job, "panel")
    by_hand = [entry for entry in plan.entries if entry.by_hand]
    assert {"the code of owner from the vault", "the installer's code from the vault"} <= {entry.keys for entry in by_hand}
    assert "the code of service" in plan.unsaid, "who may do nothing in any area has no code of a user"
    assert all(not entry.shows for entry in by_hand) and "door label" not in json.dumps(asdict(plan))


@pytest.mark.parametrize(
    ("old", "new", "subject", "words"),
    [
        ("entry_s: 30", "entry_s: 33", "areas/house/entry_s", "33 s cannot be keyed. It takes 15 to 240 s in steps of 5"),
        ("sounder_s: 4 min", "sounder_s: 250", "programme/sounder_s", "Nearest: 4 min or 5 min"),
        ("text: Front door", "text: Haustür vorn", "zones/z01/text", "‘Ü’, which this unit cannot show"),
        ("text: Den windows", "text: Den windows to the garden side", "zones/z09/text", "has 30 characters"),
        ("full: entry-route", "full: soak-test", "zones/z06/response/full", "no word for ‘soak-test’"),
        ("number: 11", "number: 13", "zones/z11/text", "There is no place for number 13"),
        ("abort_s: 30", "abort_s: 90", "programme/abort_s", "It takes 15 to 45 s"),
    ],
)
def test_what_the_unit_cannot_hold_is_a_finding_with_what_would_be_right(old: str, new: str, subject: str, words: str) -> None:
    job = changed(old, new)
    found = [each for each in appraise(job).findings if each.code == "setting-not-on-unit" and each.subject == subject]
    assert len(found) == 1 and words in f"{found[0].sentence} {found[0].remedy}"
    plan = plan_of(job, "panel")
    assert subject in {misfit.path for misfit in plan.misfits} and plan.entries


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("of: programme/abort_s, ", "of: programme/second_thoughts, ", "no place of the document"),
        ("leaf {zone}, line Wired", "leaf 1, line Wired", "does not say which row"),
        ("digits: 2, least: 15, most: 45", "digits: 2, least: 45, most: 15", "is above the most"),
        ("{yes: joined, no: empty}", "{yes: joined, no: joined}", "the same is keyed for"),
        ("after: [account]", "after: [acount]", "entered after acount"),
        ("of: codes/account, clears", "of: codes/account, after: [send-alarm], clears", "waits for"),
        ("default: on the door label, of: codes/installer", 'default: "4711", of: codes/installer', "a code stands in it"),
        ("default: 45 s", "default: 47 s", "what the factory left there cannot be there"),
        ("place: 1, choices: {yes: A, no: X}", "place: 1, choices: {yes: AGAIN, no: X}", "cannot be told apart"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_a_finding_and_the_plan_is_made_all_the_same(old: str, new: str, words: str) -> None:
    job = changed(old, new)
    told = [f"{each.sentence} {each.remedy}" for each in appraise(job).findings if each.code.startswith("keyed-")]
    assert any(words in each for each in told) and plan_of(job, "panel").entries
    assert not any("4711" in each for each in told)


def test_a_system_in_use_is_warned_of_and_a_restore_above_all(job: Job) -> None:
    live = replace(job, stage=Stage.IN_SERVICE)
    assert any("on test" in each for each in plan_of(live, "panel").warnings)
    assert not any("on test, tell" in each for each in plan_of(job, "panel").warnings)
    restored = plan_of(live, "panel", {}, restore=True)
    assert restored.restore == "page Panel, line As new" and any("takes every user" in each for each in restored.warnings)


def test_the_times_are_held_against_the_stopwatch_the_rules_and_the_steps_of_the_unit(job: Job) -> None:
    def told(walk_s: float) -> list[Any]:
        areas = {"house": replace(job.areas["house"], walk_s=walk_s)}
        return list(paces_of(replace(job, areas=areas), "panel"))

    entry, leaving = told(33.0)
    assert entry.enough is False and entry.proposed_s == 45.0
    assert entry.sentence.endswith("it alarms on the way. Enter 45 s, and shorten the abort window to 15 s."), "60 s together (UL note)"
    assert leaving.enough is True and leaving.sentence == "60 s is enough for the slowest walk of 33 s."
    assert told(38.0)[0].proposed_s is None, "48 s would be over the 45 s that are allowed"


def test_the_time_of_a_shared_area_is_held_against_those_who_walk_through_it_and_a_slower_person_against_every_time() -> None:
    job = read(demo.text("business")).job
    assert job.areas["lobby"].walk_s is None
    offices = job.areas["offices"].walk_s
    assert offices is not None

    def paces(job: Job) -> dict[str, Pace]:
        return {pace.path: pace for pace in paces_of(job, units_of(job)[-1])}

    told = paces(job)
    assert told["areas/lobby/entry_s"].walk_s == offices, "the slowest of those whose street door lies in it"
    assert told["areas/lobby/entry_s"].enough is False
    slow = replace(job, users={**job.users, "owner": replace(job.users["owner"], walk_s=offices + 9)})
    through_the_lobby = [each for each in routes_of(slow) if each.user == "owner" and each.way == IN and "lobby" in each.areas]
    assert through_the_lobby
    for route in through_the_lobby:
        assert {paces(slow)[f"areas/{name}/entry_s"].walk_s for name in route.areas} == {offices + 9}


numbers = st.builds(
    Form, kind=st.just(Kind.NUMBER), unit=st.just("s"), unit_s=st.sampled_from([1.0, 60.0]), digits=st.none() | st.integers(1, 4),
    least=st.integers(0, 20).map(float), most=st.integers(20, 300).map(float), step=st.sampled_from([1.0, 5.0, 0.5]),
)  # fmt: skip


@given(numbers, st.integers(0, 600))
@settings(max_examples=often(150), deadline=None)
def test_what_is_keyed_reads_back_as_what_was_meant_and_what_cannot_be_has_neighbours_that_can(form: Form, half_units: int) -> None:
    value = half_units / 2 * form.unit_s
    try:
        keys = form.keyed(value)
    except Unfit:
        for near in form.nearest(value):
            assert form.keyed(near)
        return
    assert same(form.meant(keys), value) and (form.digits is None or len(keys) == form.digits)


@given(st.lists(st.sampled_from(["hall", "shop", "yard"]), unique=True), st.permutations(["1", "12", "2"]))
@settings(max_examples=often(40), deadline=None)
def test_what_is_ticked_reads_back_in_any_order(ticked: list[str], keys: list[str]) -> None:
    form = Form(kind=Kind.TICKS, options={**dict(zip(("hall", "shop", "yard"), keys, strict=True)), "none": "0"})
    assert same(form.meant(form.keyed(tuple(ticked))), tuple(ticked))


def test_a_unit_with_settings_of_its_own_has_its_own_plan_before_the_one_that_looks_for_it() -> None:
    bindery = read(demo.text("business")).job
    assert units_of(bindery) == ["keypad-lobby", "keypad-press", "keypad-office", "control"]
    plans = [plan_of(bindery, unit) for unit in units_of(bindery)[:3]]
    assert [[entry.keys for entry in plan.entries] for plan in plans] == [[], ["2"], ["3"]], "one is there from the factory"
    assert all(plan.presses is None and "set by hand" in plan.in_all for plan in plans), "a wheel has no keys to press"
    assert {plan.how for plan in plans} == {"set by hand"} and plan_of(bindery, "control").how == "keyed"
    assert all(entry.presses is None for plan in plans for entry in plan.entries) and all(plan.otherwise is None for plan in plans)
    assert all(entry.presses is not None for entry in plan_of(bindery, "control").entries)
    assert "key presses" in plan_of(bindery, "control").in_all
    late = replace(bindery.sheets.equipment["oq-k"], keying=KeyingSheet(turn="last"))
    sheets = replace(bindery.sheets, equipment={**bindery.sheets.equipment, "oq-k": late})
    assert units_of(replace(bindery, sheets=sheets))[0] == "control"


def test_a_module_is_told_of_the_zones_on_its_own_inputs() -> None:
    bindery = read(demo.text("business")).job
    names = Setting(address="card {zone}", default="Card {zone}", of="zones/*/text", longest=24)
    sheets = {**bindery.sheets.equipment, "oq-e16": replace(bindery.sheets.equipment["oq-e16"], settings={"names": names})}
    job = replace(bindery, sheets=replace(bindery.sheets, equipment=sheets))
    numbers = {entry.address for entry in plan_of(job, "expander").entries}
    here = [zone for zone in job.zones.values() if (job.circuits[zone.circuit].input or "").startswith("expander.")]
    assert len(here) > 8 and numbers == {f"card {zone.number}" for zone in here}
