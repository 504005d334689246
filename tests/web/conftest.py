"""A workbench with an entrance, and browsers of people who come in by it."""

from __future__ import annotations

import warnings
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from loopwright.store.audit import Audit
from loopwright.store.door import Door
from loopwright.store.file import JobFile
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.web.app import create_app
from loopwright.web.entrance import Entrance, Ways
from loopwright.web.session import Session

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

CHEAP = Cost(passes=1, memory_kib=8, lanes=1)
PORT = 8417
NAME = "bench.example"
BASE = f"https://{NAME}:{PORT}"
PASSWORDS = {
    "Ada": "correct horse battery", "Ina": "staple under the stair", "Dora": "seven wet umbrellas", "Otto": "a pear in the drawer",
    "Rita": "blue ladder, no rungs", "Sven": "forty quiet geese", "Max": "tea at ten past three",
}  # fmt: skip
ROLES = {"Ina": Role.INSTALLER, "Dora": Role.DESK, "Otto": Role.OFFICE, "Rita": Role.READER, "Sven": Role.SURVEYOR, "Max": Role.MATE}
VISIT = {"Accept": "text/html", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Site": "same-origin"}
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


class Browser(TestClient):
    """A browser that asks for pages and sends forms as one does; it goes nowhere by itself."""

    def visit(self, address: str, **more: str) -> Any:
        return self.get(address, headers=VISIT | more)

    def hand_in(self, address: str, /, **fields: str) -> Any:
        return self.post(address, data=fields, headers=VISIT | {"Origin": str(self.base_url).rstrip("/")})

    def edit(self, **headers: str) -> Any:
        origin = {"Origin": str(self.base_url).rstrip("/")}
        return self.post("/edit", json={"do": "set", "path": "title", "text": "Taken over"}, headers=origin | headers)


class Bench:
    """The workbench, its clock, its people, and browsers to come in with."""

    def __init__(self, folder: Path, *, proxy: str = "") -> None:
        self.path = folder / "job.yaml"
        self.path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
        self.now, self.passwords = AT, PASSWORDS
        self.audit = Audit(folder / "people.trail", by="the workbench", clock=lambda: self.now)
        self.people = People(folder / "people", note=self.audit.note, cost=CHEAP)
        self.people.add("Ada", Role.OFFICE, Secret(PASSWORDS["Ada"]), owner=True)
        for name, role in ROLES.items():
            self.people.add(name, role, Secret(PASSWORDS[name]))
        ways = Ways(addresses=(f"{BASE}/",), hosts=frozenset({NAME, "127.0.0.1"}), port=PORT, proxy=proxy)
        self.entrance = Entrance(
            door=Door(self.people, note=self.audit.note), people=self.people, audit=self.audit, ways=ways, clock=lambda: self.now
        )  # fmt: skip
        self.session = Session(JobFile(self.path))
        self.app = create_app(self.session, token=None, hosts=ways.hosts, entrance=self.entrance)

    def browser(self, address: str = "10.0.0.7") -> Browser:
        return Browser(self.app, base_url=BASE, client=(address, 50_000), follow_redirects=False)

    def come_in(self, name: str, address: str = "10.0.0.7") -> Browser:
        browser = self.browser(address)
        answer = browser.hand_in("/sign-in", name=name, password=PASSWORDS[name])
        assert answer.status_code == 303, answer.text
        return browser

    def later(self, **much: float) -> None:
        self.now += timedelta(**much)

    def title(self) -> str:
        return self.session.state.job.title

    def noted(self) -> str:
        return "\n".join(self.audit.told())


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture
def proxied(tmp_path: Path) -> Bench:
    return Bench(tmp_path, proxy="127.0.0.1")
