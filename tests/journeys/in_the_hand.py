"""A room used at a desk and in the hand: opened, waited for, measured. What a browser complains of fails the journey."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

playwright = pytest.importorskip("playwright.sync_api", reason="oracle missing: playwright")

DESK, PHONE = (1280, 860), (390, 844)
LEAST_PX = 44
PATIENCE_MS = 120_000
"""How long something is waited for: a machine with much else to do is slow, and no fault of the room's."""
PRESSED = ", ".join(f"#sheet {each}" for each in ("button", "input:not([type=checkbox])", "select", "summary", ".tick", ".take"))
# A network that is cut, and a program that is gone and has come back with another key, are what these journeys are about.
EXPECTED = ("net::ERR", "status of 403")


@contextmanager
def opened(browser: Any, address: str, size: tuple[int, int] = DESK) -> Iterator[Any]:
    """Give a page of a browser of its own, at an address."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, has_touch=size[0] < 500)
    page, complaints = context.new_page(), []
    page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(address)
    yield page
    context.close()
    complaints = [each for each in complaints if not any(words in each for words in EXPECTED)]
    assert not complaints, "\n".join(complaints)


def idle(page: Any) -> None:
    """Wait until all that was said has been answered."""
    page.wait_for_function(
        "() => !document.querySelector('[aria-busy]') && !Object.keys(localStorage).some((name) => /^(said|proved):/.test(name))"
    )


def kept_whole(page: Any, room: str) -> None:
    """Wait until a room is kept whole in this browser, and its worker stands before it."""
    until(page, f"async () => navigator.serviceWorker.controller && Boolean(await caches.match(new URL('{room}/seen', location.href)))")


def until(page: Any, truth: str) -> None:
    """Wait until something is true; what takes time itself is waited for each time.

    Playwright's own way of waiting for what is told in words needs what the pages' policy forbids.
    """
    end_s = time.monotonic() + PATIENCE_MS / 1000
    while not true_now(page, truth):
        assert time.monotonic() < end_s, f"never came true: {truth}"
        page.wait_for_timeout(50)


def true_now(page: Any, truth: str) -> bool:
    """Return whether something is true; between two pages, where there is none to ask, it is not."""
    try:
        return bool(page.evaluate(truth))
    except playwright.Error as error:
        if "navigation" not in str(error):
            raise
        return False


def fits_the_hand(page: Any) -> None:
    """Nothing reaches over the edge, and on a telephone nothing that is pressed is smaller than a thumb; all check boxes look alike."""
    assert page.evaluate("document.scrollingElement.scrollWidth <= innerWidth"), "nothing reaches over the edge"
    if page.viewport_size["width"] > 940:
        return
    small = page.evaluate(
        """([pressed, least]) => [...document.querySelectorAll(pressed)]
        .filter((each) => each.offsetHeight && each.offsetHeight < least).map((each) => each.outerHTML.slice(0, 120))""",
        [PRESSED, LEAST_PX],
    )
    assert not small, small
    boxes = page.evaluate("[...document.querySelectorAll('#sheet input[type=checkbox]')].map((each) => each.offsetHeight).filter(Boolean)")
    assert len(set(boxes)) <= 1 and all(each < LEAST_PX for each in boxes), boxes
