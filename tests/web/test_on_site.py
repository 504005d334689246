"""The room On site by its addresses: what is said is kept once and whole, what follows from it is computed, and who may say it."""

from __future__ import annotations

import json
import re
import threading
import warnings
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

import loopwright.demo
from loopwright.appraisal.observed import Verdict, held_readings
from loopwright.job.read import read
from loopwright.store.copies import beside, copied
from loopwright.store.file import JobFile, StoreError
from loopwright.store.person import RIGHTS, Right, Role
from loopwright.store.said import Over
from loopwright.store.visit import Visit, VisitFile
from loopwright.web.app import create_app
from loopwright.web.session import Session
from loopwright.web.site_reading import OF_THE_WHOLE
from loopwright.web.visitor import EVERY_RIGHT, Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
GOOD = (("", "2.70", "kΩ"), ("operated door-front", "9.5", "kΩ"), ("lid open door-front", "OL", "kΩ"), ("shorted door-front", "2.8", "Ω"))
"""The readings of circuit c01 as it is designed."""


class Van:
    """A workbench on site, with a clock that stands until it is moved."""

    def __init__(self, folder: Path, *, rights: frozenset[Right] = EVERY_RIGHT) -> None:
        self.path = folder / "job.yaml"
        if not self.path.exists():
            self.path.write_text(loopwright.demo.text("business"), encoding="utf-8")
        self.now = NOON
        self.session = Session(JobFile(self.path))
        visitor = Visitor(name="Ina", rights=rights)
        self.client = TestClient(create_app(self.session, token=None, visitor=visitor, clock=lambda: self.now), base_url=BASE)
        self.file = VisitFile(folder / "job.yaml.visit")

    def say(self, do: str, **what: Any) -> dict[str, Any]:
        posted = {"visit": self.file.load().id, "mark": uuid4().hex, "do": do, **what}
        answer = self.client.post("/on-site", json=posted, headers={"Origin": BASE})
        assert answer.status_code == 200, answer.text
        return dict(answer.json())

    def note(self, where: str, state: str = "", reading: str = "", unit: str = "kΩ", **more: Any) -> dict[str, Any]:
        fields = {"where": where, "state": state, "reading": reading, **more.pop("fields", {})}
        return self.say("note", fields=fields, unit=unit, **more)

    def text(self, address: str = "/on-site") -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200
        return plain(answer.text)


def plain(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html.partition("<h1>")[2])).split())


@pytest.fixture
def van(tmp_path: Path) -> Van:
    return Van(tmp_path)


def words_of(answer: dict[str, Any]) -> str:
    return " ".join(each["message"] for each in answer["problems"])


def test_what_is_said_stands_after_a_reload_and_a_restart_and_is_no_part_of_the_design(van: Van, tmp_path: Path) -> None:
    before = van.path.read_bytes()
    assert not van.note("z01", reading="2,70")["problems"]
    van.say("step", step="lids on", place="door-front", on=False)
    van.say("shown", kind="zone tamper", place="circuits/c01")
    again = Van(tmp_path)
    text = again.text()
    assert "c01" in text and "2.70 kΩ" in text and "not at Street door" in text
    assert "Expected, and shows 1" in text
    assert van.path.read_bytes() == before


def test_one_mark_counts_once_also_after_a_restart(van: Van, tmp_path: Path) -> None:
    once = uuid4().hex
    for bench in (van, van, Van(tmp_path)):
        assert not bench.note("c01", reading="2.70", mark=once)["problems"]
    assert [each.reading for each in van.file.load().entries] == ["2.70 kΩ"]


def test_what_two_say_at_once_both_stands(tmp_path: Path) -> None:
    file = VisitFile(tmp_path / "job.visit")

    def add(number: int) -> None:
        mine = VisitFile(file.path)
        for turn in range(5):

            def act(visit: Visit, one: tuple[str, str] = (f"{number}", f"{turn}")) -> Visit:
                return Visit(id=visit.id, begun_at=visit.begun_at, shown=(*visit.shown, one), marks=visit.marks)

            mine.change(act, mark=f"{number}-{turn}", of="", by="x", at="t")

    threads = [threading.Thread(target=add, args=(number,)) for number in range(4)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert sorted(file.load().shown) == [(f"{n}", f"{t}") for n in range(4) for t in range(5)]


def test_a_visit_file_that_is_damaged_is_told_and_left_as_it_is(van: Van) -> None:
    van.file.path.write_text('{"format": 1, "visit": {"id": ', encoding="utf-8")
    assert "is damaged" in van.text()
    answer = van.client.post("/on-site", json={"do": "looked", "on": True, "mark": uuid4().hex}, headers={"Origin": BASE})
    assert "is damaged" in words_of(answer.json())
    assert van.file.path.read_text(encoding="utf-8").startswith('{"format": 1, "visit": {"id": ')


def test_what_belongs_to_a_visit_that_is_over_is_refused_and_the_visit_before_comes_back(van: Van) -> None:
    van.note("c01", reading="2.70")
    old = van.file.load().id
    van.say("anew")
    assert not van.file.load().entries
    assert "a visit that is over" in words_of(van.note("c01", reading="9.5", visit=old))
    van.note("c02", reading="2.70")
    van.say("back")
    assert [each.where for each in van.file.load().entries] == ["c01"]
    van.say("back")
    assert [each.where for each in van.file.load().entries] == ["c02"]
    with pytest.raises(Over):
        van.file.begin_anew(mark="m", of=old)


def test_the_first_power_up_is_worked_through_to_nothing(van: Van) -> None:
    van.client.post("/edit", json={"do": "set", "path": "stage", "text": "first-fix", "mark": "s"}, headers={"Origin": BASE})
    counts = []
    for _ in range(40):
        page = van.client.get("/on-site").text
        counts.append(int(re.search(r'id="count"><b>(\d+)</b>', page)[1]))  # type: ignore[index]
        if not counts[-1]:
            break
        [step] = re.findall(r"; next: <b>([^<]+)</b>", page)
        van.say("step", step=step, on=True)
    assert counts[-1] == 0 and max(counts) > 10 and len(counts) > 5
    assert "0 troubles should show now" in van.text()


def test_what_shows_is_split_into_expected_unexpected_missing_and_stale(van: Van) -> None:
    van.say("step", step="clock set", place="control", on=False)
    van.say("step", step="old events reset", on=False)
    van.say("shown", kind="clock not set", place="equipment/control")
    van.say("shown", kind="zone fault", place="c05")
    van.say("shown", kind="earth", place="control")
    text = van.text()
    assert "Expected, and shows 1" in text
    assert re.search(r"Shows, and should not Earth, Control unit", text)
    assert re.search(r"Shows, though its cause reads good Zone fault, zone 5 \(Shop floor\).*masking may be latched", text)
    # What may or may not show is never missing.
    assert "Should show, and does not none" in text
    van.say("step", step="clock set", place="control", on=True)
    assert "Expected, and shows none" in van.text(), "its cause is put right, and it shows still"


def test_what_warms_up_is_counted_down_from_a_stated_start(van: Van) -> None:
    van.say("mains", text="1")
    page = van.client.get("/on-site").text
    untils = {datetime.fromisoformat(each) for each in re.findall(r'data-until="([^"]+)"', page)}
    # Warm-up of the slowest: 120 s from the moment the mains came on; its sheet says so, the register has half a minute to three minutes.
    assert max(untils) == NOON + timedelta(seconds=60)
    van.now += timedelta(seconds=61)
    assert "data-until" not in van.client.get("/on-site").text


def test_a_battery_told_flat_waits_from_the_moment_it_was_told(van: Van) -> None:
    van.say("charge", place="control", text="5")
    first = re.search(r'data-until="([^"]+)"', van.client.get("/on-site").text)
    van.now += timedelta(hours=1)
    later = re.search(r'data-until="([^"]+)"', van.client.get("/on-site").text)
    assert first is not None and later is not None and first[1] == later[1]


BAD: list[tuple[str, dict[str, Any], str]] = [
    ("mains", {"text": "soon"}, "for example 12"),
    ("mains", {"text": "-3"}, "for example 12"),
    ("charge", {"place": "control", "text": "140"}, "0 to 100"),
    ("charge", {"place": "nobody", "text": "40"}, "no such supply"),
    ("shown", {"kind": "earth", "place": "contrl"}, "not in this job"),
    ("shown", {}, "Choose what shows"),
    ("step", {}, "Which step"),
    ("note", {"fields": {"where": "c055", "reading": "2.7"}, "unit": "kΩ"}, "Did you mean c05"),
    ("note", {"fields": {"where": "c05", "reading": "2.7"}}, "has no unit"),
    ("note", {"fields": {"where": "c05", "reading": "2.7.1"}, "unit": "kΩ"}, "is not a reading"),
    ("note", {"fields": {"where": "c05", "reading": "-2"}, "unit": "Ω"}, "below naught"),
    ("note", {"fields": {"where": "c05"}}, "what the meter shows, or choose what the keypad shows"),
    ("note", {"fields": {"reading": "2.7"}, "unit": "kΩ"}, "Say where"),
    ("note", {"fields": {"where": "c05", "state": "operated", "reading": "9.5"}, "unit": "kΩ"}, "name the one"),
    ("meter", {"fields": {"accuracy_pct": "good"}}, "per cent"),
    ("why", {"kind": "dead", "place": "equipment/control"}, "Nothing is known"),
    ("record", {}, "Everything is on record already"),
]  # fmt: skip


def test_bad_input_says_what_would_be_right_and_changes_nothing(van: Van) -> None:
    van.note("c01", reading="2.70")
    van.say("record")
    before = van.file.path.read_bytes()
    for do, what, told in BAD:
        assert told in words_of(van.say(do, **what)), (do, what)
        assert van.file.path.read_bytes() == before, (do, what)


def test_what_no_page_posts_is_refused(van: Van) -> None:
    for posted in (
        {"do": "destroy", "mark": "x" * 20},
        {"do": "note", "mark": ""},
        {"do": "note", "mark": "x" * 20, "fields": {"answer": "b" * 50_000}},
    ):
        assert van.client.post("/on-site", json=posted, headers={"Origin": BASE}).status_code == 422
    assert not van.file.path.exists()


def test_five_good_readings_agree_and_name_no_wrong_wiring(van: Van) -> None:
    for state, reading, unit in GOOD:
        van.note("c01", state, reading, unit)
    van.note("c01", "wire lifted door-front", fields={"shows": "not at rest"})
    text = van.text("/on-site?circuit=c01")
    five = text.partition("Five readings of a circuit")[2].partition("Why, and what next")[0]
    assert five.count("As forecast") == 5 and "Not as forecast" not in five
    assert "Understood: 2.70 kΩ" in five and "Understood: 2.8 Ω" in five
    assert re.search(r"What these 5 readings name Wired as designed ?,", five)


@pytest.mark.parametrize(
    ("readings", "named"),
    [
        # Rows of the five-reading table (trade catalogue, computed there by a nodal solve): each action tells another wrong wiring.
        ((("", "2.70", "kΩ"), ("operated door-front", "9.5", "kΩ"), ("shorted door-front", "2.70", "kΩ")), "at control unit"),
        ((("", "2.70", "kΩ"), ("operated door-front", "OL", "kΩ"), ("shorted door-front", "2.8", "Ω")), "Alarm resistor missing"),
        ((("", "2.70", "kΩ"), ("lid open door-front", "2.70", "kΩ"), ("operated door-front", "9.5", "kΩ")), "amper"),
        ((("", "6.8", "kΩ"), ("operated door-front", "9.5", "kΩ")), "wapped"),
    ],
)  # fmt: skip
def test_a_wrong_wiring_is_named_from_the_pattern(van: Van, readings: tuple[tuple[str, str, str], ...], named: str) -> None:
    for state, reading, unit in readings:
        van.note("c01", state, reading, unit)
    five = van.text("/on-site?circuit=c01").partition(" readings name ")[2].partition("Why, and what next")[0]
    assert named in five[:400], five[:600]


def test_places_and_people_are_called_what_people_call_them_and_a_reading_out_of_range_says_which_way(van: Van) -> None:
    page = van.text("/on-site?circuit=c01")
    assert "c13, Store and Store hatch" in page and "office staff" in page and "office-staff" not in page
    van.note("c01", "", "OL")
    van.note("c01", "lid open door-front", "2.7")
    page = van.text("/on-site?circuit=c01")
    assert "Not as forecast : over range, which it should not be" in page
    assert "Not as forecast : not over range, which it should be" in page


def test_a_box_put_right_replaces_its_reading_and_a_second_reading_contradicts(van: Van) -> None:
    van.note("c01", reading="27.0")
    [entry] = van.file.load().entries
    van.note("c01", reading="2.70", id=entry.id)
    assert [each.reading for each in van.file.load().entries] == ["2.70 kΩ"]
    van.note("c01", reading="4.4", ask=True)
    text = van.text()
    assert "These two cannot both be so" in text and "2.70 kΩ 4.4 kΩ" in text


def test_the_explanation_is_asked_for_says_when_it_is_older_and_goes_on_with_an_answer(van: Van) -> None:
    van.note("c05", fields={"shows": "active"})
    assert "What may be so" not in van.text()
    assert not van.say("ask")["problems"]
    text = van.text()
    # The trade's order: volts in place or ohms, before anything is operated or opened.
    assert re.search(r"Next (Volts at the terminals|Ohms) of circuit c05,[^.]{,60} at rest", text)
    for words in ("None of these: a cause this list does not know", "Nothing wrong with what was read"):
        assert words in text
    # The working of a cause says how likely what was read is with it and without.
    assert re.search(r"What the keypad shows for circuit c05, at rest: active \S.{,20}\d %.{,30}\d %", text)
    van.note("c05", reading="9.5")
    assert "1 reading was noted since; press Explain again" in van.text()
    page = van.client.get("/on-site").text
    first = json.loads(unescape(re.search(r"class=\"box\" data-send='([^']+ask[^']+)'", page)[1]))  # type: ignore[index]
    assert first["ask"] and first["fields"]["where"]
    van.say("note", fields={**first["fields"], "reading": "9.5"}, unit="V", ask=True)
    assert "noted since" not in van.text()


def test_an_entry_taken_out_is_not_weighed_and_can_be_put_back(van: Van) -> None:
    van.note("c05", fields={"shows": "active"}, ask=True)
    [entry] = van.file.load().entries
    van.say("take-out", id=entry.id)
    assert "What may be so" not in van.text() and "Put back" in van.text()
    van.say("put-back", id=entry.id)
    assert "What may be so" in van.text()


def test_readings_go_on_record_as_one_step_that_undo_takes_back_and_never_twice(van: Van) -> None:
    before = van.session.state.text
    for state, reading, unit in GOOD[:2]:
        van.note("c01", state, reading, unit)
    van.note("control", fields={"place": "battery", "shows": "yes"})
    van.note("control", reading="13.6", unit="V", fields={"place": "battery"})
    once = uuid4().hex
    van.say("record", mark=once)
    van.say("record", mark=once)
    made = van.session.state.job.observations[2:]
    assert [(each.where, each.state, each.reading) for each in made] == [
        ("c01", "", "2.70 kΩ"),
        ("c01", "activated door-front", "9.5 kΩ"),
        ("control, battery", "", "trouble shown"),
        ("across the battery of control", "", "13.6 V"),
    ]
    assert {each.by for each in made} == {"Ina"} and {each.at for each in made} == {"2026-03-02 12:00"}
    held = held_readings(van.session.state.appraisal)[2:]
    assert [each.verdict for each in held] == [Verdict.AGREES, Verdict.AGREES, Verdict.SILENT, Verdict.SILENT]
    assert "on record already" in words_of(van.say("record"))
    assert "On record" in van.text()
    van.session.undo(by="Ina")
    assert van.session.state.text == before
    assert "Put 4 readings on record" in van.text(), "what was taken back can be put on record again"


@pytest.mark.parametrize("role", [Role.READER, Role.OFFICE, Role.INSTALLER])
def test_who_may_read_sees_it_and_who_may_enter_readings_says_something(tmp_path: Path, role: Role) -> None:
    van = Van(tmp_path, rights=RIGHTS[role])
    assert van.client.get("/on-site").status_code == 200
    answer = van.client.post("/on-site", json={"do": "looked", "on": True, "mark": uuid4().hex}, headers={"Origin": BASE})
    assert answer.status_code == (200 if Right.ENTER_READINGS in RIGHTS[role] else 403)
    assert van.file.path.exists() == (Right.ENTER_READINGS in RIGHTS[role])


def test_the_visit_goes_with_a_copy_of_the_job(van: Van, tmp_path: Path) -> None:
    van.note("c01", reading="2.70")
    assert beside(van.path)[".visit"] == van.file.path
    made = copied(van.path, tmp_path / "copies", at=NOON)
    assert made is not None and (made.path / "job.yaml.visit").read_bytes() == van.file.path.read_bytes()


def test_a_folder_that_cannot_be_written_is_told(van: Van, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("loopwright.store.beside.write_whole", full)
    assert "the disk is full" in words_of(van.note("c01", reading="2.70"))
    with pytest.raises(StoreError):
        van.file.bring_back(mark="m")


def test_halving_goes_on_from_its_address(van: Van) -> None:
    text = van.text("/on-site?find=circuit:c13")
    assert "weighed by how common each cause is" in text and "2.3 readings and 8 minutes" in text
    left = van.text("/on-site?find=circuit:c13&left=3-5")
    assert "Paper store hatch" in left and "ruled out" in left and "Begin this plan again" in left
    assert "It is run W27 and its terminals" in van.text("/on-site?find=circuit:c13&left=3-4")
    for nonsense in ("9-2", "a-b", "0-99999999", "2-4", "4-4"):
        assert "2.3 readings and 8 minutes" in van.text(f"/on-site?find=circuit:c13&left={nonsense}")
    assert "Press hall sounder" in van.text("/on-site?find=earth:control")
    assert "choose" in van.text("/on-site?find=earth:nowhere")


def test_an_open_circuit_leads_to_its_plan(van: Van) -> None:
    van.note("c05", reading="OL")
    van.note("c05", "shorted dual-till", "OL", ask=True)
    assert "Circuit c05 is open or high at one of 4 places" in van.text()
    assert "weighed by what was read on this visit" in van.text("/on-site?find=circuit:c05")


def test_a_run_is_measured_and_nonsense_is_told(van: Van) -> None:
    assert "10.1 m from First-floor expander" in van.text("/on-site?find=run:W52&near=4.9%20%CE%A9&far=7,8%20%CE%A9")
    assert "has no unit" in van.text("/on-site?find=run:W52&near=12")
    assert "‘x’ is no length" in van.text("/on-site?find=run:W52&near=1%20nF&spare=3%20nF&spare_m=x")
    assert "Read the pair at the start" in van.text("/on-site?find=run:W52&far=3%20nF")


def dead(van: Van, place: str, reading: str = "", unit: str = "Ω", shows: str = "") -> dict[str, Any]:
    return van.say("dead", place=place, unit=unit, fields={"reading": reading, "shows": shows})


def test_a_reversed_battery_keeps_the_steps_of_power_up_shut_until_it_is_mended(van: Van) -> None:
    assert "at this stage they are done as a rule" in van.text()
    assert "0 of 121 dead checks are entered" in van.text("/on-site?dead=yes")
    assert not dead(van, "control/battery", "-12,7", "V")["problems"]
    text = van.text()
    assert "Power stays off; the steps of power-up are shut" in text and "Steps that are done" not in text
    assert "wrong way round" in words_of(van.say("step", step="mains on", on=True))
    assert not van.say("step", step="mains on", on=False)["problems"]
    assert "cannot be signed past" in words_of(van.say("past", place="control/battery", text="it has always been so"))
    dead(van, "control/battery", "12.7", "V")
    assert not van.say("step", step="mains on", on=True)["problems"]
    assert "Power stays off" not in van.text() and "Steps that are done" in van.text()


def test_what_may_be_signed_past_is_with_a_reason_and_a_new_entry_wants_a_new_one(van: Van) -> None:
    dead(van, "control.aux-1/polarity", shows="reversed")
    assert "reversed" in words_of(van.say("step", step="mains on", on=True))
    assert "Write the reason" in words_of(van.say("past", place="control.aux-1/polarity", text="ok"))
    assert not van.say("past", place="control.aux-1/polarity", text="colours swapped at both ends")["problems"]
    assert "Signed past by Ina" in van.text() and not van.say("step", step="mains on", on=True)["problems"]
    dead(van, "control.aux-1/polarity", shows="reversed")
    assert van.say("step", step="mains on", on=True)["problems"]
    assert "nothing here that stops" in words_of(van.say("past", place="c01/pair", text="a reason of some length"))


def test_a_dead_pair_is_a_reading_of_explain_and_goes_on_record(van: Van) -> None:
    dead(van, "c02/pair", "2.4", "Ω")
    dead(van, "c02/earth", "OL")
    assert "The two cores touch" in van.text()
    van.say("ask")
    assert "What may be so from 1 reading" in van.text()
    assert not van.say("record")["problems"]
    assert [(each.where, each.state) for each in van.session.state.job.observations[-2:]] == [
        ("c02", "no power"),
        ("c02, earth", "no power"),
    ]
    for place, reading, told in (("c02/pair", "x", "not a reading"), ("c02/pairs", "3", "no such dead check"), ("c02/pair", "3 V", "Ohms")):
        assert told in words_of(dead(van, place, reading))


def old(van: Van, name: str, **cells: str) -> dict[str, Any]:
    return van.say("old", unit="Ω", fields={"name": name, **cells})


def test_old_pairs_are_understood_and_a_job_starts_from_them(van: Van) -> None:
    assert van.client.get("/on-site/taken-over.yaml?unit=control").status_code == 404
    assert not old(van, "P1", rest="2.21 kΩ", operated="OL", lid="OL", shorted="9.4")["problems"]
    assert not old(van, "Hall", rest="2710", operated="9.52 kΩ", lid="OL")["problems"]
    text = van.text()
    assert "P1 : single, end 2200 Ω" in text and "Hall : double, end 2700 Ω, alarm 6800 Ω" in text and "taken as a default" in text
    assert "Fewest changes" in text and "Stay as they are: P1, Hall" in text
    answer = van.client.get("/on-site/taken-over.yaml?unit=control")
    assert "attachment" in answer.headers["Content-Disposition"]
    assert list(read(answer.text).job.circuits) == ["old-p1", "old-hall"]
    assert "both wires out" in words_of(old(van, "P3", operated="OL")) and "no reading of ohms" in words_of(old(van, "P3", rest="3 V"))
    assert "no name" in words_of(old(van, "", rest="3 kΩ"))
    van.say("old-out", place="P1")
    assert "P1 :" not in van.text()


def test_what_a_log_tells_is_weighed_and_goes_on_record(van: Van) -> None:
    van.note("z10", fields={"told": "alarms", "answer": "yes"})
    van.note("z10", fields={"told": "hours", "answer": "2026-11-20 02:10\n2026-11-21 02:14\n2026-11-22 02:09\n2026-11-23 02:21"}, ask=True)
    page = van.text()
    assert "Detector looks at heater" in page and "What may be so from 2 readings" in page
    assert "no time in that" in words_of(van.note("z10", fields={"told": "hours", "answer": "7 of them"}))
    assert not van.say("record")["problems"]
    first, second = van.session.state.job.observations[-2:]
    assert (first.where, first.state, first.reading) == ("z10", "Has it given alarms that nobody meant? (z10)", "yes")
    assert "2026-11-21 02:14" in second.reading


@pytest.mark.parametrize("kind", OF_THE_WHOLE)
def test_every_trouble_of_the_whole_answers_why(van: Van, kind: str) -> None:
    assert not van.say("why", kind=str(kind), place="equipment/control")["problems"]
    assert "What may be so" in van.text()


def test_of_a_log_that_is_pasted_only_the_times_are_kept(van: Van) -> None:
    log = "".join(f"2026-01-{day:02} 03:0{day % 7} zone 5 alarm, J. Pell, code 4711\n" for day in range(1, 29))
    assert len(log) > 1000
    assert not van.say("note", fields={"where": "z05", "told": "hours", "answer": log})["problems"]
    [entry] = van.file.load().entries
    assert entry.answer.count("2026-01-") == 28 and "Pell" not in entry.answer and "4711" not in entry.answer
    assert "28 times, fits" in van.text()


def test_a_box_that_is_no_log_says_how_long_it_may_be(van: Van) -> None:
    said = van.say("note", fields={"where": "c05", "state": "b" * 400})["problems"]
    assert said and "longer than 300" in said[0]["message"]
    said = van.say("note", fields={"where": "z05", "told": "wind", "answer": "b" * 400})["problems"]
    assert said and "longer than 300" in said[0]["message"]


def test_readings_of_a_run_are_kept_with_the_visit_and_taken_out(van: Van) -> None:
    fields = {"near": "4.9 Ω", "far": "7,8 Ω"}
    assert van.say("run", place="W52", fields={"near": "four"})["problems"] and van.file.load().runs == ()
    assert not van.say("run", place="W52", fields=fields)["problems"]
    [kept] = van.file.load().runs
    assert (kept.run, kept.near, kept.far) == ("W52", "4.9 Ω", "7,8 Ω")
    assert "10.1 m from First-floor expander" in van.text("/on-site")
    again = van.text("/on-site?find=run:W52")
    assert "10.1 m from First-floor expander" in again and "Kept with this visit" in again
    assert "Keep with the visit" in van.text("/on-site?find=run:W52&near=3.9%20%CE%A9&far=7,8%20%CE%A9")
    van.say("run", place="W52", fields=fields | {"near": "5.0 Ω"})
    assert [each.near for each in van.file.load().runs] == ["5.0 Ω"]
    assert "no such run" in van.say("run", place="W999", fields=fields)["problems"][0]["message"]
    assert "is no length" in van.say("run", place="W52", fields={"near": "1 nF", "spare": "3 nF", "spare_m": "x"})["problems"][0]["message"]
    van.say("run-out", place="W52")
    assert van.file.load().runs == ()


def test_it_will_not_set_says_what_keeps_it_who_may_do_what_and_what_the_log_says(van: Van) -> None:
    assert "Keeps it from being set now" not in van.text()
    van.say("shown", kind="battery low", place="equipment/control")
    text = van.text("/on-site?area=shop&zone=z06&user=cleaner")
    kept = text.partition("Keeps it from being set now")[2].partition("To be looked at")[0]
    assert "Zone 6 (Shop windows) is open" in kept and "The keypad shows: battery low, Control unit." in kept
    assert (
        "May set in spite of it: user. May clear it: nobody by a press" in kept
        and "The log should say: setting refused, zone number" in kept
    )
    assert "has no right" in van.text("/on-site?area=workshop&user=cleaner").partition("Keeps it")[2].partition("To be looked at")[0]
    # What the job has not is as if it had not been asked.
    assert "Keeps it" not in van.text("/on-site?area=nowhere") and "To be looked at" in van.text("/on-site?area=shop&mode=x&user=y&zone=z")


def test_volts_typed_into_a_box_of_ohms_are_told_where_they_went(van: Van) -> None:
    assert not van.note("c05", reading="1.8 V")["problems"]
    assert "1.8 V is taken as volts with the wires in place" in van.text("/on-site?circuit=c05")
