"""What must be proved, what each reading is held against, and how everything stands: gaps, two columns, the gate."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from itertools import permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.appraisal.appraise import appraise
from loopwright.job.document import LocalLevel, LocalLimit, UnitSystem
from loopwright.job.sheet import Kind
from loopwright.papers.proving import record_contents
from loopwright.prove.devices import contacts_in_use, device_items
from loopwright.prove.found import Found, due_of, found_of
from loopwright.prove.item import Group, Item, Proof, Target
from loopwright.prove.judged import ROOM_DB, judged
from loopwright.prove.kind import OF_A_ZONE
from loopwright.prove.radio import identity_of, margin_words, refuse_double
from loopwright.prove.record import AtCentre, Entry, RadioRow, Record, SetUp, Signed, Tapped, Tool
from loopwright.prove.report import expected_events
from loopwright.prove.set_up import doubts, refuse_key, refused
from loopwright.prove.sounders import sounder_items
from loopwright.prove.standing import Stand, at_laptop, gaps, leaving, not_there, progress, shut, standings
from loopwright.prove.table import difference, event_table
from loopwright.prove.walk import MOST_EXACT, length_m, shortest_order, walking_order
from loopwright.signalling.codes import contact_id_codes, event_codes

from .walk import BEGIN, Site, designed, reporting, tour

JOB = designed()
FOUND = appraise(JOB)
DUE = due_of(JOB, FOUND.circuits, FOUND.power)
METER = Tool(id="t", name="meter 2", serial="HM-2207", calibrated_on="2026-01-20")
LATER = BEGIN + timedelta(hours=3)


def stands(record: Record, received: object = (), before: Record | None = None, at: datetime = LATER) -> Found:
    return found_of(DUE, record, received, now=at, before=before)  # type: ignore[arg-type]


def said(key: str, *, answer: str = "", reading: str = "", at: int = 0, tool: str = "t") -> Entry:
    moment = (BEGIN + timedelta(seconds=at)).isoformat()
    return Entry(id=f"{key}/{at}", at=moment, by="J. Pell", key=key, answer=answer, reading=reading, tool=tool if reading else "")


def test_only_what_applies_is_asked_of_a_device() -> None:
    of = {
        name: {item.proof for item in DUE.items if item.group is Group.DEVICES and item.subject == f"equipment/{name}"}
        for name in JOB.equipment
    }
    assert of["door-front"] == {Proof.WALK, Proof.RESTORE, Proof.TAMPER, Proof.LID_SHUT, Proof.LABEL, Proof.PHOTO}
    assert of["mask-press"] - of["dual-press-east"] == {Proof.MASK}
    assert {Proof.EDGE, Proof.BEYOND} <= of["dual-lobby"]
    assert of["smoke-press"] == set(), "life safety is left to those licensed for it"
    assert of["sounder-lobby"] == {Proof.TAMPER, Proof.LID_SHUT, Proof.LABEL, Proof.PHOTO} - {Proof.LABEL}
    for name, proofs in of.items():
        assert (Proof.TAMPER in proofs) == ("tamper" in contacts_in_use(JOB, name))
    hold_ups = [
        item for item in DUE.items if item.proof is Proof.WALK and JOB.sheet_of(item.subject.partition("/")[2]).kind is Kind.HOLD_UP
    ]
    assert hold_ups and all("receiving centre before" in item.caution for item in hold_ups)
    assert len({item.key for item in DUE.items}) == len(DUE.items)


def test_every_code_of_the_table_is_one_of_the_standards() -> None:
    for event in expected_events(JOB):
        assert all(code in contact_id_codes() for code in event.contact_id), event
        assert all(code in event_codes() for code in event.dc03), event
        assert event.restored is False or event.kind in OF_A_ZONE or event.zone == ""


def test_a_zone_is_told_by_its_response_and_not_by_its_number() -> None:
    table = {(each.number, each.kind, each.restored): each for each in expected_events(JOB)}
    assert table[1, "alarm", False].contact_id[0] == "134"
    assert table[6, "alarm", True].contact_id[0] == "130"
    assert table[7, "hold-up", False].contact_id[0] == "122"
    assert (15, "tamper", False) in table and (15, "alarm", False) not in table, "a zone of lids alone tells a tamper"
    assert (10, "fault", False) in table, "a detector that says when it is covered"
    assert not [each for each in expected_events(replace(JOB, signalling=replace(JOB.signalling, centre=None))) if each.sent]


@pytest.mark.parametrize(
    ("key", "reading", "right"),
    [
        ("ohm:c01:rest:", "2.70 kΩ", True),
        ("ohm:c01:rest:", "2.90 kΩ", False),
        ("ohm:c01:lid open:door-front", "OL", True),
        ("ohm:c01:lid open:door-front", "2.70 kΩ", False),
        ("float:control", "13.62 V", True),
        ("minute:control", "11.40 V", False),
        ("unset-a:control", "760 mA", True),
        ("alarm-a:control", "0.9 A", False),
        ("duration:sounder-lobby", "14 min 50 s", True),
        ("duration:sounder-lobby", "300 s", False),
        ("duration:sounder-lobby", "15 min 1 s", True),
        ("duration:sounder-lobby", "15 min 40 s", False),
        ("level:sounder-lobby", "92 dB at 3 m", True),
        ("level:sounder-lobby", "62 dB at 3 m", False),
        ("level:sounder-street", "92 dB at 3 m", True),
        ("level:sounder-street", "85 dB at 3 m", False),
    ],
)
def test_a_reading_is_judged_at_once(key: str, reading: str, right: bool | None) -> None:
    found = stands(Record(id="r", tools=(METER,), entries=(said(key, reading=reading),)))
    row = found.by_key[key]
    assert row.judged is not None and row.judged.right is right
    assert row.stand is (Stand.WRONG if right is False else Stand.PROVED)
    assert row.tool == METER


@given(st.floats(1.0, 1e6), st.floats(0.001, 0.2), st.floats(-3, 3))
def test_what_lies_between_the_bounds_agrees_and_what_lies_far_beyond_does_not(value: float, share: float, off: float) -> None:
    low, high = value * (1 - share), value * (1 + share)
    item = Item(
        key="x", proof=Proof.OHM, group=Group.CIRCUITS, subject="", where="", act="", unit="Ω",
        target=Target(value=value, low=low, high=high, unit="Ω", words=""),
    )  # fmt: skip
    read = value * (1 + off * share)
    if math.isinf(float(f"{read:.6f}")) or read <= 0:
        return
    verdict = judged(item, Entry(id="", at="", by="", key="x", reading=f"{read:.6f} Ω"), METER)
    if abs(off) <= 1:
        assert verdict.right
    elif low - read > 0.05 * value + 10 or read - high > 0.05 * value + 10:
        assert verdict.right is False


@pytest.mark.parametrize("reading", ["2.70", "", "plenty", "-3 Ω", "13 V"])
def test_what_is_no_reading_of_ohms_is_refused_in_words(reading: str) -> None:
    item = next(each for each in DUE.items if each.key == "ohm:c01:rest:")
    with pytest.raises(ValueError, match=r".{8}"):
        judged(item, Entry(id="", at="", by="", key=item.key, reading=reading), METER)


def test_beyond_the_edge_no_is_the_right_answer() -> None:
    record = Record(id="r", entries=(said("edge:dual-lobby", answer="yes"), said("beyond:dual-lobby", answer="yes")))
    found = stands(record)
    assert found.by_key["edge:dual-lobby"].stand is Stand.PROVED
    assert found.by_key["beyond:dual-lobby"].stand is Stand.WRONG
    mended = replace(record, entries=(*record.entries, said("beyond:dual-lobby", answer="no", at=9)))
    assert stands(mended).by_key["beyond:dual-lobby"].stand is Stand.PROVED


def test_the_laptop_never_counts_as_the_receiving_centre() -> None:
    walked, events = tour(Site(JOB, JOB), DUE.order)
    found = stands(Record(id="r", walked=tuple(walked)), events)
    signals = [each for each in found.standings if each.item.proof is Proof.SIGNAL]
    assert sum(at_laptop(each) is not None for each in signals) > 100
    assert all(each.stand is Stand.OPEN for each in signals)
    told = AtCentre(id="c", at=LATER.isoformat(), by="J. Pell", key="signal:z01:alarm", answer="yes", time="14:05:20", operator="Nils")
    assert stands(Record(id="r", centre=(told,))).by_key["signal:z01:alarm"].stand is Stand.PROVED
    assert stands(Record(id="r", centre=(replace(told, time=""),))).by_key["signal:z01:alarm"].stand is Stand.WRONG
    tapped = Tapped(id="t", at=BEGIN.isoformat(), by="J. Pell", zone=1, kind="alarm")
    by_hand = stands(Record(id="r", taps=(tapped,)))
    assert by_hand.by_key["walk:door-front"].stand is Stand.PROVED
    assert at_laptop(by_hand.by_key["signal:z01:alarm"]) is None, "what a keypad shows is no signal"


def test_where_a_signal_was_lost_is_told_by_what_arrived_here() -> None:
    told = AtCentre(id="c", at=LATER.isoformat(), by="J. Pell", key="signal:z01:alarm", answer="no")
    events = Site(JOB, JOB).act("door-front", "operate", BEGIN)
    assert "arrived here at 09:00:03" in not_there(stands(Record(id="r", centre=(told,)), events).standings, UTC)[0]
    assert "never sent" in not_there(stands(Record(id="r", centre=(told,))).standings, UTC)[0]


def test_an_account_of_no_sheet_is_called_out() -> None:
    sheet = SetUp(id="s", at=BEGIN.isoformat(), by="J. Pell", path="network", said=(("account", "4712"),))
    events = Site(JOB, JOB).act("door-front", "operate", BEGIN)
    (call,) = stands(Record(id="r", setups=(sheet,)), events).board.calls
    assert call.sentence.startswith("Reports come as account 4711; the set-up sheet says 4712")
    right = SetUp(id="t", at=LATER.isoformat(), by="J. Pell", path="network", said=(("account", "4711"),))
    assert not stands(Record(id="r", setups=(sheet, right)), events).board.calls


def test_gaps_keep_the_certificate_back_until_each_is_signed_for() -> None:
    found = stands(Record(id="r"))
    left = gaps(found.standings)
    assert len(left) == sum(row.of for row in progress(found.standings)) == len([i for i in DUE.items if i.wanted])
    signed = tuple(Signed(id=f"s{n}", at=BEGIN.isoformat(), by="J. Pell", key=g.item.key, reason="next visit") for n, g in enumerate(left))
    assert len(gaps(stands(Record(id="r", signed=signed[1:])).standings)) == 1
    assert not gaps(stands(Record(id="r", signed=signed)).standings)
    back = Signed(id="z", at=LATER.isoformat(), by="J. Pell", key=left[3].item.key, reason="")
    assert [g.item.key for g in gaps(stands(Record(id="r", signed=(*signed, back))).standings)] == [left[3].item.key]


def test_readings_are_the_baseline_of_the_next_proving() -> None:
    before = Record(id="a", tools=(METER,), entries=(said("ohm:c01:rest:", reading="2.70 kΩ"),))
    row = stands(Record(id="b"), before=before).by_key["ohm:c01:rest:"]
    assert row.stand is Stand.OPEN and row.baseline is not None and row.baseline.reading == "2.70 kΩ"


def test_what_arrived_before_a_proving_began_belongs_to_the_one_before() -> None:
    events = Site(JOB, JOB).act("door-front", "operate", BEGIN)
    assert "walk:door-front" in stands(Record(id="r"), events).board.proved
    assert not stands(Record(id="r", after=events[-1].number), events).board.proved


def test_the_day_is_not_closed_before_everything_is_as_it_should_be() -> None:
    found = stands(Record(id="r"))
    assert len(shut(JOB, found.record, found.board)) == len(leaving(JOB))
    so = tuple(replace(said(gate.key, answer="yes"), note="none, 14:20") for gate in leaving(JOB))
    assert not shut(JOB, Record(id="r", entries=so), found.board)
    unsaid = tuple(replace(each, note="") if each.key == "gate:isolations" else each for each in so)
    assert shut(JOB, Record(id="r", entries=unsaid), found.board) == ("Isolations and inhibited zones: write which, or none.",)
    event = Site(JOB, JOB).event("1", "130", 4, BEGIN)
    assert "Zone 4" in shut(JOB, Record(id="r", entries=so), stands(Record(id="r"), [event]).board)[0]


def test_the_event_table_and_its_difference() -> None:
    walked, events = tour(Site(JOB, JOB), DUE.order)
    site = Site(JOB, JOB)
    site.number = 900
    found = stands(
        Record(id="r", walked=tuple(walked)),
        [*events, site.event("1", "301", 1, LATER), replace(site.event("1", "130", 1, LATER), event=None, token="SIA-DCS", data="odd")],
    )
    head, *rows = event_table(found)
    assert head[9] == "At the laptop, UTC"
    assert len(rows) == len(expected_events(JOB)) and all(len(row) == 14 for row in rows)
    missing, odd = difference(found.board)
    assert "system: mains failure" not in missing and "system: mains failure, restored" in missing
    assert odd == ("Message SIA-DCS: odd.",)


def test_identities_of_radio_devices_are_told_apart() -> None:
    row = RadioRow(
        id="a",
        at=BEGIN.isoformat(),
        by="",
        identity=identity_of("00a-4f:19"),
        what="door-front",
        kind="device",
        margin_db=18.0,
        checked_in="14:05",
    )
    refuse_double([row], row)
    with pytest.raises(ValueError, match="is door-front already"):
        refuse_double([row], replace(row, what="door-yard"))
    with pytest.raises(ValueError, match="has identity"):
        refuse_double([row], replace(row, identity="00A4F20"))
    refuse_double([replace(row, gone=True)], replace(row, what="door-yard"))
    with pytest.raises(ValueError, match="as on the label"):
        identity_of("??")
    assert margin_words(row) == (True, "18 dB")
    assert margin_words(replace(row, margin_db=3.0))[0] is False
    assert margin_words(replace(row, margin_db=12.0), row)[0] is False, "six decibels less than before"


@pytest.mark.parametrize(
    ("name", "text", "right"),
    [("address", "192.0.2.20", True), ("address", "192.0.2.300", False), ("mask", "/24", True), ("mask", "255.255.0.255", False),
     ("gateway", "192.0.2.1", True), ("port", "70000", False), ("receiver", "receiver.example", True), ("receiver", "no such!", False),
     ("way", "udp", True), ("poll", "0", False), ("key", "whatever", False)],
)  # fmt: skip
def test_a_set_up_sheet_says_what_is_wrong(name: str, text: str, right: bool) -> None:
    assert (refused("ip", name, text) == "") is right


def test_a_key_has_no_place_on_a_sheet() -> None:
    for key in ("00112233445566778899aabbccddeeff", "00:11:22:33:44:55:66:77:88:99:AA:BB:CC:DD:EE:FF"):
        with pytest.raises(ValueError, match="looks like a key"):
            refuse_key(f"AES {key}")
    refuse_key("receiver.example")


def test_a_gateway_in_another_network_and_a_weak_signal_are_told() -> None:
    assert "not in the unit's own network 192.0.2.0/24" in doubts("ip", {"address": "192.0.2.20", "mask": "/24", "gateway": "192.0.3.1"})[0]
    assert not doubts("ip", {"address": "192.0.2.20", "mask": "255.255.255.0", "gateway": "192.0.2.1"})
    assert "will drop out" in doubts("cellular", {"rsrp": "-115"})[0]
    assert not doubts("cellular", {"rsrp": "-95", "rssi": "-70"})


@settings(max_examples=25, deadline=None)
@given(st.integers(2, 6), st.randoms(use_true_random=False))
def test_no_order_of_rooms_is_shorter(many: int, draw: object) -> None:
    """Against every order there is."""
    places = np.array([[draw.random(), draw.random()] for _ in range(many)])  # type: ignore[attr-defined]
    far = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    best = min(length_m(far, (0, *order)) for order in permutations(range(1, many)))
    assert length_m(far, shortest_order(far)) == pytest.approx(best)


def test_many_rooms_are_walked_within_a_tenth_of_the_shortest() -> None:
    """On a circle the shortest way from a place is once round, whichever the number of rooms."""
    many = MOST_EXACT + 9
    angle = 2 * np.pi * np.arange(many) / many
    places = np.stack([np.cos(angle), np.sin(angle)], axis=1)[np.random.default_rng(3).permutation(many)]
    far = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    order = shortest_order(far)
    assert sorted(order) == list(range(many)) and order[0] == 0
    assert length_m(far, order) <= 1.1 * (many - 1) * 2 * np.sin(np.pi / many)


def test_the_walk_leaves_no_room_half_done_and_no_storey_twice() -> None:
    order = walking_order(JOB, reporting(JOB))
    assert sorted(order) == sorted(reporting(JOB))
    rooms = [JOB.equipment[name].room for name in order]
    changes = [room for at, room in enumerate(rooms) if at == 0 or rooms[at - 1] != room]
    assert len(changes) == len(set(changes))
    storey = {room: name for name, each in JOB.storeys.items() for room in each.rooms}
    climbs = [storey[room or ""] for room in changes]
    assert climbs == sorted(climbs, key=["ground", "first"].index)


def test_a_level_is_taken_to_its_distance_as_a_course_has_it_and_each_rule_is_named() -> None:
    """100 dB at 1 m are 94 dB at 2 m (audiosonica.com, Decibels, Inverse distance law)."""
    (item,) = [each for each in DUE.items if each.key == "level:sounder-street"]
    (rule,) = item.bounds
    assert (rule.least, rule.at_m) == (100.0, 1.0) and "EN 50131-4" in rule.words and "(from memory)" in rule.words
    exact = replace(item, bounds=(replace(rule, least=100.0 + ROOM_DB),))
    for reading, right in (("94.1 dB at 2 m", True), ("93.9 dB at 2 m", False), ("100.1 dB(A) at 1 m", True), ("99.9 dB at 1 m", False)):
        found = judged(exact, Entry(id="", at="", by="", key=item.key, reading=reading), METER)
        assert found.right is right and "EN 50131-4" in found.sentence, reading
    with pytest.raises(ValueError, match="from no distance"):
        judged(item, Entry(id="", at="", by="", key=item.key, reading="92 dB at 0 m"), METER)


def test_local_law_shortens_what_a_sounder_may_sound_and_is_named() -> None:
    law = LocalLimit(most_s=600.0, law="Noise order of 2019")
    job = replace(JOB, region=replace(JOB.region, local_law={"sounder_s": law}))
    item = next(each for each in sounder_items(job, FOUND.power) if each.key == "duration:sounder-lobby")
    assert [bound.most for bound in item.bounds] == [900.0, 600.0]
    found = judged(item, Entry(id="", at="", by="", key=item.key, reading="14 min 50 s"), METER)
    assert found.right is False and "at most 10 min are asked: Noise order of 2019" in found.sentence


def test_how_loud_local_law_lets_a_sounder_be_is_named_with_where_it_was_read() -> None:
    """95 dB at 2 m are 101 dB at 1 m (audiosonica.com, Decibels, Inverse distance law)."""
    law = LocalLevel(most_db=97.0, at_m=1.0, law="Noise order of 2019", seen="town hall, 3 March")
    job = replace(JOB, region=replace(JOB.region, local_level={"level_outside_db": law}))
    asked = {each.key: each.bounds for each in sounder_items(job, FOUND.power)}
    assert [len(asked[f"level:sounder-{where}"]) for where in ("street", "lobby")] == [2, 1], "outside alone"
    item = next(each for each in sounder_items(job, FOUND.power) if each.key == "level:sounder-street")
    found = judged(item, Entry(id="", at="", by="", key=item.key, reading="95 dB at 2 m"), METER)
    assert found.right is False
    assert "that is 101 dB at 1 m; at most 97 dB(A) at 1 m is asked: Noise order of 2019 (town hall, 3 March)" in found.sentence
    assert "EN 50131-4" not in found.sentence, "which it keeps"
    feet = replace(job, region=replace(job.region, units=UnitSystem.US, local_level={"level_outside_db": replace(law, at_m=3.048)}))
    assert "at most 97 dB(A) at 10 ft" in [each.asked for item in sounder_items(feet, FOUND.power) for each in item.bounds]
    assert judged(item, Entry(id="", at="", by="", key=item.key, reading="93 dB at 2 m"), METER).right is True, "within what walls may add"


def test_the_record_says_who_brought_about_what_a_unit_reported_and_tells_every_time_in_one_zone() -> None:
    walked, events = tour(Site(JOB, JOB), ["door-front"])
    tap = Tapped(id="k", at=(BEGIN + timedelta(minutes=20)).isoformat(), by="O. Rees", zone=11, kind="alarm")
    record = Record(
        id="r",
        begun_at=BEGIN.isoformat(),
        by="J. Pell",
        walked=tuple(walked),
        taps=(tap,),
        entries=(said("label:door-front", answer="yes"),),
    )
    there = timezone(timedelta(hours=2))
    made: Any = record_contents(stands(record, events, at=LATER.astimezone(there)), revision="3", now=LATER.astimezone(there))
    (devices,) = [group for group in made["groups"] if group["name"] == "Devices"]
    rows = {(part["where"], row["act"]): row for part in devices["parts"] for row in part["rows"]}
    street = rows["Street door", "Open it: zone 1 should report."]
    assert (street["found"], street["by"]) == ("reported 11:00:03", "J. Pell, 2026-03-05 11:00")
    assert rows["Yard door", "Open it: zone 11 should report."]["by"] == "O. Rees, 2026-03-05 11:20"
    assert ["Begun", "2026-03-05 11:00 by J. Pell"] in made["cover"] and ["Proved by", "J. Pell, O. Rees"] in made["cover"]
    assert any(row["laptop"].startswith("2026-03-05 11:00:03") for row in made["signals"])
    table = event_table(stands(record, events, at=LATER.astimezone(there)))
    assert table[0][9] == "At the laptop, UTC+02:00" and table[1][9] == "2026-03-05 11:00:03"


def test_a_gap_is_named_in_the_words_of_people() -> None:
    made: Any = record_contents(stands(Record()), revision="3", now=LATER)
    gap = {of: what for _, of, what in made["gaps"]}
    assert (
        gap["c01, Street door"]
        == "at rest; Street door operated; lid of Street door open; pair shorted at Street door; a wire lifted before Street door"
    )
    assert gap["Shop"] == "set full; set late; unset" and gap["network (ip)"] == "a signal by it alone"
    assert not [name for name in JOB.equipment if "-" in name and any(name in what for what in gap.values())]


def test_a_radio_device_stands_in_the_certificate_as_it_does_in_its_list() -> None:
    """The bindery's store detector, had it no wire: its margin has fallen by 9 dB; then it is lost."""
    circuits = {
        name: replace(each, path=tuple(hop for hop in each.path if hop.device != "dual-store")) for name, each in JOB.circuits.items()
    }
    cables = {name: each for name, each in JOB.cables.items() if "dual-store" not in (each.start, each.end)}
    items = tuple(device_items(replace(JOB, circuits=circuits, cables=cables)))
    now = RadioRow(
        id="a", at=LATER.isoformat(), by="", identity="7C21B0", what="dual-store", kind="device", margin_db=9.0, checked_in="14:05"
    )
    then = replace(now, at=BEGIN.isoformat(), margin_db=18.0)
    board = stands(Record()).board
    for row, before, stand in (
        (now, None, Stand.PROVED),
        (now, then, Stand.OPEN),
        (replace(now, margin_db=14.0), then, Stand.PROVED),
        (replace(now, gone=True), None, Stand.OPEN),
    ):
        earlier = Record(radio=(before,)) if before is not None else None
        (found,) = [each for each in standings(items, Record(radio=(row,)), board, earlier) if each.item.proof is Proof.RADIO]
        assert found.stand is stand, (row, before)
