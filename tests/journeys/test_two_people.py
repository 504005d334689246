"""Two people at one job in two browsers: what they change apart holds, what both change is shown to both, what is typed stays."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.serve import listen
from loopwright.web.session import Session
from loopwright.web.visitor import Visitor

playwright = pytest.importorskip("playwright.sync_api", reason="oracle missing: playwright")
WAIT_MS = 30_000
LENGTH = '[data-path="cables/W22/length_m"]'


class Person:
    """One of the two, with a browser of their own."""

    def __init__(self, browser: Any, address: str, key: str) -> None:
        self.context = browser.new_context(viewport={"width": 1280, "height": 860})
        self.context.set_default_timeout(WAIT_MS)
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.page.on("console", lambda said: self.complaints.append(said.text) if said.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.goto(f"{address}/?key={key}")
        self.page.wait_for_url(f"{address}/")
        self.page.goto(f"{address}/wiring")

    def put(self, path: str, text: str) -> None:
        cell = self.page.locator(f'[data-path="{path}"]')
        cell.fill(text)
        cell.press("Enter")

    def until(self, truth: str) -> None:
        """Wait until something holds on the page, which then says it in an attribute."""
        for _ in range(WAIT_MS // 50):
            if self.page.evaluate(truth):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"never came true: {truth}")

    def reads(self, path: str, text: str) -> None:
        self.until(f"document.querySelector('[data-path=\"{path}\"]').value === '{text}'")


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    with playwright.sync_playwright() as started:
        launched = started.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        yield launched
        launched.close()


@pytest.fixture
def session(tmp_path: Path) -> Session:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("business"), encoding="utf-8")
    return Session(JobFile(path))


@pytest.fixture
def two(browser: Any, session: Session) -> Iterator[tuple[Person, Person]]:
    servers, people = [], []
    for name in ("Ana", "Bo"):
        listening = listen("127.0.0.1", 0)
        app = create_app(session, token=f"key-of-{name}", visitor=Visitor(name=name))
        server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        servers.append((server, thread, listening))
        people.append(Person(browser, f"http://127.0.0.1:{listening.getsockname()[1]}", f"key-of-{name}"))
    yield people[0], people[1]
    for person in people:
        person.context.close()
    for server, thread, listening in servers:
        server.should_exit = True
        thread.join(10)
        listening.close()
    assert [person.complaints for person in people] == [[], []]


def test_what_is_changed_apart_holds_and_is_told(two: tuple[Person, Person], session: Session) -> None:
    ana, bo = two
    half = bo.page.locator('[data-path="cables/W11/length_m"]')
    half.fill("19")
    ana.put("cables/W22/length_m", "60")
    bo.page.locator("#news").get_by_text("Ana changed length of W22").wait_for()
    assert half.input_value() == "19", "what is being typed is never lost"
    half.press("Enter")
    bo.reads("cables/W22/length_m", "60")
    ana.reads("cables/W11/length_m", "19")
    ana.page.locator("#news").get_by_text("Bo changed length of W11").wait_for()
    lengths = {run: session.state.job.cables[run].length_m for run in ("W11", "W22")}
    assert lengths == {"W11": 19, "W22": 60}
    ana.page.locator('.steps [data-do="undo"]').click()
    bo.reads("cables/W22/length_m", "41")
    assert session.state.job.cables["W11"].length_m == 19, "each takes back what is theirs"


def test_what_both_change_is_shown_and_chosen(two: tuple[Person, Person], session: Session) -> None:
    ana, bo = two
    mine = ana.page.locator(LENGTH)
    mine.fill("45")
    bo.put("cables/W22/length_m", "60")
    ana.page.locator("#news").get_by_text("Bo changed length of W22").wait_for()
    ana.page.wait_for_timeout(3500)
    assert mine.input_value() == "45"
    mine.press("Enter")
    said = ana.page.locator('[id="said:cables/W22/length_m"]')
    said.wait_for()
    assert "‘60’" in said.inner_text() and "‘45’" in said.inner_text() and session.state.job.cables["W22"].length_m == 60
    mine.press("Enter")
    bo.reads("cables/W22/length_m", "45")
    bo.page.locator('.steps [data-do="undo"]').click()
    bo.page.locator("#trouble").get_by_text("Changed by Ana since").wait_for()
    assert session.state.job.cables["W22"].length_m == 45
    bo.page.get_by_role("button", name="Put ‘41’").click()
    bo.reads("cables/W22/length_m", "41")
    assert bo.page.locator("#trouble").is_hidden()
