"""The room Prove by its addresses: what is said counts once, what cannot stand is refused in words, and who may say it."""

from __future__ import annotations

import asyncio
import csv
import warnings
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

import loopwright.demo
import loopwright.web.prove_asked as prove_asked
from loopwright.appraisal.observed import Verdict, held_against
from loopwright.prove.standing import gaps
from loopwright.store.copies import beside
from loopwright.store.file import JobFile, StoreError
from loopwright.store.person import RIGHTS, Right, Role
from loopwright.store.proof_file import ProofFile
from loopwright.web.app import create_app
from loopwright.web.session import Session
from loopwright.web.visitor import EVERY_RIGHT, Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
METER = {"name": "meter 2", "serial": "HM-2207", "calibrated_on": "2026-01-20"}


class Van:
    """A workbench on site, with a clock that stands until it is moved."""

    def __init__(self, folder: Path, *, rights: frozenset[Right] = EVERY_RIGHT, job: str = "dwelling") -> None:
        self.path = folder / "job.yaml"
        self.path.write_text(loopwright.demo.text(job), encoding="utf-8")
        self.now = NOON
        self.session = Session(JobFile(self.path))
        visitor = Visitor(name="Ina", rights=rights)
        self.client = TestClient(create_app(self.session, token=None, visitor=visitor, clock=lambda: self.now), base_url=BASE)
        self.file = ProofFile(folder / "job.yaml.proved")

    @property
    def record(self) -> Any:
        return self.file.load().record

    def say(self, do: str, **more: Any) -> str:
        """Say something; return what was refused, in words."""
        body = {"do": do, "mark": uuid4().hex, "record": self.record.id, **more}
        answer = self.client.post("/prove", json=body, headers={"Origin": BASE})
        assert answer.status_code == 200, answer.text
        return " ".join(each["message"] for each in answer.json()["problems"])

    def page(self, part: str = "walk") -> str:
        answer = self.client.get(f"/prove?part={part}")
        assert answer.status_code == 200
        return answer.text


@pytest.fixture
def van(tmp_path: Path) -> Van:
    return Van(tmp_path)


@pytest.mark.parametrize("part", ["walk", "circuits", "supplies", "signals", "radio", "paths", "certificate", "leaving", "no such part"])
def test_every_part_is_drawn_before_and_after_something_was_said(van: Van, part: str) -> None:
    assert "How many of each kind" in van.page(part)
    van.say("tool", fields=METER)
    van.say("walk", key="front-door")
    van.say("tap", text="1", kind="alarm")
    assert "How many of each kind" in van.page(part)
    assert "job.yaml.proved" in {path.name for path in beside(van.path).values()}, "a backup takes it along"


def test_what_is_sent_twice_counts_once_and_what_was_said_offline_has_its_own_time(van: Van) -> None:
    mark = uuid4().hex
    van.say("answer", key="label:front-door", answer="yes", mark=mark, ago_ms=90_000)
    van.say("answer", key="label:front-door", answer="yes", mark=mark)
    (entry,) = van.record.entries
    assert entry.at == (NOON - timedelta(seconds=90)).isoformat(timespec="milliseconds")
    # Said before, sent after: the later word stands.
    van.say("answer", key="label:front-door", answer="no", ago_ms=200_000)
    assert van.record.standing["label:front-door"].answer == "yes"


def test_a_reading_needs_an_instrument_and_is_judged_on_the_page(van: Van) -> None:
    assert "with which instrument" in van.say("read", key="float:panel", text="13.7", unit="V")
    assert "serial number" in van.say("tool", fields={**METER, "serial": ""})
    assert "2026-01-20" in van.say("tool", fields={**METER, "calibrated_on": "last year"})
    assert van.say("tool", fields=METER) == ""
    assert "is not a reading" in van.say("read", key="float:panel", text="plenty", unit="V")
    assert van.say("read", key="float:panel", text="13.7", unit="V") == ""
    assert van.say("read", key="minute:panel", text="11,2", unit="V") == ""
    page = van.page("supplies")
    assert "As it should be" in page and "Not as it should be" in page and "HM-2207" in page
    assert van.say("read", key="minute:panel") == "" and "minute:panel" not in van.record.standing, "taken back"


def test_readings_go_on_record_once_and_agree_there_as_they_did_here(tmp_path: Path) -> None:
    van = Van(tmp_path, job="business")
    van.say("tool", fields=METER)
    for key, text, unit in (
        ("ohm:c01:rest:", "2.70", "kΩ"), ("ohm:c01:activated:door-front", "9.50", "kΩ"), ("ohm:c01:lid open:door-front", "OL", ""),
        ("ohm:c01:shorted at the device:door-front", "2.7", "Ω"), ("float:control", "13.62", "V"), ("unset-a:control", "757", "mA"),
        ("level:sounder-lobby", "92 dB at 3 m", ""),
    ):  # fmt: skip
        assert van.say("read", key=key, text=text, unit=unit) == ""
    before = len(van.session.state.job.observations)
    assert "Put 6 readings on record" in van.page("circuits")
    assert van.say("record") == ""
    added = van.session.state.job.observations[before:]
    assert len(added) == 6 and {each.instrument for each in added} == {"meter 2, no. HM-2207"}
    held = held_against(van.session.state.appraisal, added)
    assert {each.verdict for each in held[:4]} == {Verdict.AGREES}
    assert Verdict.DIFFERS not in {each.verdict for each in held}
    assert "on record already" in van.say("record")


@pytest.mark.parametrize(
    ("do", "more", "words"),
    [
        ("answer", {"key": "walk:nobody", "answer": "yes"}, "nothing that must be proved"),
        ("answer", {"key": "float:panel", "answer": "yes"}, "a reading in V is wanted"),
        ("read", {"key": "label:front-door", "text": "3 V"}, "yes or no"),
        ("walk", {"key": "panel"}, "No zone"),
        ("walk", {"key": "front-door", "act": "dance"}, "One of: operate"),
        ("tap", {"text": "three", "kind": "alarm"}, "is no zone"),
        ("tap", {"text": "3", "kind": "poll"}, "One of:"),
        ("centre", {"key": "signal:z01:alarm", "answer": "yes"}, "centre's own time"),
        ("centre", {"key": "label:front-door", "answer": "no"}, "Only signals"),
        ("sign", {"key": "label:front-door", "text": "no"}, "few words"),
        ("radio", {"fields": {"identity": "A1B2C3", "what": "nobody", "kind": "device"}}, "which device"),
        ("radio", {"fields": {"identity": "?", "what": "Ina", "kind": "fob"}}, "as on the label"),
        ("radio", {"fields": {"identity": "A1B2C3", "what": "Ina", "kind": "fob", "margin_db": "lots"}}, "no margin"),
        ("set-up", {"key": "network", "fields": {"address": "1.2.3"}}, "no address"),
        ("set-up", {"key": "network", "fields": {"account": "00112233445566778899AABBCCDDEEFF"}}, "looks like a key"),
        ("set-up", {"key": "pigeon", "fields": {}}, "no such path"),
        ("gate", {"key": "gate:nothing", "answer": "yes"}, "not asked"),
        ("gate", {"key": "gate:isolations", "answer": "yes"}, "write which, or none"),
        ("issue", {}, "are open"),
        ("close", {}, "Not yet"),
    ],
)
def test_what_cannot_stand_is_refused_in_words_and_changes_nothing(van: Van, do: str, more: dict[str, Any], words: str) -> None:
    assert words in van.say(do, **more)
    assert not van.record.id


def test_a_certificate_is_issued_when_nothing_is_open_and_taken_back_by_what_comes_after(van: Van) -> None:
    groups = {each.item.group for each in gaps(van_found(van).standings)}
    for group in groups:
        assert van.say("sign", key=f"all:{group}", text="Left for the second visit, Friday") == ""
    assert van.say("issue") == ""
    assert van.record.issued is not None and van.record.issued.gaps > 100
    pdf = van.client.get("/prove/proving-record.pdf")
    assert pdf.status_code == 200 and pdf.content.startswith(b"%PDF")
    assert van.client.get("/prove/no-such-paper.pdf").status_code == 404
    assert van.say("gate", key="gate:lids", answer="yes") == ""
    assert van.record.issued is not None, "how the place is left takes nothing back"
    van.say("answer", key="label:front-door", answer="no")
    assert van.record.issued is None, "what is said after it takes it back"


def van_found(van: Van) -> Any:
    from loopwright.prove.found import due_of, found_of

    appraisal = van.session.state.appraisal
    return found_of(due_of(appraisal.job, appraisal.circuits, appraisal.power), van.record, (), now=NOON)


def test_the_day_is_closed_and_its_readings_are_the_baseline_of_the_next(van: Van) -> None:
    van.say("tool", fields=METER)
    van.say("read", key="float:panel", text="13.7", unit="V")
    for key, text in (
        ("off-test", "14:20, Nils"),
        ("receiver", ""),
        ("isolations", "none"),
        ("lids", ""),
        ("battery:panel", ""),
        ("codes:panel", ""),
    ):
        assert van.say("gate", key=f"gate:{key}", answer="yes", text=text) == ""
    assert van.say("close") == ""
    assert "This day is closed" in van.say("answer", key="label:front-door", answer="yes")
    assert van.say("anew") == ""
    assert "belongs to a proving that is over" in van.say("answer", key="label:front-door", answer="yes", record="another")
    assert "When it was proved before: 13.7 V" in van.page("supplies")


def test_the_day_is_not_closed_while_the_port_of_the_test_is_open(van: Van) -> None:
    opened = van.client.post("/prove/port", json={"do": "open", "port": "0"}, headers={"Origin": BASE})
    try:
        assert opened.json()["problems"] == []
        assert "port of the test is still open" in van.say("close") and not van.record.closed_at
    finally:
        van.client.post("/prove/port", json={"do": "close"}, headers={"Origin": BASE})
    assert "Not yet. Off test" in van.say("close")


def test_what_is_signed_for_is_told_apart_from_what_is_proved(van: Van) -> None:
    van.say("answer", key="label:front-door", answer="yes")
    van.say("sign", key="walk:front-door", text="Second visit on Friday")
    page = " ".join(van.page().split())
    assert '<p class="count-of" id="whole"><b>1</b> of ' in page and "<b>1</b> signed for" in page
    assert "1 with gaps signed for" in page and "all proved" not in page


def test_a_fob_that_is_lost_is_removed_and_its_identity_free_again(van: Van) -> None:
    fob = {"identity": "00a-4f19", "what": "Odile", "kind": "fob", "checked_in": "14:05"}
    assert van.say("radio", fields=fob) == ""
    assert "is Odile already" in van.say("radio", fields={**fob, "what": "Tam"})
    assert van.say("radio", fields=fob, over=True) == ""
    assert "removed from the unit" in van.page("radio")
    assert van.say("radio", fields={**fob, "what": "Tam"}) == ""


def test_the_event_table_is_a_file_no_spreadsheet_takes_for_a_formula(van: Van) -> None:
    van.session.edit(lambda job: _text(job, "=HYPERLINK(1)"))
    answer = van.client.get("/prove/event-table.csv")
    rows = list(csv.reader(StringIO(answer.text.lstrip("\ufeff"))))
    assert rows[0][0] == "Event" and rows[1][2] == "'=HYPERLINK(1)"
    assert van.client.get("/prove/event-table.pdf").content.startswith(b"%PDF")


def _text(job: Any, text: str) -> Any:
    from loopwright.job.edit import SetField

    return SetField("zones/z01/text", text)


def test_news_waits_for_something_new_and_answers_at_once_when_there_is(van: Van) -> None:
    tag = van.client.get("/prove/news?known=older").json()["tag"]
    van.say("answer", key="label:front-door", answer="yes")
    assert van.client.get(f"/prove/news?known={tag}").json()["tag"] != tag


def test_a_page_that_is_left_is_waited_for_no_longer_though_the_guard_stands_between(van: Van, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(prove_asked, "WAIT_S", 60.0)
    tag = van.client.get("/prove/news?known=older").json()["tag"]
    asked = f"known={tag}".encode()
    scope = {
        "type": "http", "method": "GET", "path": "/prove/news", "raw_path": b"/prove/news", "query_string": asked, "root_path": "",
        "scheme": "http", "headers": [(b"host", BASE.removeprefix("http://").encode())], "client": ("127.0.0.1", 1), "server": None,
    }  # fmt: skip
    came = iter([{"type": "http.request", "body": b"", "more_body": False}, {"type": "http.disconnect"}])

    async def receive() -> Any:
        return next(came)

    async def send(message: Any) -> None:
        """Nobody reads it any more."""

    # Were it waited for, this would take a minute.
    asyncio.run(asyncio.wait_for(van.client.app(scope, receive, send), 30.0))


def test_who_may_only_read_says_nothing_and_who_may_not_change_the_job_issues_nothing(tmp_path: Path) -> None:
    reader = Van(tmp_path, rights=RIGHTS[Role.READER])
    assert reader.client.get("/prove").status_code == 200
    assert reader.client.post("/prove", json={"do": "close", "mark": uuid4().hex}, headers={"Origin": BASE}).status_code == 403
    mate = Van(tmp_path, rights=RIGHTS[Role.MATE])
    assert mate.say("answer", key="label:front-door", answer="yes") == ""
    assert "not change it" in mate.say("issue")


def test_a_damaged_record_is_left_as_it_is(van: Van) -> None:
    van.file.path.write_text("{", encoding="utf-8")
    assert "is damaged" in van.page()
    assert "is damaged" in van_say_raw(van)
    assert van.file.path.read_text(encoding="utf-8") == "{"
    with pytest.raises(StoreError):
        van.file.load()


def van_say_raw(van: Van) -> str:
    answer = van.client.post("/prove", json={"do": "answer", "key": "label:front-door", "mark": uuid4().hex}, headers={"Origin": BASE})
    return " ".join(each["message"] for each in answer.json()["problems"])
