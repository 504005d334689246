"""Changes meant for what an older page shows: joined with what others did, or told, and nothing is written over unseen."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

import loopwright.demo
from loopwright.job.edit import AddItem, RemoveItem, RenameItem, SetField
from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob, history_path, keep
from loopwright.store.sql import open_store
from loopwright.store.store import Change
from loopwright.web.app import create_app
from loopwright.web.session import Session
from loopwright.web.visitor import Visitor

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
BASE = "http://127.0.0.1:8417"
LENGTH = "cables/W22/length_m"
Post = Callable[..., Any]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "job.yaml"
    made.write_text(loopwright.demo.text("business"), encoding="utf-8")
    return made


@pytest.fixture
def session(path: Path) -> Session:
    return Session(JobFile(path))


@pytest.fixture
def ana(session: Session) -> Post:
    client = TestClient(create_app(session, token=None, visitor=Visitor(name="Ana")), base_url=BASE)

    def post(**change: Any) -> Any:
        answer = client.post("/edit", json=change, headers={"Origin": BASE})
        assert answer.status_code == 200, answer.text
        return answer.json()

    def get(address: str) -> Any:
        return client.get(address)

    post.get = get  # type: ignore[attr-defined]
    return post


def test_a_row_renamed_meanwhile_is_followed(session: Session, ana: Post) -> None:
    seen = session.state.revision
    assert session.edit(RenameItem("cables/W22", "W99"), by="Bo") == ()
    answer = ana(do="set", path=LENGTH, text="60", seen="41", revision=seen, room="wiring")
    assert answer["problems"] == [] and session.state.job.cables["W99"].length_m == 60 and "W22" not in session.state.job.cables
    assert session.undo(by="Bo") == () and session.state.job.cables["W22"].length_m == 60
    assert session.undo(by="Ana") == () and session.state.job.cables["W22"].length_m == 41
    assert session.state.text == loopwright.demo.text("business")


def test_a_row_taken_out_meanwhile_is_told(session: Session, ana: Post) -> None:
    seen = session.state.revision
    assert session.edit(AddItem("areas", "shed", {"name": "Shed"}), by="Ana") == ()
    shown = session.state.revision
    assert session.edit(RemoveItem("areas/shed"), by="Bo") == ()
    answer = ana(do="set", path="areas/shed/name", text="Barn", seen="Shed", revision=shown, room="programme")
    assert "taken out by Bo" in answer["problems"][0]["message"] and answer["page"] and "shed" not in session.state.job.areas
    assert ana(do="set", path=LENGTH, text="60", seen="41", revision=seen)["problems"] == []


def test_a_row_changed_meanwhile_is_not_taken_out_unseen(session: Session, ana: Post) -> None:
    session.edit(AddItem("areas", "shed", {"name": "Shed"}), by="Ana")
    seen = session.state.revision
    session.edit(SetField("areas/shed/entry_s", "45"), by="Bo")
    answer = ana(do="remove", path="areas/shed", revision=seen, room="programme")
    assert "Changed meanwhile by Bo" in answer["problems"][0]["message"] and "shed" in session.state.job.areas
    assert ana(do="remove", path="areas/shed", revision=answer["revision"], room="programme")["problems"] == []
    assert "shed" not in session.state.job.areas


def test_an_id_taken_meanwhile_is_told(session: Session, ana: Post) -> None:
    seen = session.state.revision
    session.edit(AddItem("areas", "shed", {"name": "Bo's shed"}), by="Bo")
    answer = ana(do="add", path="areas", fields={"id": "shed", "name": "Ana's shed"}, revision=seen, room="programme")
    assert "already an entry called shed" in answer["problems"][0]["message"] and session.state.job.areas["shed"].name == "Bo's shed"
    assert ana(do="add", path="areas", fields={"id": "barn", "name": "Barn"}, revision=seen)["problems"] == []


def test_ticks_in_one_list_both_hold(session: Session, ana: Post) -> None:
    zone = next(name for name, zone in session.state.job.zones.items() if f"zones/{name}/areas" in session.state.job.given)
    for name in ("one", "two"):
        session.edit(AddItem("areas", name, {"name": name}), by="Bo")
    seen, before = session.state.revision, list(session.state.job.zones[zone].areas)
    session.edit(AddItem(f"zones/{zone}/areas", None, "one"), by="Bo")
    assert ana(do="tick", path=f"zones/{zone}/areas", text="two", revision=seen)["problems"] == []
    assert list(session.state.job.zones[zone].areas) == [*before, "one", "two"]
    assert session.undo(by="Bo") == () and list(session.state.job.zones[zone].areas) == [*before, "two"]


def test_observations_of_both_stand(session: Session) -> None:
    def noted(by: str) -> AddItem:
        return AddItem("observations", None, {"at": "2026-03-02", "by": by, "where": "control.aux-1", "reading": "13.6 V"})

    seen, before = session.state.revision, len(session.state.job.observations)
    assert session.edit(noted("Bo"), by="Bo", at=seen) == () and session.edit(noted("Ana"), by="Ana", at=seen) == ()
    assert [each.by for each in session.state.job.observations[before:]] == ["Bo", "Ana"]


def test_what_must_not_be_lost_together_is_refused_by_the_reader(session: Session, ana: Post) -> None:
    session.edit(AddItem("areas", "shed", {"name": "Shed"}), by="Bo")
    seen = session.state.revision
    zone = next(iter(session.state.job.zones))
    session.edit(AddItem(f"zones/{zone}/areas", None, "shed"), by="Bo")
    answer = ana(do="remove", path="areas/shed", revision=seen, room="programme")
    assert answer["problems"] and "shed" in session.state.job.areas


def test_an_undo_over_somebody_elses_change_is_chosen(session: Session, ana: Post) -> None:
    seen = ana(do="set", path=LENGTH, text="60", seen="41", revision=session.state.revision)["revision"]
    session.edit(SetField(LENGTH, "70"), by="Bo")
    answer = ana(do="undo", revision=seen, room="wiring")
    assert "Changed by Bo since" in answer["problems"][0]["message"] and answer["page"]
    assert answer["choices"] == [{"side": "ours", "words": "Put ‘41’"}, {"side": "theirs", "words": "Leave ‘70’"}]
    session.edit(SetField("title", "Other"), by="Bo")
    again = ana(do="undo", side="ours", revision=answer["revision"], room="wiring")
    assert again["problems"] and session.state.job.cables["W22"].length_m == 70, "what was chosen was chosen before that"
    assert ana(do="undo", side="theirs", revision=again["revision"], room="wiring")["problems"] == []
    assert session.state.job.cables["W22"].length_m == 70 and session.stand(by="Ana") == (0, 1)
    assert "Redo would put ‘60’" in ana(do="redo", revision=session.state.revision)["problems"][0]["message"]


def test_a_page_learns_what_others_did(session: Session, ana: Post) -> None:
    get: Callable[[str], Any] = ana.get  # type: ignore[attr-defined]
    seen = session.state.revision
    assert get(f"/revision?since={seen}").json() == {"revision": seen, "elsewhere": False, "news": "", "copied": ""}
    for edit in (
        SetField(LENGTH, "60"), AddItem("areas", "shed", {"name": "Shed"}), RenameItem("areas/shed", "barn"), RemoveItem("areas/barn"),
    ):  # fmt: skip
        assert session.edit(edit, by="Bo") == ()
    session.edit(SetField("title", "Mine"), by="Ana")
    assert get(f"/revision?since={seen}").json()["news"] == (
        "Bo put in area shed; Bo renamed shed to barn; Bo took out area barn and 1 change before."
    )
    session.copied = lambda: "no copy at 12:00: the disk is full."
    assert get(f"/revision?since={seen}").json()["copied"] in get("/").text
    assert get("/revision?since=-1").status_code == 422 and get("/revision").json()["news"] == ""


@pytest.fixture
def two(path: Path) -> Iterator[tuple[Session, Session]]:
    """Two workbenches, each with the file and its history open."""
    made = []
    for by in ("Ana", "Bo"):
        file, _ = keep(path, by=by, clock=lambda: START)
        made.append(Session(file))
    yield made[0], made[1]
    for session in made:
        assert isinstance(session.file, KeptJob)
        session.file.close()
    store = open_store(history_path(path), read_only=True)
    assert store.verify() == [] and store.head("job.yaml").text == path.read_text(encoding="utf-8")
    store.close()


def test_two_workbenches_on_one_file(two: tuple[Session, Session], path: Path) -> None:
    ana, bo = two
    assert ana.edit(SetField(LENGTH, "60")) == () and bo.edit(SetField("title", "Bo's")) == ()
    assert ana.edit(SetField("cables/W31/length_m", "50")) == ()
    assert (ana.state.job.title, bo.state.job.cables["W22"].length_m) == ("Bo's", 60)
    (problem,) = bo.edit(SetField("cables/W31/length_m", "51"))
    assert "‘50’" in problem.message and "Ana" in problem.message
    assert bo.undo() == () and bo.state.job.title == "Fennimarch Bindery" and bo.state.job.cables["W31"].length_m == 50
    assert ana.undo() == () and ana.undo() == () and ana.state.text == loopwright.demo.text("business")
    assert [each.by for each in ana.history()] == ["Ana", "Ana", "Bo", "Ana", "Bo", "Ana", "Ana"]


def test_a_history_of_before_everybody_had_steps_of_their_own(path: Path) -> None:
    """Steps were one row then, whoever made them: Bo's undo takes only what Bo did."""
    text = path.read_text(encoding="utf-8")
    texts = [text.replace("title: Fennimarch Bindery", f"title: {name}") for name in ("One", "Two")]
    three = texts[1].replace("length_m: 41", "length_m: 60")
    store = open_store(history_path(path))
    store.create("job.yaml", text, Change(by="Ada", at=START))
    for number, each in enumerate((*texts, three), 1):
        store.append("job.yaml", each, Change(by="Ada", at=START), expected=number)
    store.close()
    path.write_text(three, encoding="utf-8")
    _as_one_row(history_path(path), {4: "Bo"})
    file, _ = keep(path, by="Bo", clock=lambda: START)
    session = Session(file)
    assert session.undo() == () and session.state.text == texts[1]
    assert session.undo() == () and session.state.text == texts[1] and session.stand().back == 0
    assert session.undo(by="Ada") == () and session.state.text == texts[0]
    assert session.redo() == () and session.state.job.title == "One" and session.state.job.cables["W22"].length_m == 60
    assert session.undo(by="Ada") == () and session.state.job.title == "Fennimarch Bindery"
    assert isinstance(file, KeptJob)
    file.close()


def _as_one_row(history: Path, made_by: dict[int, str]) -> None:
    """Give revisions to other people, with the places they had when all steps were in one row; the hashes are not what this is about."""
    import sqlite3

    with sqlite3.connect(history) as database:
        for number, by in made_by.items():
            database.execute("UPDATE revisions SET by = ? WHERE number = ?", (by, number))
    database.close()
