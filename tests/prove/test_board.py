"""The board: a walk with three mistakes wired on purpose, and what must hold of any events in any order."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.circuits.forecast import forecast_circuits
from loopwright.explain.explain import Inquiry
from loopwright.job.document import Job
from loopwright.prove.board import Board, board
from loopwright.prove.call import About
from loopwright.prove.heard import Heard, of_received
from loopwright.prove.kind import Kind
from loopwright.prove.record import Walked
from loopwright.prove.walk import walking_order
from loopwright.prove.wiring import answers, named, signs
from loopwright.signalling.contact_id import event_in
from loopwright.signalling.event_block import events_in
from loopwright.signalling.received import Polled, Received, Way

from .walk import BEGIN, Site, designed, miswired, reporting, tour

JOB = designed()
FORECAST = forecast_circuits(JOB)
ORDER = walking_order(JOB, reporting(JOB))
LATER = BEGIN + timedelta(hours=3)
MISTAKES = Site(JOB, miswired(JOB))
WALKED, EVENTS = tour(MISTAKES, ORDER)
HEARD = [of_received(each) for each in EVENTS]


POLLED = Polled(
    account="4711", line="0", receiver=None, way=Way.UDP, peer="192.0.2.7", first_at=BEGIN, last_at=BEGIN + timedelta(seconds=100), polls=3,
    longest_s=61.0,
)  # fmt: skip


def seen(heard: list[Heard], walked: list[Walked] = WALKED, **more: object) -> Board:
    return board(JOB, FORECAST, heard, walked, **{"now": LATER, **more})  # type: ignore[arg-type]


def test_three_mistakes_made_on_purpose_are_called_out_and_named() -> None:
    found = seen(HEARD)
    urgent = {each.about: each for each in found.calls if each.urgent}
    assert set(urgent) == {About.SWAPPED, About.WRONG_KIND, About.NOTHING}
    assert urgent[About.SWAPPED].zones == (8, 11)
    assert "Roller door reports as 11" in urgent[About.SWAPPED].sentence
    assert "control.11 and control.8" in urgent[About.SWAPPED].sentence
    assert urgent[About.WRONG_KIND].sentence == (
        "You walked across the Packing detector; zone 12 reported a tamper; the design says an alarm."
    )
    assert urgent[About.NOTHING].sentence == (
        "You opened the lid of the Lobby detector; nothing reported; the design says a tamper of zone 2."
    )
    inquiry = Inquiry(JOB)
    named_as = {circuit: answers(named(inquiry, noted))[0] for circuit, noted in signs(JOB, found.acts, found.calls).items()}
    assert named_as["c12"][1] == "Alarm resistor missing across contact"
    assert named_as["c02"][1] == "Tamper left unwired or linked out"
    assert set(named_as) == {"c02", "c12"}


def test_a_walk_wired_as_designed_calls_nothing_out_and_proves_every_device() -> None:
    walked, events = tour(Site(JOB, JOB), ORDER)
    found = seen([of_received(each) for each in events], walked)
    assert not found.calls
    assert {each.walked.device for each in found.acts if each.met is None} == set()
    assert not found.waiting


@pytest.mark.parametrize("wired", [JOB, miswired(JOB)], ids=["as designed", "miswired"])
def test_without_a_word_the_walk_is_inferred_and_says_so(wired: object) -> None:
    _, events = tour(Site(JOB, wired), ORDER, lids=False)  # type: ignore[arg-type]
    found = seen([of_received(each) for each in events], [], order=ORDER)
    urgent = [each for each in found.calls if each.urgent]
    assert all(not each.sure for each in urgent)
    assert {each.about for each in urgent} == (set() if wired is JOB else {About.SWAPPED, About.WRONG_KIND})


def test_the_wrong_zone_is_called_out_at_once_and_settled_when_it_is_mended() -> None:
    site = Site(JOB, miswired(JOB))
    say = Walked(id="a", at=BEGIN.isoformat(), by="J. Pell", device="door-yard")
    first = [of_received(each) for each in site.act("door-yard", "operate", BEGIN)]
    (call,) = [each for each in seen(first, [say], now=BEGIN + timedelta(seconds=5)).calls if each.urgent]
    assert call.sentence.startswith("You opened the Yard door; zone 8 reported; the design says 11.")
    assert "the Roller door next" in call.sentence
    again = BEGIN + timedelta(minutes=9)
    mended = [of_received(replace(each, number=900 + at)) for at, each in enumerate(Site(JOB, JOB).act("door-yard", "operate", again))]
    after = seen([*first, *mended], [say, replace(say, id="b", at=again.isoformat())], now=again + timedelta(minutes=1))
    assert not [each for each in after.calls if each.urgent]
    assert [each.over for each in after.calls if each.about is About.WRONG_ZONE] == [True]
    assert "walk:door-yard" in after.proved
    assert "walk:door-roller" not in after.proved


def test_two_people_who_test_at_once_are_told_apart() -> None:
    """One is slow at the shop door while the other has gone on through two doors; then one of them opens the wrong one."""
    site = Site(JOB, JOB)
    acts = [("J. Pell", "door-shop", 0), ("O. Rees", "door-front", 6), ("O. Rees", "door-yard", 40), ("O. Rees", "door-roller", 90)]
    said = [Walked(id=str(at), at=(BEGIN + timedelta(seconds=at)).isoformat(), by=by, device=device) for by, device, at in acts]
    when = {"door-front": 8, "door-yard": 44, "door-shop": 118}
    heard = [of_received(each) for device, at in when.items() for each in site.act(device, "operate", BEGIN + timedelta(seconds=at))]
    early = seen([each for each in heard if each.at < BEGIN + timedelta(seconds=12)], said[:2], now=BEGIN + timedelta(seconds=13))
    assert not [each for each in early.calls if each.urgent], "who goes on ends nobody else's act"
    found = seen(heard, said, now=BEGIN + timedelta(seconds=130))
    assert not [each for each in found.calls if each.urgent]
    assert {f"walk:{device}" for device in when} <= set(found.proved)
    heard += [of_received(each) for each in site.act("door-escape", "operate", BEGIN + timedelta(seconds=125))]
    (call,) = [each for each in seen(heard, said, now=BEGIN + timedelta(seconds=130)).calls if each.urgent]
    assert call.sentence.startswith("O. Rees opened the Roller door; zone 28 reported; the design says 8.")


def test_what_asks_something_of_whoever_walks_stands_before_the_rest_and_paths_that_take_turns_are_told_once() -> None:
    heard = [Heard(n="0", at=BEGIN, kind=Kind.ALARM, zone=4, by="TCP 192.0.2.7", repeats=1)]
    heard += [
        Heard(n=str(at), at=BEGIN + timedelta(seconds=at), kind=Kind.TEST, by=("TCP 192.0.2.7", "UDP 192.0.2.7")[at % 2])
        for at in range(1, 12)
    ]
    told = seen(heard, [], now=BEGIN + timedelta(seconds=200)).calls
    assert [each.about for each in told if each.asks or each.about is About.PATH] == [About.NO_RESTORE, About.PATH, About.PATH]
    assert any(each.sentence.startswith("1 message came again and counts once") for each in told)


def test_two_devices_behind_one_zone_are_asked_after() -> None:
    heard = [Heard(n="1", at=BEGIN, kind=Kind.ALARM, zone=5)]
    found = seen(heard, [])
    assert "walk:dual-shop" not in found.proved
    assert [each.devices for each in found.calls if each.about is About.WHICH] == [("dual-shop", "dual-till")]
    said = Walked(id="a", at=(BEGIN - timedelta(seconds=2)).isoformat(), by="J. Pell", device="dual-till")
    assert set(seen(heard, [said]).proved) == {"walk:dual-till"}


def test_restores_are_chased_clocks_paths_polls_and_repeats_are_told() -> None:
    heard = [
        Heard(n="1", at=BEGIN, kind=Kind.ALARM, zone=4, by="TCP 192.0.2.7", skew_s=95.0, repeats=2),
        Heard(n="2", at=BEGIN + timedelta(seconds=300), kind=Kind.ALARM, zone=44, by="UDP 192.0.2.7", code="130"),
        Heard(n="3", at=BEGIN + timedelta(seconds=301), kind=Kind.ALARM, zone=1, by="UDP 192.0.2.7", code="150", area=2),
    ]
    told = {each.about: each.sentence for each in seen(heard, [], poll_s=60.0, polled=[POLLED], now=BEGIN + timedelta(seconds=310)).calls}
    assert told[About.NO_RESTORE].startswith("Zone 4 (Shop door) has not restored its alarm for 5 min")
    assert "95 s ahead" in told[About.CLOCK]
    assert told[About.REPEATED].startswith("2 messages came again and count once")
    assert "UDP 192.0.2.7, before that by TCP" in told[About.PATH]
    assert told[About.LATE_POLL] == "No poll came by UDP 192.0.2.7 for 201 s; one is promised every 60 s."
    assert About.LATE_POLL not in {each.about for each in seen(heard, [], polled=[POLLED]).calls}, "nothing is promised"
    assert told[About.NO_ZONE] == "Zone 44 reported an alarm; the design has no zone 44."
    assert "area 2; the design has it in Lobby and stair (4)" in told[About.WRONG_AREA]
    assert "code 150; the table says 134" in told[About.WRONG_CODE]


def numbered(**numbers: int) -> Job:
    users = {name: replace(user, number=numbers.get(name), duress_number=numbers.get(f"{name}-duress")) for name, user in JOB.users.items()}
    return replace(JOB, users=users)


def set_by(*events: str) -> list[Heard]:
    """Return events of Contact ID as they are written: qualifier and code, area, user."""
    site = Site(JOB, JOB)
    return [
        of_received(replace(site.event("1", "130", 1, BEGIN + timedelta(seconds=at)), event=event_in(each)))
        for at, each in enumerate(events)
    ]


@pytest.mark.parametrize(
    ("events", "told"),
    [
        (("3401 01 004",), "User 4 set the system; the programme has no user 4"),
        (("1401 01 004", "3401 01 004", "1406 01 004"), "User 4 unset the system; the programme has no user 4"),
        (("1401 03 003",), "User 3 (workshop foreman) unset Offices; the programme lets them set it alone."),
        (("3401 01 002",), ""),
        (("1401 02 003", "3401 03 003"), ""),
        (("1401 01 009", "1121 01 009"), ""),
        (("1401 02 000", "3403 01 031", "3408 01 031", "1409 01 031"), ""),
    ],
)
def test_who_sets_and_unsets_is_held_against_the_users_of_the_programme(events: tuple[str, ...], told: str) -> None:
    """What a number counts is DC-05: in 401 a user, in 403 nobody, in 408 one key, in 409 a lock, in 121 a user under duress."""
    job = numbered(**{"shop-staff": 2, "foreman": 3, "owner": 1, "owner-duress": 9})
    assert list(job.areas)[:3] == ["shop", "workshop", "offices"]
    found = board(job, FORECAST, set_by(*events), [], now=LATER)
    said = [each.sentence for each in found.calls if each.urgent]
    assert len(said) == bool(told) and "duress" not in " ".join(said)
    assert told in " ".join(said)
    assert not [each for each in board(JOB, FORECAST, set_by(*events), [], now=LATER).calls if each.urgent], "nobody has a number"


def test_a_code_given_under_duress_is_a_user_and_no_zone() -> None:
    (heard,) = set_by("1121 01 012")
    assert (heard.kind, heard.zone, heard.user) == (Kind.HOLD_UP, None, 12)


def test_the_same_event_told_by_either_standard_is_the_same() -> None:
    site = Site(JOB, JOB)
    contact = of_received(site.event("3", "130", 12, BEGIN))
    (event,) = events_in(["Nri2/BR012"]) or ()
    block = of_received(replace(site.event("3", "130", 12, BEGIN), event=event))
    assert (contact.kind, contact.restored, contact.zone, contact.area) == (block.kind, block.restored, block.zone, block.area)


EVENT = st.builds(
    Heard,
    n=st.integers(0, 40).map(str),
    at=st.integers(0, 3600).map(lambda s: BEGIN + timedelta(seconds=s)),
    kind=st.sampled_from(Kind),
    restored=st.booleans(),
    zone=st.none() | st.integers(0, 34),
    code=st.sampled_from(["", "130", "137", "BA"]),
    repeat=st.booleans(),
)
ACT = st.builds(
    Walked,
    id=st.integers(0, 20).map(str),
    at=st.integers(0, 3600).map(lambda s: (BEGIN + timedelta(seconds=s)).isoformat()),
    by=st.just("J. Pell"),
    device=st.sampled_from([*ORDER, "nobody"]),
    act=st.sampled_from(["operate", "lid", "mask"]),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(EVENT, max_size=18), st.lists(ACT, max_size=6, unique_by=lambda act: act.id), st.randoms(use_true_random=False))
def test_order_and_repetition_change_nothing_and_no_event_is_lost(heard: list[Heard], walked: list[Walked], draw: object) -> None:
    first = seen(heard, walked)
    again = [*heard, *heard]
    draw.shuffle(again)  # type: ignore[attr-defined]
    assert seen(again, walked[::-1]) == first
    assert set(first.placed) == {each.n for each in heard}
    assert len(first.events) + len(first.repeats) == len(first.placed)
    assert len(seen(heard, [], order=ORDER).placed) == len(first.placed)
    for key, event in first.proved.items():
        assert event in first.events, key


@settings(max_examples=30, deadline=None)
@given(st.permutations(["door-front", "door-shop", "door-roller", "door-yard"]))
def test_pairs_landed_in_any_order_are_named_as_what_they_are(landed: list[str]) -> None:
    """Any exchange of four doors' pairs: those that kept theirs are proved, every round of the others is told with its zones."""
    doors = {"door-front": "c01", "door-shop": "c04", "door-roller": "c08", "door-yard": "c11"}
    circuits = dict(JOB.circuits)
    for door, place in zip(doors, landed, strict=True):
        circuits[doors[door]] = replace(circuits[doors[door]], input=JOB.circuits[doors[place]].input)
    walked, events = tour(Site(JOB, replace(JOB, circuits=circuits)), list(doors), lids=False)
    found = seen([of_received(each) for each in events], walked)
    moved = {door for door, place in zip(doors, landed, strict=True) if door != place}
    told = [each for each in found.calls if each.about is About.SWAPPED]
    assert {device for each in told for device in each.devices} == moved
    assert {key.partition(":")[2] for key in found.proved if key.startswith("walk:")} == set(doors) - moved


def test_what_is_received_has_a_name_of_its_own_for_ever() -> None:
    site = Site(JOB, JOB)
    one: Received = site.event("1", "130", 1, BEGIN)
    again = replace(one, number=0, duplicate_of=one.number, at=BEGIN + timedelta(seconds=9))
    found = seen([of_received(one), of_received(again), of_received(one)], [])
    assert (len(found.events), len(found.repeats)) == (1, 1)


def test_of_a_zone_the_design_does_not_have_nothing_is_inferred() -> None:
    heard = [
        Heard(n=str(at), at=BEGIN + timedelta(seconds=20 * at), kind=Kind.ALARM, zone=zone) for at, zone in enumerate((8, 44, 10), start=1)
    ]
    found = seen(heard, [], order=ORDER)
    assert [each.walked.device for each in found.acts] == ["door-roller"], "the last one is left open until another comes"
    assert {each.about for each in found.calls if each.urgent} == {About.NO_ZONE}
