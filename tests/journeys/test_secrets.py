"""Secrets in a real browser: typed, shown, gone; and in nothing the browser keeps."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from loopwright.job.edit import SetField
from loopwright.store.seal import Cost
from loopwright.store.vault import create_vault
from loopwright.web import vault_asked
from loopwright.web.session import Session

from .in_the_hand import until

PASSPHRASE, SECRET = "planted-passphrase-608135529417", "739164820517724415"
KEPT = """async () => JSON.stringify([
  {...localStorage}, {...sessionStorage}, document.cookie, location.href, history.state, window.name,
  (await indexedDB.databases()).length, await Promise.all((await caches.keys()).map((key) => key)),
  performance.getEntriesByType("resource").map((each) => each.name), navigation.entries().map((each) => each.url),
  [...document.querySelectorAll("input")].map((each) => each.value), document.documentElement.outerHTML,
])"""
"""Everything a page can see of what the browser keeps, and the page itself."""
HIDDEN = """() => {
  Object.defineProperty(document, "hidden", { value: false, configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
}"""


@pytest.fixture
def premises(monkeypatch: pytest.MonkeyPatch) -> str:
    """Open a dwelling, with a vault that opens at once and shows a secret for a minute."""
    assert create_vault.__kwdefaults__ is not None
    monkeypatch.setitem(create_vault.__kwdefaults__, "cost", Cost(passes=1, memory_kib=8, lanes=1))
    monkeypatch.setattr(vault_asked, "SHOWN_S", 60)
    return "dwelling"


@pytest.fixture
def page(browser: Any, bench: tuple[str, Session], request: pytest.FixtureRequest) -> Iterator[Any]:
    """Open the room, at a desk's width unless another is asked for."""
    width, height = getattr(request, "param", (1280, 860))
    context = browser.new_context(viewport={"width": width, "height": height})
    made, complaints = context.new_page(), []
    made.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    made.on("pageerror", lambda error: complaints.append(str(error)))
    made.goto(f"{bench[0]}/secrets")
    yield made
    context.close()
    assert not complaints, "\n".join(complaints)


def typed(page: Any, form: str, **fields: str) -> None:
    for name, text in fields.items():
        page.locator(f'[data-ask="{form}"] [data-field="{name}"]').fill(text)
    page.locator(f'[data-ask="{form}"] [type="submit"]').click()


@pytest.mark.parametrize("page", [pytest.param((1280, 860), id="desk"), pytest.param((390, 844), id="phone")], indirect=True)
def test_a_secret_is_typed_shown_for_a_moment_and_kept_nowhere(page: Any, bench: tuple[str, Session]) -> None:
    typed(page, "make", passphrase=PASSPHRASE, again=PASSPHRASE)
    page.locator('[data-act="change"][data-name="user/sitter"]').click()
    assert page.locator('#secret-in [data-field="name"]').input_value() == "user/sitter"
    typed(page, "put", secret=SECRET, again="something else")
    page.locator("#secret-in .refused", has_text="not the same twice").wait_for()
    assert page.locator('#secret-in [data-field="secret"]').input_value() == "", "what was sent has left its field"
    page.locator('#secret-in [data-field="secret"]').fill(SECRET)
    page.keyboard.press("Escape")
    until(page, "!document.querySelector('#secret-in [data-field=secret]').value")
    assert SECRET not in page.evaluate(KEPT), "a box that is left is empty"
    page.locator('[data-act="change"][data-name="user/sitter"]').click()
    typed(page, "put", secret=SECRET, again=SECRET)
    # From here on the page's clock is the test's, so that a slow machine misses nothing.
    page.clock.install()
    show = page.locator('[data-act="show"][data-name="user/sitter"]')
    show.click()
    shown = page.locator("output.shown b")
    shown.wait_for()
    assert shown.inner_text() == SECRET
    page.clock.run_for(20_000)
    assert shown.inner_text() == SECRET
    page.clock.run_for(41_000)
    shown.wait_for(state="detached")
    show.wait_for(state="visible")
    kept = page.evaluate(KEPT)
    assert SECRET not in kept and PASSPHRASE not in kept and "user/sitter" in kept
    assert page.evaluate("document.scrollingElement.scrollWidth <= innerWidth"), "nothing reaches over the edge"
    targets = page.evaluate(
        "[...document.querySelectorAll('#vault button')].filter((each) => each.offsetHeight).map((each) => each.offsetHeight)"
    )
    assert targets and (page.viewport_size["width"] > 940 or min(targets) >= 44)
    page.goto(f"{bench[0]}/programme")
    page.go_back()
    page.locator(".open-vault").wait_for()
    assert SECRET not in page.evaluate(KEPT)


def test_a_shown_secret_goes_when_the_page_is_hidden_and_the_list_stays_when_the_sheet_is_drawn_anew(
    page: Any, bench: tuple[str, Session], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(vault_asked, "SHOWN_S", 600)
    typed(page, "make", passphrase=PASSPHRASE, again=PASSPHRASE)
    page.locator('[data-act="change"][data-name="user/sitter"]').click()
    typed(page, "put", secret=SECRET, again=SECRET)
    page.locator('[data-act="show"][data-name="user/sitter"]').click()
    page.locator("output.shown b").wait_for()
    page.evaluate(HIDDEN.replace("false", "true"))
    assert SECRET not in page.evaluate(KEPT)
    bench[1].edit(SetField("users/sitter/role", "child minder"))
    page.evaluate(HIDDEN)
    page.get_by_text("child minder").first.wait_for()
    page.locator('[data-act="show"][data-name="user/sitter"]').wait_for()
    page.locator('[data-act="close"]').click()
    page.locator('[data-ask="open"]').wait_for()
    assert "user/sitter" not in page.evaluate(KEPT), "a closed vault shows no names"
    typed(page, "open", passphrase="not the passphrase")
    page.locator('[data-ask="open"] .refused:not([hidden])').wait_for()
    typed(page, "open", passphrase=PASSPHRASE)
    page.locator('[data-act="take-out"][data-name="user/sitter"]').click()
    page.locator('#secret-out [type="submit"]').click()
    page.locator('[data-act="show"]').wait_for(state="detached")
