"""The API: who is let in and for what, what is read and changed, and that what goes wrong is told with its place."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import asdict
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import jsonschema
import openpyxl
import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.appraisal.appraise import appraise
from loopwright.appraisal.findings_form import findings_form
from loopwright.appraisal.forecast_form import forecast_form
from loopwright.job.edit import InTurn, RenameItem, SetField, apply, content
from loopwright.job.list_plan import ListKind
from loopwright.job.listing import rows_out
from loopwright.job.read import read
from loopwright.job.schema import json_schema
from loopwright.job.tree import compose
from loopwright.store.api_token import ApiTokens, Scope, tokens_path
from loopwright.web.api.entry import MOST_POSTED
from loopwright.web.api.sent import DEEPEST, MOST_EDITS
from often import often

READ = (
    "job", "job.yaml", "job.json", "findings", "forecast", "search?q=c", "readings", "history", "papers",
    "papers/circuit-and-power-record.pdf", "lists/cables.csv", "lists/zones.xlsx",
)  # fmt: skip
PROBLEM = "application/problem+json"


def edits(*each: dict[str, Any]) -> dict[str, Any]:
    return {"edits": list(each)}


def length(value: object, path: str = "cables/W01/length_m") -> dict[str, Any]:
    return {"do": "set", "path": path, "value": value}


def every_operation(client: Any) -> list[tuple[str, str]]:
    paths = client.get("/api/openapi.json").json()["paths"]
    found = [(method, re.sub(r"\{kind\}", "cables", path).replace("{name}", "x")) for path, methods in paths.items() for method in methods]
    assert len(found) >= 14
    return found


def test_no_address_answers_without_a_token_that_counts(nobody: Any, tokens: ApiTokens) -> None:
    from datetime import UTC, datetime

    ended = tokens.make("old", frozenset({Scope.CHANGE}), by="Ada", now=datetime.now(UTC) - timedelta(days=2), days=1).reveal()
    given_up = tokens.make("gone", frozenset({Scope.CHANGE}), by="Ada", now=datetime.now(UTC)).reveal()
    tokens.remove("gone")
    for said in (
        "",
        "Bearer",
        "Bearer x",
        f"Bearer {ended}",
        f"Bearer {given_up}",
        f"Basic {ended}",
        "Bearer " + "x" * 5000,
        "Bearer \xe9",
    ):
        for method, path in every_operation(nobody):
            answer = nobody.request(method, f"/api{path}", headers={"Authorization": said.encode("latin-1")} if said else {})
            assert answer.status_code == 401 and answer.headers["content-type"] == PROBLEM, (said, method, path)
            assert answer.headers["www-authenticate"].startswith("Bearer")


def test_the_key_of_the_page_opens_no_api_and_a_token_no_page(nobody: Any, reader: Any) -> None:
    assert nobody.get("/api/v1/job?key=the-key-of-this-start").status_code == 401
    assert nobody.get("/?key=the-key-of-this-start").status_code == 200
    assert nobody.get("/").status_code == 200, "the cookie is there now"
    assert nobody.get("/api/v1/job").status_code == 401
    assert nobody.post("/api/v1/edits", json=edits(length(7)), headers={"Origin": "http://127.0.0.1:8417"}).status_code == 401
    assert reader.get("/").status_code == 403
    assert reader.get("/working?key=x").status_code == 403


def test_a_name_of_another_site_reaches_nothing(reader: Any) -> None:
    assert reader.get("/api/v1/job", headers={"Host": "example.com"}).status_code == 421


def test_reading_is_not_changing(reader: Any, session: Any) -> None:
    before = session.state.text
    changing = [each for each in every_operation(reader) if each[0] != "get"]
    assert len(changing) == 4
    for method, path in changing:
        answer = reader.request(method, f"/api{path}", headers={"If-Match": "*"}, json=edits(length(7)))
        assert answer.status_code == 403 and answer.headers["content-type"] == PROBLEM, path
    assert session.state.text == before


@pytest.mark.parametrize("name", READ)
def test_what_can_be_read_carries_what_every_answer_carries(reader: Any, name: str) -> None:
    answer = reader.get(f"/api/v1/{name}")
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store" and "content-security-policy" in answer.headers
    if tag := answer.headers.get("etag"):
        again = reader.get(f"/api/v1/{name}", headers={"If-None-Match": f'"other", W/{tag}'})
        assert again.status_code == (304 if not set("/?") & set(name) and name != "readings" else 200)


def test_text_data_and_hash_are_of_one_document(reader: Any, text: str) -> None:
    assert reader.get("/api/v1/job.yaml").content == text.encode("utf-8")
    data = reader.get("/api/v1/job.json").json()
    jsonschema.Draft202012Validator(json_schema()).validate(data)
    assert data == content(compose(text)[1])
    from hashlib import sha256

    job = reader.get("/api/v1/job").json()
    assert job["text_sha256"] == sha256(text.encode("utf-8")).hexdigest()
    assert (job["title"], job["revision"], job["back"], job["changed_elsewhere"]) == (read(text).job.title, 1, 0, False)


@pytest.mark.parametrize("name", demo.names())
def test_a_job_as_json_reads_as_the_same_job(name: str) -> None:
    text = demo.text(name)
    as_json = json.dumps(content(compose(text)[1]))
    assert read(as_json).job == read(text).job


def test_findings_and_forecast_are_those_of_the_command_line(reader: Any, text: str) -> None:
    appraisal = appraise(read(text).job)
    assert reader.get("/api/v1/findings").json() == json.loads(json.dumps(asdict(findings_form(appraisal))))
    assert reader.get("/api/v1/forecast").json() == json.loads(json.dumps(asdict(forecast_form(appraisal))))


def test_papers_and_lists_are_those_of_the_job(reader: Any, text: str) -> None:
    pdf = pypdf.PdfReader(BytesIO(reader.get("/api/v1/papers/circuit-and-power-record.pdf").content))
    assert "Example cottage" in pdf.pages[0].extract_text()
    for kind in ListKind:
        sheet = openpyxl.load_workbook(BytesIO(reader.get(f"/api/v1/lists/{kind}.xlsx").content)).active
        rows = rows_out(text, kind)
        assert [str(cell.value) for cell in sheet[1]] == list(rows[0])
        assert sheet.max_row == len(rows)
        assert reader.get(f"/api/v1/lists/{kind}.csv").text.count("\n") >= len(rows)
    assert reader.get("/api/v1/papers/none.pdf").status_code == 404


def test_edits_are_one_revision_in_the_name_of_the_token(writer: Any, session: Any, text: str) -> None:
    sent = edits(
        length("60 m"), {"do": "rename", "path": "cables/W02", "name": "W22"}, {"do": "set", "path": "cables/W22/length_m", "value": 7.5}
    )
    answer = writer.post("/api/v1/edits", json=sent)
    assert answer.status_code == 200 and answer.json()["revision"] == 2 and answer.json()["back"] == 1
    wanted = InTurn((SetField("cables/W01/length_m", "60 m"), RenameItem("cables/W02", "W22"), SetField("cables/W22/length_m", "7.5")))
    assert session.state.text == apply(text, wanted).text
    assert answer.headers["etag"] == writer.get("/api/v1/job").headers["etag"]
    last = writer.get("/api/v1/history?most=1").json()
    assert last["revisions"][0]["by"] == "writer (token)" and last["revisions"][0]["summary"] == "cables/W01/length_m: 60 m and 2 more"
    assert last["next_before"] == 2
    assert writer.get("/api/v1/history?before=2").json()["next_before"] is None


def test_all_edits_or_none(writer: Any, session: Any, text: str) -> None:
    answer = writer.post("/api/v1/edits", json=edits(length(7), length("long")))
    problem = answer.json()
    assert answer.status_code == 422 and answer.headers["content-type"] == PROBLEM
    assert (problem["type"], problem["title"], problem["status"]) == ("about:blank", "Unprocessable Entity", 422)
    (item,) = problem["problems"]
    assert item["path"] == "cables/W01/length_m" and item["line"] > 1 and "'long' is not a number" in item["message"]
    assert session.state.text == text


def test_an_edit_of_a_revision_that_has_passed_changes_nothing(writer: Any, session: Any) -> None:
    seen = writer.get("/api/v1/job").headers["etag"]
    first = writer.post("/api/v1/edits", json=edits(length(7)), headers={"If-Match": seen})
    assert first.status_code == 200
    late = writer.post("/api/v1/edits", json=edits(length(8)), headers={"If-Match": seen})
    assert late.status_code == 412 and late.headers["etag"] == first.headers["etag"]
    assert session.state.job.cables["W01"].length_m == 7
    assert writer.post("/api/v1/edits", json=edits(length(8)), headers={"If-Match": f'"x", {late.headers["etag"]}'}).status_code == 200


def test_an_edit_sent_twice_because_its_answer_was_lost_is_made_once(writer: Any, session: Any) -> None:
    seen = writer.get("/api/v1/job").headers["etag"]
    sent = {"json": edits({"do": "add", "path": "joints", "name": "attic", "value": {"room": "hall"}})}
    for _ in range(2):
        assert writer.post("/api/v1/edits", **sent, headers={"If-Match": seen, "Idempotency-Key": "1"}).status_code == 200
    assert session.state.revision == 2
    assert writer.post("/api/v1/edits", **sent, headers={"Idempotency-Key": "2"}).status_code == 422


def test_undo_and_redo_are_of_the_revision_that_was_seen(writer: Any, session: Any, text: str) -> None:
    assert writer.post("/api/v1/undo").status_code == 428
    assert writer.post("/api/v1/undo", headers={"If-Match": "*"}).status_code == 409
    made = writer.post("/api/v1/edits", json=edits(length(7)))
    assert writer.post("/api/v1/undo", headers={"If-Match": '"other"'}).status_code == 412
    undone = writer.post("/api/v1/undo", headers={"If-Match": made.headers["etag"]})
    assert undone.status_code == 200 and (undone.json()["back"], undone.json()["forward"]) == (0, 1)
    assert session.state.text == text
    redone = writer.post("/api/v1/redo", headers={"If-Match": undone.headers["etag"]})
    assert redone.headers["etag"] == made.headers["etag"]
    assert writer.post("/api/v1/redo", headers={"If-Match": "*"}).status_code == 409


def test_a_step_is_taken_back_by_whoever_made_it(writer: Any, bearing: Callable[[str, Scope], Any], session: Any) -> None:
    other = bearing("other", Scope.CHANGE)
    writer.post("/api/v1/edits", json=edits(length(7)))
    other.post("/api/v1/edits", json=edits(length(9, "cables/W02/length_m")))
    assert writer.post("/api/v1/undo", headers={"If-Match": "*"}).status_code == 200
    cables = session.state.job.cables
    assert (cables["W01"].length_m, cables["W02"].length_m) == (18, 9)
    writer.post("/api/v1/edits", json=edits(length(7)))
    other.post("/api/v1/edits", json=edits(length(8)))
    refused = writer.post("/api/v1/undo", headers={"If-Match": "*"})
    assert refused.status_code == 409 and refused.json()["problems"][0]["path"] == "cables/W01/length_m"
    assert session.state.job.cables["W01"].length_m == 8


def test_a_whole_document_takes_the_place_of_the_one_that_was_seen(writer: Any, session: Any, text: str) -> None:
    headers = {"Content-Type": "application/yaml"}
    assert writer.put("/api/v1/job.yaml", content=b"# new\n", headers=headers).status_code == 428
    refused = writer.put("/api/v1/job.yaml", content=b"title: none\n", headers=headers | {"If-Match": "*"})
    assert refused.status_code == 422 and "format" in refused.text
    assert session.state.text == text
    new = f"# put in by another program\n{text}".encode()
    assert writer.put("/api/v1/job.yaml", content=new, headers=headers | {"If-Match": '"x"'}).status_code == 412
    assert writer.put("/api/v1/job.yaml", content=new, headers=headers | {"If-Match": "*"}).status_code == 200
    assert writer.get("/api/v1/job.yaml").content == new


def test_what_another_program_wrote_into_the_file_is_there(writer: Any, tmp_path: Path, text: str) -> None:
    file = tmp_path / "job.yaml"
    file.write_text(text.replace("Example cottage", "Another cottage"), encoding="utf-8")
    assert writer.get("/api/v1/findings").json()["title"] == "Another cottage"
    file.write_text("no job", encoding="utf-8")
    assert writer.get("/api/v1/job").json()["changed_elsewhere"] is True
    answer = writer.post("/api/v1/edits", json=edits(length(7)))
    assert answer.status_code == 409 and file.read_text(encoding="utf-8") == "no job"


def test_what_is_too_much_is_not_taken(writer: Any, session: Any, text: str) -> None:
    deep: Any = "x"
    for _ in range(DEEPEST):
        deep = [deep]
    far_too_deep = '{"edits": [{"do": "add", "path": "joints", "name": "a", "value": ' + "[" * 20_000 + "]" * 20_000 + "}]}"
    headers = {"Content-Type": "application/json"}
    for body in (
        json.dumps(edits(*[length(7)] * (MOST_EDITS + 1))),
        json.dumps(edits()),
        json.dumps(edits(length("x" * 8001))),
        json.dumps(edits({"do": "add", "path": "joints", "name": "a", "value": deep})),
        json.dumps(edits({"do": "add", "path": "joints", "name": "a", "value": [0] * 3000})),
        far_too_deep,
        '{"edits": [{"do": "set", "path": "cables/W01/length_m", "value": NaN}]}',
        '{"edits": [{"do": "set", "path": "cables/W01/length_m", "value": "\\ud800"}]}',
        '{"edits": [{"do": "set", "path": "cables/W01/length_m", "value": 7, "\\ud800": 1}]}',
        '{"edits": [{"do": "set", "path": "cables/W01/length_m", "value": 1' + "0" * 5000 + "}]}",
        "{",
        "\xff",
    ):
        answer = writer.post("/api/v1/edits", content=body.encode("utf-8", "surrogatepass"), headers=headers)
        assert answer.status_code == 422 and answer.headers["content-type"] == PROBLEM, body[:80]
    assert writer.post("/api/v1/edits", content=b"x" * (MOST_POSTED + 1), headers=headers).status_code == 413
    assert writer.post("/api/v1/edits", content=iter([b"{}"]), headers=headers).status_code == 411
    for said in ("000000000000" + str(MOST_POSTED + 1), "9" * 5000):
        assert writer.post("/api/v1/edits", content=b"{}", headers=headers | {"Content-Length": said}).status_code == 413
    assert session.state.text == text


@given(st.dictionaries(st.text(max_size=8), st.text(max_size=20), max_size=2), st.text(max_size=40))
@settings(max_examples=often(12), suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_was_sent_is_never_repeated_as_markup_or_breaks_an_answer(writer: Any, extra: dict[str, str], path: str) -> None:
    answer = writer.post("/api/v1/edits", json=edits({"do": "remove", "path": path, **extra}))
    assert answer.status_code in (200, 409, 422) and answer.headers["x-content-type-options"] == "nosniff"
    answer.json()


def test_a_fault_of_the_tokens_lets_nobody_in(reader: Any, tmp_path: Path) -> None:
    tokens_path(tmp_path / "job.yaml").write_text("{}", encoding="ascii")
    answer = reader.get("/api/v1/job")
    assert answer.status_code == 503 and "damaged" in answer.json()["detail"]
