"""What programs ask for by name, and waiting for a change: the same that the workbench finds, forecasts and compares."""

from __future__ import annotations

import json
import threading
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo
from loopwright.appraisal.appraise import appraise
from loopwright.appraisal.forecast_form import ForecastForm, forecast_form
from loopwright.appraisal.observed import held_readings
from loopwright.job.edit import SetField, apply
from loopwright.job.read import read
from loopwright.web.api import waiting
from loopwright.web.api.asking import narrowed
from loopwright.web.search import Finder

LONG_S = 60
NEW_LENGTH = {"edits": [{"do": "set", "path": "cables/W01/length_m", "value": 9}]}


def test_a_search_finds_what_the_workbench_finds(reader: Any, session: Any) -> None:
    for words in ("W01", "cable", "  ", "\u2126 <b>", next(iter(session.state.job.circuits))):
        found, many = Finder().of(session.state).find(words)
        answer = reader.get("/api/v1/search", params={"q": words})
        assert answer.json() == {"found": [each._asdict() for each in found], "many": many}
    assert reader.get("/api/v1/search", params={"q": "W01"}).json()["found"][0]["name"] == "W01"
    assert reader.get("/api/v1/search", params={"q": "x" * 201}).status_code == reader.get("/api/v1/search").status_code == 422


def test_every_part_of_the_forecast_is_had_by_its_name_and_nothing_else_by_any(reader: Any, session: Any) -> None:
    whole = forecast_form(appraise(read(demo.text("business")).job))
    named = {
        **{each.circuit: ("circuits", each) for each in whole.circuits}, **{each.output: ("outputs", each) for each in whole.outputs},
        **{each.equipment: ("terminals", each) for each in whole.terminals}, **{each.supply: ("supplies", each) for each in whole.supplies},
    }  # fmt: skip
    assert {part for part, _ in named.values()} == {"circuits", "outputs", "terminals", "supplies"}
    for name, (part, each) in named.items():
        found = narrowed(whole, name)
        assert isinstance(found, ForecastForm) and each in getattr(found, part)
        rest = [item.circuit for item in found.circuits if item.circuit != name]
        assert not rest and all(item.equipment == name or item.fed_from == name for item in found.terminals)
    assert narrowed(whole, "nothing-here") is None
    first = forecast_form(session.state.appraisal).circuits[0]
    told = reader.get("/api/v1/forecast", params={"of": first.circuit}).json()
    assert told["circuits"] == [json.loads(json.dumps(asdict(first)))] and told["terminals"] == told["batteries"] == []
    assert reader.get("/api/v1/forecast?of=nothing-here").status_code == 404


def test_readings_are_held_against_the_forecast_as_the_front_sheet_holds_them(writer: Any, session: Any) -> None:
    circuit = next(iter(session.state.job.circuits))
    entry = {"at": "2026-03-02 08:00", "by": "Ada", "where": circuit, "reading": "123 kΩ", "instrument": "meter 1"}
    for more in ({}, {"where": "the cellar wall"}):
        sent = writer.post("/api/v1/edits", json={"edits": [{"do": "add", "path": "observations", "value": entry | more}]})
        assert sent.status_code == 200, sent.text
    job, all_ = session.state.job, writer.get("/api/v1/readings").json()["readings"]
    held = held_readings(appraise(job))
    assert [each["words"] for each in all_] == [each.words for each in held]
    assert [each["path"] for each in all_] == [f"observations/{number}" for number in range(len(job.observations))]
    *_, one = writer.get("/api/v1/readings", params={"of": circuit}).json()["readings"]
    assert (one["reading"], one["subject"], one["verdict"]) == ("123 kΩ", f"circuits/{circuit}", "not as forecast")
    assert one["expected"]["unit"] == "Ω" and all_[-1]["expected"] is None
    (other,) = writer.get("/api/v1/readings", params={"of": "the cellar wall"}).json()["readings"]
    assert other["subject"] == "" and writer.get("/api/v1/readings?of=nothing").json() == {"readings": []}


class Waiter(threading.Thread):
    """A program that waits for another revision than the one it knows."""

    def __init__(self, client: Any, known: str, wait_s: float = 30) -> None:
        super().__init__(daemon=True)
        self.client, self.known, self.wait_s = client, known, wait_s
        self.start()

    def run(self) -> None:
        self.answer = self.client.get(f"/api/v1/job?wait_s={self.wait_s}", headers={"If-None-Match": self.known})

    def answered(self) -> Any:
        self.join(LONG_S)
        return self.answer


def _is_waited(reader: Any, known: str, monkeypatch: pytest.MonkeyPatch) -> Waiter:
    looked, tag_of = threading.Event(), waiting.tag_of

    def noting(state: Any) -> str:
        looked.set()
        return tag_of(state)

    monkeypatch.setattr(waiting, "tag_of", noting)
    monkeypatch.setattr(waiting, "LOOKED_S", 0.02)
    made = Waiter(reader, known)
    assert looked.wait(LONG_S)
    return made


def test_who_waits_is_answered_when_the_job_changes_here_or_in_the_file(
    reader: Any, writer: Any, session: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    known = reader.get("/api/v1/job").headers["etag"]
    waits = _is_waited(reader, known, monkeypatch)
    assert waits.is_alive()
    made = writer.post("/api/v1/edits", json=NEW_LENGTH).json()
    assert waits.answered().status_code == 200 and waits.answered().json()["text_sha256"] == made["text_sha256"]
    again = _is_waited(reader, waits.answered().headers["etag"], monkeypatch)
    Path(session.file.path).write_text(apply(session.state.text, SetField("title", "Elsewhere")).text, encoding="utf-8")
    assert again.answered().status_code == 200 and again.answered().json()["title"] == "Elsewhere"


def test_waiting_has_an_end_and_needs_something_that_is_known(reader: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    known = reader.get("/api/v1/job").headers["etag"]
    start_s = time.monotonic()
    assert Waiter(reader, known, 0.05).answered().status_code == 304
    assert time.monotonic() - start_s >= 0.05
    assert Waiter(reader, "*").answered().status_code == 304
    assert Waiter(reader, '"another"').answered().status_code == 200
    assert reader.get("/api/v1/job?wait_s=30").status_code == 200
    assert all(reader.get(f"/api/v1/job?wait_s={each}").status_code == 422 for each in ("31", "-1", "nan", "inf", "x"))
    monkeypatch.setattr(waiting, "MOST_WAITING", 0)
    assert Waiter(reader, known).answered().status_code == 304, "who is one too many is answered at once"


def test_each_token_is_told_its_own_steps(reader: Any, writer: Any) -> None:
    assert writer.post("/api/v1/edits", json=NEW_LENGTH).json()["back"] == 1
    assert (writer.get("/api/v1/job").json()["back"], reader.get("/api/v1/job").json()["back"]) == (1, 0)
    read(writer.get("/api/v1/job.yaml").text)
