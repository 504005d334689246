"""How pages and files travel: packed over a network and never with a secret, files kept by the browser."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.sending import OPEN_ROOMS
from loopwright.web.session import Session

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"


@pytest.fixture
def from_afar(tmp_path: Path) -> TestClient:
    return _client(tmp_path, "192.0.2.7")


def _client(folder: Path, address: str) -> TestClient:
    path = folder / "job.yaml"
    path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    return TestClient(create_app(Session(JobFile(path)), token=None), base_url=BASE, client=(address, 50000))


def test_rooms_and_files_are_packed_over_a_network(from_afar: TestClient) -> None:
    for address in (*OPEN_ROOMS, "/static/sheet.css"):
        answer = from_afar.get(address)
        assert answer.headers["content-encoding"] == "gzip", address
        assert "accept-encoding" in answer.headers["vary"].lower()


def test_what_is_not_a_plain_room_is_never_packed(from_afar: TestClient) -> None:
    asked = [from_afar.get(address) for address in ("/secrets", "/choices", "/form?what=cables", "/working?key=x")]
    asked.append(from_afar.post("/edit", json={"do": "set", "path": "title", "text": "A"}, headers={"Origin": BASE}))
    assert all("content-encoding" not in answer.headers for answer in asked)


def test_nothing_is_packed_for_who_sits_at_this_machine(tmp_path: Path) -> None:
    for number, address in enumerate(("127.0.0.1", "::1")):
        folder = tmp_path / str(number)
        folder.mkdir()
        assert "content-encoding" not in _client(folder, address).get("/wiring").headers


def test_a_file_named_with_its_mark_is_kept_for_good_and_another_is_asked_after(from_afar: TestClient) -> None:
    assert "immutable" in from_afar.get("/static/sheet.css?v=0123456789").headers["cache-control"]
    plain = from_afar.get("/static/post.js")
    assert plain.headers["cache-control"] == "no-cache"
    again = from_afar.get("/static/post.js", headers={"If-None-Match": plain.headers["etag"]})
    assert again.status_code == 304 and not again.content


def test_the_first_page_is_small(from_afar: TestClient) -> None:
    front = from_afar.get("/")
    named = {part.partition('"')[0] for part in front.text.split('"/static/')[1:]}
    assert len(front.content) + sum(len(from_afar.get(f"/static/{name}").content) for name in named) < 300_000
