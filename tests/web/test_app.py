"""The workbench's addresses: what is shown, who is let in, what may be changed, and that a name is never markup."""

from __future__ import annotations

import re
import warnings
from html import unescape
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.values.finding import Severity
from loopwright.web.app import create_app
from loopwright.web.drawn import Drawn
from loopwright.web.guard import HEADERS, MOST_POSTED, Guard
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
ROOMS = ("/", "/premises", "/kit", "/wiring", "/power", "/programme", "/secrets", "/papers")
TOKEN = "a-key-for-the-test"
WORDED = (
    "title", "premises/name", "premises/address", "equipment/door-front/label", "equipment/sounder-press/label", "zones/z01/text",
    "circuits/c01/note", "sheets/equipment/reed/maker", "storeys/ground/rooms/lobby/name",
)  # fmt: skip
HOSTILE = "<script>alert(1)</script>\"'&{{7*7}}"


def opened(folder: Path, text: str | None = None, *, token: str | None = None, host: str = BASE) -> Any:
    path = folder / "job.yaml"
    path.write_text(text if text is not None else loopwright.demo.text("business"), encoding="utf-8")
    session = Session(JobFile(path))
    made = TestClient(create_app(session, token=token), base_url=host)
    made.app_session = session  # type: ignore[attr-defined]
    return made


@pytest.fixture
def client(tmp_path: Path) -> Any:
    return opened(tmp_path)


def post(client: Any, **change: Any) -> Any:
    return client.post("/edit", json=change, headers={"Origin": str(client.base_url).rstrip("/")})


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("name", loopwright.demo.names())
def test_every_room_of_every_example_is_drawn(tmp_path: Path, room: str, name: str) -> None:
    answer = opened(tmp_path, loopwright.demo.text(name)).get(room)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")


def test_headers_allow_nothing_but_this_program(client: Any) -> None:
    for address in (*ROOMS, "/static/sheet.css", "/nowhere"):
        headers = client.get(address).headers
        policy = headers["content-security-policy"]
        assert "default-src 'self'" in policy and "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy and "http" not in policy and "data:" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


def test_a_fault_of_the_program_says_nothing_and_carries_the_same_headers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    client = opened(tmp_path, loopwright.demo.text("dwelling"))
    monkeypatch.setattr(Drawn, "room", lambda *_, **__: 1 // 0)
    said = TestClient(client.app, base_url=BASE, raise_server_exceptions=False).get("/kit")
    assert said.status_code == 500 and "ZeroDivision" not in said.text and "Traceback" not in said.text
    assert {name.lower(): said.headers.get(name) for name in HEADERS} == {name.lower(): words for name, words in HEADERS.items()}
    assert said.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("room", ["/", "/kit?open=d:sheets/equipment/oq-c32", "/wiring?open=d:circuits/c10&open=d:cables/W32", "/power"])
def test_no_markup_that_the_policy_would_refuse(client: Any, room: str) -> None:
    html = client.get(room).text
    assert not re.search(r"\sstyle\s*=", html)
    assert not re.search(r"\son[a-z]+\s*=", html)
    assert "<style" not in html and "javascript:" not in html
    assert re.findall(r"<script[^>]*>(.*?)</script>", html, re.DOTALL) == [""]


@pytest.mark.parametrize(
    "host", ["http://evil.example", "http://127.0.0.1.evil.example:8417", "http://localhost.evil.example", "http://10.0.0.1"]
)
def test_another_name_for_this_machine_gets_nothing(tmp_path: Path, host: str) -> None:
    answer = opened(tmp_path, host=host).get("/")
    assert answer.status_code == 421 and "Fennimarch" not in answer.text


@pytest.mark.parametrize("host", ["http://localhost:8417", "http://127.0.0.1", "http://[::1]:8417"])
def test_the_names_of_this_machine_are_answered(tmp_path: Path, host: str) -> None:
    assert opened(tmp_path, host=host).get("/").status_code == 200


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", "http://127.0.0.1:1", "https://127.0.0.1.evil.example:8417"])
def test_another_page_changes_nothing(tmp_path: Path, origin: str | None) -> None:
    client = opened(tmp_path)
    headers = {} if origin is None else {"Origin": origin}
    change = {"do": "set", "path": "title", "text": "Taken over"}
    assert client.post("/edit", json=change, headers=headers).status_code == 403
    assert "Taken over" not in (tmp_path / "job.yaml").read_text(encoding="utf-8")


def test_without_the_key_nothing_is_shown_or_changed(tmp_path: Path) -> None:
    client = opened(tmp_path, token=TOKEN)
    for address in (*ROOMS, "/?key=wrong", "/?key=", "/choices", "/revision", "/static/sheet.css", f"/wiring?key={TOKEN}"):
        answer = client.get(address)
        assert answer.status_code == 403 and "Fennimarch" not in answer.text, address
    assert post(client, do="set", path="title", text="Taken over").status_code == 403
    client.cookies.set(Guard(token=TOKEN, visitor=SOMEBODY).cookie, "wrong")
    assert client.get("/").status_code == 403


def test_the_printed_address_lets_in_and_leaves_a_strict_cookie(tmp_path: Path) -> None:
    client = opened(tmp_path, token=TOKEN)
    answer = client.get("/", params={"key": TOKEN})
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie and 'url=/"' in answer.text and TOKEN not in answer.text
    assert "Fennimarch" in client.get("/").text
    assert post(client, do="set", path="cables/W22/length_m", text="60").json()["problems"] == []


def test_too_much_is_not_read(client: Any) -> None:
    answer = client.post("/edit", content=b"x" * (MOST_POSTED + 1), headers={"Origin": BASE})
    assert answer.status_code == 413


@pytest.mark.parametrize(
    "change", [{}, {"do": "burn"}, {"do": "set", "path": "x" * 5000}, {"do": "set", "more": 1}, {"do": "set", "text": "x" * 9000}]
)
def test_what_is_no_change_is_refused(client: Any, change: dict[str, Any]) -> None:
    assert post(client, **change).status_code == 422


def test_an_edit_answers_with_the_room_drawn_anew(client: Any) -> None:
    answer = post(client, do="set", path="cables/W22/length_m", text="60", room="wiring").json()
    assert answer["problems"] == [] and 'value="60" id="c:cables/W22/length_m"' in answer["page"]
    again = post(client, do="undo", room="wiring").json()
    assert 'value="41" id="c:cables/W22/length_m"' in again["page"] and again["revision"] > answer["revision"]


def test_a_bad_entry_comes_back_in_the_words_of_the_file(client: Any) -> None:
    answer = post(client, do="set", path="cables/W22/length_m", text="4,2", room="wiring").json()
    assert answer["page"] == ""
    assert answer["problems"] == [{"path": "cables/W22/length_m", "message": "'4,2' has a decimal comma: write 4.2."}]


@pytest.mark.parametrize("path", ["", "nothing", "cables/W22", "cables/W22/nothing", "../../etc/passwd", "given", "format/x"])
def test_a_place_that_is_none_is_refused(client: Any, path: str) -> None:
    answer = post(client, do="set", path=path, text="1", room="wiring")
    assert answer.status_code == 200 and answer.json()["problems"]


def test_an_emptied_cell_lets_the_default_hold(client: Any) -> None:
    answer = post(client, do="set", path="cables/W31/slack_m", text="", room="wiring").json()
    assert answer["problems"] == []
    assert re.search(r'cell assumed"><input class="num f0" value="0" id="c:cables/W31/slack_m"', answer["page"])


def test_a_circuit_put_in_takes_the_resistors_its_sheet_asks_for(client: Any) -> None:
    fields = {"id": "c99", "input": "expander.16", "topology": "double", "path/0/cable": "W51", "path/0/device": "door-escape"}
    assert post(client, do="add", path="circuits", fields=fields, room="wiring").json()["problems"] == []
    page = client.get("/wiring?open=d:circuits/c99").text
    assert 'value="2700" id="c:circuits/c99/resistors/end_ohm"' in page and 'value="6800" id="c:circuits/c99/resistors/alarm_ohm"' in page
    assert (
        post(client, do="add", path="circuits/c99/path", fields={"cable": "W52", "device": "roof-north"}, room="wiring").json()["problems"]
        == []
    )
    assert post(client, do="remove", path="circuits/c99", room="wiring").json()["problems"] == []


def test_feet_and_gauges_are_read_and_written_in_a_north_american_job(tmp_path: Path) -> None:
    client = opened(tmp_path, loopwright.demo.text("business").replace("units: metric", "units: us"))
    page = client.get("/wiring").text
    assert 'value="134.5" id="c:cables/W22/length_m"' in page and '<span class="u">ft</span>' in page
    assert 'value="0.22 mm²" id="c:sheets/cables/six-core/gauge"' in client.get("/kit").text
    post(client, do="set", path="cables/W22/length_m", text="150", room="wiring")
    assert "length_m: 150 ft" in (tmp_path / "job.yaml").read_text(encoding="utf-8")
    assert post(client, do="set", path="sheets/cables/six-core/gauge", text="22", room="kit").json()["problems"] == []
    assert "gauge: 22 AWG" in (tmp_path / "job.yaml").read_text(encoding="utf-8")


def test_milliamperes_are_entered_as_they_are_shown(client: Any, tmp_path: Path) -> None:
    path = "sheets/equipment/pk-dual/loads/supply/unset_a"
    page = client.get("/kit?open=d:sheets/equipment/pk-dual").text
    assert f'value="18" id="c:{path}"' in page
    post(client, do="set", path=path, text="21", room="kit")
    assert "unset_a: 21 mA" in (tmp_path / "job.yaml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A job with markup wherever words may be written."""
    client = opened(tmp_path_factory.mktemp("hostile"))
    for path in WORDED:
        assert post(client, do="set", path=path, text=HOSTILE).json()["problems"] == [], path
    return client


@pytest.mark.parametrize("room", ["/", "/kit?open=d:equipment/door-front", "/wiring?open=d:circuits/c01&open=d:cables/W10", "/power"])
def test_a_name_is_never_markup(hostile: Any, room: str) -> None:
    html = hostile.get(room).text
    assert "<script>alert" not in html and "49" not in re.findall(r"<title>(.*?)</title>", html)[0]
    assert HOSTILE in unescape(html)


def test_every_number_on_every_room_opens(client: Any) -> None:
    keys = {unescape(key) for room in ROOMS for key in re.findall(r'data-open="w:([^"]*)"', client.get(room).text)}
    assert len(keys) > 500
    for key in sorted(keys)[::7]:
        answer = client.get("/working", params={"key": key})
        assert answer.status_code == 200 and 'class="formula"' in answer.text, key
    assert client.get("/working", params={"key": "volts/none/alarm/mains"}).status_code == 404


def test_an_opened_number_stands_unfolded_after_its_row(client: Any) -> None:
    html = client.get("/power", params={"open": "w:volts/sounder-press.supply/alarm/battery-end"}).text
    assert 'id="w:volts/sounder-press.supply/alarm/battery-end"' in html and "V_bus" in html
    assert html.count("V = V_bus") == 1


def test_findings_stand_beside_what_they_concern_and_none_is_lost(client: Any) -> None:
    front = client.get("/").text
    on_front = re.findall(r'<div class="note is-', front)
    elsewhere = [note for room in ROOMS[1:] for note in re.findall(r'<div class="note is-', client.get(room).text)]
    assert len(on_front) >= len(elsewhere) > 0
    assert f"{client.app_session.state.appraisal.count(Severity.MUST)} must" in front
    row = re.search(r'<tr id="row:equipment/sounder-press".*?</tr>', client.get("/power").text, re.DOTALL)
    assert row and '<b class="kind">must</b>' in row[0]


def test_a_scenario_is_chosen_by_address(client: Any) -> None:
    html = client.get("/power?scenario=set/mains").text
    assert "set, on mains" in html.lower()
    assert client.get("/power?scenario=nothing/here").status_code == 200


def test_a_drawing_leads_to_the_cell_it_shows(client: Any) -> None:
    answer = client.get("/go", params={"path": "cables/W22/length_m"}, follow_redirects=False)
    assert answer.status_code == 303 and answer.headers["location"] == "./wiring#c:cables/W22/length_m"


def test_unknown_rooms_are_not_there(client: Any) -> None:
    for address in ("/front", "/nothing", "/static/../app.py", "/openapi.json", "/docs"):
        assert client.get(address).status_code == 404, address


def test_the_caution_stands_where_work_can_hurt(client: Any) -> None:
    for room in ("/", "/power"):
        assert "Fire, CO and medical design is not done here" in client.get(room).text
