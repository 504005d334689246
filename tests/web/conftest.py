"""A workbench with an entrance, and browsers of people who come in by it."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from anyio.from_thread import start_blocking_portal

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


@pytest.fixture(autouse=True, scope="session")
def one_loop() -> Iterator[None]:
    """Let all requests be answered in one event loop, as the server does; a client by itself starts a loop and threads for each."""
    with start_blocking_portal() as portal, pytest.MonkeyPatch.context() as patched:
        patched.setattr(TestClient, "portal", portal)
        yield


class Browser(TestClient):
    """A browser that asks for pages and sends forms as one does; it goes nowhere by itself."""

    def visit(self, address: str, **more: str) -> Any:
        return self.get(address, headers=VISIT | more)

    def hand_in(self, address: str, /, **fields: str) -> Any:
        return self.post(address, data=fields, headers=VISIT | {"Origin": str(self.base_url).rstrip("/")})

    def edit(self, **headers: str) -> Any:
        origin = {"Origin": str(self.base_url).rstrip("/")}
        return self.post("/edit", json={"do": "set", "path": "title", "text": "Taken over"}, headers=origin | headers)


def staffed(folder: Path, clock: Callable[[], datetime]) -> tuple[People, Audit]:
    """Return the people kept in a folder, and their trail."""
    audit = Audit(folder / "people.trail", by="the workbench", clock=clock)
    return People(folder / "people", note=audit.note, cost=CHEAP), audit


@cache
def staff() -> dict[str, bytes]:
    """Return the files of everybody who works here; how good a password is is long worked out."""
    with TemporaryDirectory() as made:
        people, _ = staffed(Path(made), lambda: AT)
        people.add("Ada", Role.OFFICE, Secret(PASSWORDS["Ada"]), owner=True)
        for name, role in ROLES.items():
            people.add(name, role, Secret(PASSWORDS[name]))
        return {path.name: path.read_bytes() for path in Path(made).iterdir()}


class Bench:
    """The workbench, its clock, its people, and browsers to come in with."""

    def __init__(self, folder: Path, *, proxy: str = "") -> None:
        self.path = folder / "job.yaml"
        self.path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
        self.now, self.passwords = AT, PASSWORDS
        for name, content in staff().items():
            (folder / name).touch(0o600)
            (folder / name).write_bytes(content)
        self.people, self.audit = staffed(folder, lambda: self.now)
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
