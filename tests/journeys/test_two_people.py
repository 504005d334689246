"""Two people at one job in two browsers: what they change apart holds, what both change is shown to both, what is typed stays."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from typing import Any

import pytest

from loopwright.web.app import create_app
from loopwright.web.session import Session
from loopwright.web.visitor import Visitor

from .in_the_hand import until

LENGTH = '[data-path="cables/W22/length_m"]'


class Person:
    """One of the two, with a browser of their own."""

    def __init__(self, browser: Any, address: str, key: str) -> None:
        self.context = browser.new_context(viewport={"width": 1280, "height": 860})
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

    def reads(self, path: str, text: str) -> None:
        until(self.page, f"document.querySelector('[data-path=\"{path}\"]').value === '{text}'")


@pytest.fixture
def two(browser: Any, session: Session, serve: Callable[..., Any]) -> Iterator[tuple[Person, Person]]:
    people = []
    with ExitStack() as served:
        for name in ("Ana", "Bo"):
            port = served.enter_context(serve(create_app(session, token=f"key-of-{name}", visitor=Visitor(name=name))))
            people.append(Person(browser, f"http://127.0.0.1:{port}", f"key-of-{name}"))
        yield people[0], people[1]
        for person in people:
            person.context.close()
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
