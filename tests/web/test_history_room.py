"""The room History: what was done, the difference between any two revisions, names, reasons, and the way back; and who may do which."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest
import yaml

import loopwright.demo
from loopwright.job.edit import RenameItem, SetField
from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob
from loopwright.store.person import Right
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, Conflict
from loopwright.web.app import create_app
from loopwright.web.session import Session
from loopwright.web.visitor import Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
LENGTH = "cables/W30/length_m"


class Clock:
    """A clock that goes on a minute each time it is read."""

    def __init__(self) -> None:
        self.now = NOON

    def __call__(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now


class Room:
    """A workbench with a history, asked by its addresses."""

    def __init__(self, folder: Path, visitor: Visitor, name: str = "job.yaml") -> None:
        self.path = folder / name
        self.path.write_text(loopwright.demo.text("business"), encoding="utf-8")
        self.store: SqlStore = open_store(folder / "history.db")
        self.session = Session(KeptJob(JobFile(self.path), self.store, by="Ana", clock=Clock()))
        self.client = TestClient(create_app(self.session, token=None, visitor=visitor), base_url=BASE)

    def page(self, address: str = "/history") -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, address
        return unescape(re.sub(r"<[^>]+>", " ", str(answer.text).partition("<h1>")[2]))

    def post(self, what: str, **body: Any) -> Any:
        return self.client.post(f"/history/{what}", json=body, headers={"Origin": BASE})


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Room]:
    made = Room(tmp_path, Visitor(name="Ana"))
    yield made
    made.store.close()


def test_what_was_done_stands_there_by_day_and_burst(room: Room) -> None:
    room.session.edit(SetField(LENGTH, "90"), by="Ana")
    room.session.edit(SetField("title", "Another <b>title</b>"), by="Ana")
    room.session.undo(by="Ana")
    room.session.edit(SetField("cables/W12/length_m", "60"), by="Bo")
    words = room.page()
    assert "3 changes: length of W30: 90, title: Another <b>title</b> and took back title" in words
    assert "Monday 2 March 2026, UTC" in words and "The history begins" in words and "Bo" in words
    assert "<b>title</b>" not in room.client.get("/history").text


def test_any_two_revisions_are_told_with_figures_and_findings(room: Room) -> None:
    room.session.edit(SetField(LENGTH, "90"))
    room.session.edit(RenameItem("cables/W30", "W99"))
    told = room.page("/history?from=1")
    assert "Run W30 renamed W99." in told and "Run W99 is 90 m long instead of 14 m." in told
    assert "9.54 V" in told and "no longer met" in told and "must 3 → 4" in told
    assert "Lobby sounder gets" in told.partition("New findings")[2]
    back = room.page("/history?from=3&to=1")
    assert "Run W30 is 14 m long instead of 90 m." in back and "met now" in back and "Findings that are gone" in back
    only = room.page("/history?to=3")
    assert "Run W30 renamed W99." in only and "instead of 14 m" not in only and "No figure moved." in only
    every = room.page("/history?from=1&figures=all")
    assert "Figures then and now" in every and "Circuit c01 at rest" in every and "Findings then" in every


def test_comments_alone_are_told_as_such(room: Room) -> None:
    room.path.write_text("# a remark\n" + room.path.read_text(encoding="utf-8"), encoding="utf-8")
    assert room.session.reload() == ()
    assert "Only comments, layout" in room.page("/history?from=1")
    assert "Nothing differs." in room.page("/history?from=2")
    assert "Changed outside the workbench" in room.page()


def test_names_and_reasons_are_noted_and_lead_to_differences(room: Room) -> None:
    room.session.edit(SetField(LENGTH, "90"))
    assert room.post("name", words="as designed", number=1).json()["problems"] == []
    assert "already stands" in room.post("name", words="as designed", number=2).json()["problems"][0]
    assert room.post("why", words="the way round the press").json()["problems"] == []
    words = room.page("/history?from=as+designed")
    assert "From revision 1, ‘as designed’, of 2026-03-02" in words and "Run W30 is 90 m long" in words
    assert "Why: the way round the press" in words
    assert room.session.history()[0].by == "Ana"


def test_going_back_is_a_step_that_undo_takes_back(room: Room) -> None:
    first = room.session.state.text
    room.session.edit(SetField(LENGTH, "90"))
    after = room.session.state.text
    assert room.post("back", number=1, shown=2).json() == {"revision": 3, "problems": []}
    assert room.path.read_text(encoding="utf-8") == first
    page = room.client.get("/history").text
    assert "Undo: going back to revision 1" in page and "Went back to revision 1" in page
    room.client.post("/edit", json={"do": "undo", "room": "history"}, headers={"Origin": BASE})
    assert room.session.state.text == after


def test_a_job_that_moved_on_is_not_gone_back_from_unseen(room: Room) -> None:
    room.session.edit(SetField(LENGTH, "90"))
    (problem,) = room.post("back", number=1, shown=1).json()["problems"]
    assert "changed since this page was drawn" in problem and room.session.state.revision == 2


def test_a_revision_is_taken_as_a_file_with_a_plain_name(tmp_path: Path) -> None:
    room = Room(tmp_path, Visitor(name="Ana"), 'shop "north" é.yaml')
    room.session.edit(SetField(LENGTH, "90"))
    answer = room.client.get("/history/1.yaml")
    assert answer.headers["content-disposition"] == 'attachment; filename="shop-north-revision-1.yaml"'
    assert answer.text == loopwright.demo.text("business") and yaml.safe_load(answer.text)
    assert room.client.get("/history/77.yaml").status_code == 404
    assert room.client.get(f"/history/{10**30}.yaml").status_code == 404
    assert room.client.get("/history/x.yaml").status_code in (404, 422)
    room.store.close()


def test_a_reader_reads_and_changes_nothing(tmp_path: Path) -> None:
    room = Room(tmp_path, Visitor(name="Bo", rights=frozenset({Right.READ_JOB})))
    room.session.edit(SetField(LENGTH, "90"))
    text = room.client.get("/history?from=1").text
    assert "Run W30 is 90 m long" in text and "Go back to" not in text and "Give the name" not in text
    for what, body in (("name", {"words": "as fitted", "number": 1}), ("why", {"words": "so"}), ("back", {"number": 1, "shown": 2})):
        assert room.post(what, **body).status_code == 403
    assert room.session.state.revision == 2 and room.session.marks() == ()
    room.store.close()


def test_nonsense_in_the_address_is_answered_in_words(room: Room) -> None:
    for asked in (
        "from=77",
        "from=never",
        "to=0",
        "from=&to=",
        "before=0",
        "before=-3",
        "before=x",
        "from=9999999999",
        "pick=no",
        "to=1",
        "from=²",
    ):
        assert "Revisions" in room.page(f"/history?{asked}")
    assert "no revision and no name ‘never’" in room.page("/history?from=never")


def test_a_damaged_revision_is_told_and_the_rest_stands(room: Room) -> None:
    room.session.edit(SetField(LENGTH, "90"))
    room.session.edit(SetField("title", "Another"))
    from sqlalchemy import text

    key = room.session.revision(1).text_sha256
    with room.store._engine.begin() as connection:
        connection.execute(text("UPDATE texts SET raw = :raw WHERE sha256 = :key"), {"raw": b"no", "key": key})
    told = room.page("/history?from=1")
    assert "cannot be unpacked" in told and "Length of W30: 90" in told
    assert room.client.get("/history/1.yaml").status_code == 404


def test_without_a_history_the_room_says_so(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    client = TestClient(create_app(Session(JobFile(path)), token=None), base_url=BASE)
    assert "No history of this job is kept." in client.get("/history").text
    assert "No history" in client.post("/history/why", json={"words": "so"}, headers={"Origin": BASE}).json()["problems"][0]


def test_many_revisions_are_leafed_through_page_by_page(room: Room) -> None:
    text = room.session.state.text
    for number in range(2, 121):
        text = f"{text}# {number}\n"
        assert not isinstance(room.store.append("job.yaml", text, Change(by="Ana", at=NOON), expected=number - 1), Conflict)
    seen: list[int] = []
    address = "/history"
    while address:
        page = room.client.get(address).text
        seen += [int(number) for number in re.findall(r'<li id="r:(\d+)"', page)]
        older = re.search(r'href="\.?(/history\?before=\d+)">Before revision', page)
        address = older[1] if older else ""
    assert seen == list(range(120, 0, -1))
