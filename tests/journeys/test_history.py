"""The history in a real browser, at a desk and on a phone: a difference looked at, a name and a reason given, the way back."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from loopwright.job.edit import SetField
from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob
from loopwright.store.sql import open_store
from loopwright.web.app import create_app
from loopwright.web.session import Session
from loopwright.web.visitor import Visitor

LEAST_TARGET_PX = 44


class Clock:
    """A clock that goes on a minute each time it is read."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 12, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("business"), encoding="utf-8")
    kept = KeptJob(JobFile(path), open_store(tmp_path / "history.db"), by="Ana", clock=Clock())
    made = Session(kept)
    made.edit(SetField("cables/W30/length_m", "90"))
    made.edit(SetField("title", "Another title"))
    yield made
    kept.close()


@pytest.fixture
def address(session: Session, serve: Callable[..., Any]) -> Iterator[str]:
    with serve(create_app(session, token=None, visitor=Visitor(name="Ana"))) as port:
        yield f"http://127.0.0.1:{port}"


@pytest.fixture(params=[pytest.param((1280, 860), id="desk"), pytest.param((390, 844), id="phone")])
def page(browser: Any, address: str, request: pytest.FixtureRequest) -> Iterator[Any]:
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height}, has_touch=width < 940, is_mobile=width < 940)
    made, complaints = context.new_page(), list[str]()
    made.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    made.on("pageerror", lambda error: complaints.append(str(error)))
    made.goto(f"{address}/history")
    yield made
    context.close()
    assert not complaints, "\n".join(complaints)


def revision(page: Any, number: int) -> Any:
    """Return the line of a revision, the burst it lies in opened."""
    line = page.locator(f'[id="r:{number}"]')
    line.wait_for(state="attached")
    if not line.is_visible():
        page.locator("details.burst", has=line).locator("summary").click()
    return line


def small_targets(page: Any) -> Any:
    """Return what a finger would find too low to press."""
    return page.evaluate(
        "[...document.querySelectorAll('main a, main button, main summary, main input')].filter(each => each.getClientRects().length)"
        ".map(each => [each.textContent.trim(), each.getBoundingClientRect().height])"
        f".filter(([, height]) => height < {LEAST_TARGET_PX - 0.5})"
    )


def test_a_difference_is_looked_at_named_explained_and_gone_back_over(page: Any, session: Session) -> None:
    first = session.text_at(1)
    revision(page, 1).get_by_role("link", name="What changed since").click()
    told = page.locator("#difference")
    told.get_by_text("Run W30 is 90 m long instead of 14 m.").wait_for()
    assert "no longer met" in told.inner_text() and "Title: ‘Another title’" in told.inner_text()
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")

    form = page.locator('form[data-note="name"]')
    form.locator('[name="number"]').fill("1")
    form.locator('[name="words"]').fill("as designed")
    form.get_by_role("button").click()
    page.get_by_role("region", name="Names").get_by_text("as designed").wait_for()
    assert [tuple(mark) for mark in session.marks()] == [("as designed", 1)]

    form.locator('[name="number"]').fill("2")
    form.locator('[name="words"]').fill("as designed")
    form.get_by_role("button").click()
    form.locator(".refused").get_by_text("a mark stays where it was put").wait_for()

    why = page.locator('form[data-note="why"]')
    why.locator('[name="words"]').fill("the way round the press")
    why.get_by_role("button").click()
    page.get_by_text("Why: the way round the press").first.wait_for()

    revision(page, 1).get_by_role("button", name="Go back to 1").click()
    page.get_by_text("Went back to revision 1").first.wait_for()
    assert session.state.text == first

    before = session.state.revision
    page.keyboard.press("Control+z")
    assert "Took back" in revision(page, before + 1).inner_text()
    assert "Another title" in session.state.text


def test_two_revisions_are_chosen_one_after_the_other(page: Any) -> None:
    revision(page, 3).get_by_role("link", name="Compare with another").click()
    page.get_by_text("Choose the revision that 3 is to be compared with.").wait_for()
    revision(page, 2).get_by_role("link", name="Compare with 3").click()
    told = page.locator("#difference")
    told.get_by_text("Title: ‘Another title’ instead of ‘Fennimarch Bindery’.").wait_for()
    assert "W30" not in told.inner_text()
    with page.expect_download() as taking:
        revision(page, 2).get_by_role("link", name="Take the file").click()
    assert taking.value.suggested_filename == "job-revision-2.yaml"
    if page.viewport_size["width"] < 940:
        assert small_targets(page) == []
