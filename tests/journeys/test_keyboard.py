"""A technician without a mouse: every room, a cell, a row, a form, the search and the way back, by keys alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from loopwright.web.rooms.register import ROOMS
from loopwright.web.session import Session

from .in_the_hand import until

FOCUS = """(wanted) => { const on = document.activeElement, look = getComputedStyle(on), box = on.getBoundingClientRect();
  const moved = on !== window.lastFocus; window.lastFocus = on;
  return { name: on.innerText || on.getAttribute("aria-label") || on.name || "", path: on.dataset.path || "", moved,
    reached: Boolean(wanted) && on.matches(wanted),
    seen: look.outlineStyle !== "none" &&
       parseFloat(look.outlineWidth) >= 2 && box.width > 0 && box.bottom > 0 && box.top < innerHeight }; }"""


@pytest.fixture
def premises() -> str:
    return "dwelling"


@pytest.fixture
def page(browser: Any, bench: tuple[str, Session]) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": 1280, "height": 860})
    made = context.new_page()
    made.goto(bench[0])
    yield made
    context.close()


def tab_to(page: Any, selector: str, most: int = 400) -> None:
    """Press Tab until the focus is there; on the way it is never out of sight and never stays where it was."""
    for _ in range(most):
        page.keyboard.press("Tab")
        on = page.evaluate(FOCUS, selector)
        assert on["seen"] and on["moved"], f"out of sight, or caught: {on}"
        if on["reached"]:
            return
    raise AssertionError(f"{selector} is not reached by {most} tabs")


def test_every_room_is_reached_by_tab_and_enter(page: Any) -> None:
    for room in ROOMS:
        tab_to(page, f'#rooms a[href="{room.address}"]')
        page.keyboard.press("Enter")
        until(page, f"document.querySelector('#page')?.dataset.room === '{room.key}' && document.readyState === 'complete'")
        page.keyboard.press("Tab")
        assert page.evaluate(FOCUS)["name"] == "To the sheet", "the first stop of a page leads past what all pages share"
    page.keyboard.press("Enter")
    until(page, "document.activeElement.id === 'sheet'")


def test_a_cell_a_row_a_form_and_the_way_back_without_a_mouse(page: Any, session: Session) -> None:
    page.goto(page.url + "wiring")
    tab_to(page, '#sheet [data-open^="d:cables/"]')
    page.keyboard.press("Enter")
    page.locator('tr.unfolded[id^="d:cables/"]').wait_for()
    page.keyboard.press("Escape")
    until(page, "!document.querySelector('tr.unfolded')")
    tab_to(page, '[data-path$="/length_m"]')
    path = page.evaluate(FOCUS)["path"]
    was = page.locator(f'[data-path="{path}"]').input_value()
    page.keyboard.type("77")
    page.keyboard.press("Enter")
    until(page, "document.getElementById('told').textContent.startsWith('Kept: length of ')")
    assert page.locator(f'[data-path="{path}"]').input_value() == "77" and page.evaluate(FOCUS)["path"] == path
    page.keyboard.type("7,7")
    page.keyboard.press("Enter")
    said = page.locator(f'[id="said:{path}"]')
    said.wait_for()
    assert said.get_attribute("role") == "alert" and page.evaluate("document.activeElement.getAttribute('aria-invalid')") == "true"
    page.keyboard.press("Escape")
    page.keyboard.press("Control+z")
    until(page, "document.getElementById('told').textContent.startsWith('Undone: length of ')")
    assert page.locator(f'[data-path="{path}"]').input_value() == was
    tab_to(page, '[data-form="cables"]')
    page.keyboard.press("Enter")
    page.locator("#form[open]").wait_for()
    tab_to(page, "#form [data-close]", 60)
    page.keyboard.press("Escape")
    until(page, "!document.querySelector('dialog[open]') && document.activeElement.dataset.form === 'cables'")
    page.keyboard.press("Control+k")
    page.keyboard.type("keypad")
    page.locator('#search [role="option"]').first.wait_for()
    page.keyboard.press("Enter")
    until(page, "!document.querySelector('dialog[open]') && location.hash !== ''")
