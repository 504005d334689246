"""The keying plan in a real browser: a tick by thumb, a box that judges at once, a network lost in between, and nothing lost with it."""

from __future__ import annotations

from typing import Any

import pytest

from loopwright.store.visit import VisitFile, visit_path
from loopwright.web.session import Session

from .in_the_hand import until


@pytest.fixture
def premises() -> str:
    return "dwelling"


def test_an_entry_is_ticked_read_back_and_kept_through_a_lost_network(browser: Any, bench: tuple[str, Session]) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
    page, complaints = context.new_page(), []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    asked: list[Any] = []
    page.route("**/programme?verdict=now", lambda route: asked.append(route))
    page.goto(f"{bench[0]}/programme")
    page.locator("details[id='fold:may'] > summary").tap()
    before = page.locator("#page").get_attribute("data-drawn")
    while not asked:
        page.wait_for_timeout(20)
    asked[0].continue_()
    page.locator("#verdict", has_text="No promise was found broken").wait_for()  # Searched after the sheet was seen, and brought to it.
    until(page, f"!['', '{before}'].includes(document.getElementById('page').dataset.drawn || '')")
    unfolded = page.locator("details[data-fold=''][open]").evaluate_all("parts => parts.map((part) => part.id)")
    assert unfolded == ["fold:may"], "the verdict leaves folded and unfolded what was left so"
    page.locator('#sheet a[href="./keying"]').click()
    first = page.locator(".keyed > li").first
    first.wait_for()
    until(page, "document.readyState === 'complete'")  # A press before the scripts are at work does nothing.
    box = first.locator("label.tick").bounding_box()
    assert box["height"] >= 44 and box["width"] >= 300, "a target for a thumb"
    first.locator("label.tick").tap()
    page.locator(".count-of", has_text="1 of 28 entered").first.wait_for()
    home = page.locator('[id="key:page Doors, line Coming home"]')
    home.locator("input[name=text]").fill("045")
    home.locator("input[name=text]").press("Enter")
    home.locator(".odd", has_text="It should show 030").wait_for()
    context.set_offline(True)
    home.locator("input[name=text]").fill("030")
    home.locator("input[name=text]").press("Enter")
    page.locator("#trouble", has_text="does not answer").wait_for()
    context.set_offline(False)
    home.locator(".right", has_text="right").wait_for()
    page.locator(".count-of", has_text="2 of 28 entered, 1 read back right").first.wait_for()
    page.locator("#holds summary", has_text="Page Doors").click()
    habits, leaving = (page.locator(f'[id="found:page Doors, line {name}"]') for name in ("Habits", "Leaving"))
    habits.locator("input").fill("XTQ")
    habits.locator("input").press("Enter")
    habits.locator(
        ".refused", has_text="This is not what stands there. exit time starts again once: It shows A for yes or X for no."
    ).wait_for()
    leaving.locator("input").fill("090")
    leaving.locator("input").press("Enter")
    page.locator(".differences", has_text="holds 90 s").wait_for()
    assert habits.locator(".refused").is_visible(), "what was refused stays said while it stands typed"
    page.locator("button", has_text="Take this over into the programme").tap()
    page.locator(".count-of", has_text="0 not as the programme says").wait_for()
    assert bench[1].state.job.areas["house"].exit_s == 90.0
    page.locator("[data-do=undo]").tap()
    page.locator(".differences", has_text="the programme says 60 s").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    kept = VisitFile(visit_path(bench[1].file.path)).load().keyed
    assert [(each.address, each.done, each.read) for each in kept] == [
        ("page Keypads, line 1", True, ""), ("page Doors, line Coming home", True, "030"),
    ]  # fmt: skip
    context.close()
    assert not complaints, complaints
