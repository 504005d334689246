"""What a browser shows after edits is what it would show had it asked for the whole room: two tabs, lost answers, undo, a lost drawing."""

from __future__ import annotations

from typing import Any

from loopwright.job.edit import SetField
from loopwright.web.session import Session

from .in_the_hand import until

# What is ours alone (names of drawings, what the browser noted beside an element) is left out of the comparison.
SHOWN = """() => {
  const copy = document.getElementById("sheet").cloneNode(true);
  for (const each of copy.querySelectorAll("[data-filled], [data-seen]")) { delete each.dataset.filled; delete each.dataset.seen; }
  for (const each of copy.querySelectorAll("select[data-choices]")) each.replaceChildren(...each.querySelectorAll("option[selected]"));
  return copy.outerHTML.replace(/\\s+/g, " ");
}"""
WHOLE = """async () => {
  const answer = await fetch(location.pathname + location.search);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const copy = page.getElementById("sheet");
  for (const each of copy.querySelectorAll("select[data-choices]")) each.replaceChildren(...each.querySelectorAll("option[selected]"));
  return copy.outerHTML.replace(/\\s+/g, " ");
}"""


def change(page: Any, run: str, metres: str) -> None:
    """Change a length and wait for the page that shows it."""
    before = page.locator("#page").get_attribute("data-drawn")
    cell = page.locator(f'[data-path="cables/{run}/length_m"]')
    cell.fill(metres)
    cell.press("Enter")
    after_drawing(page, before)


def after_drawing(page: Any, before: str) -> None:
    """Wait until the page holds another drawing."""
    until(page, f"![{before!r}, '', undefined].includes(document.getElementById('page')?.dataset.drawn)")


def test_what_is_shown_is_the_whole_room(bench: tuple[str, Session], browser: Any) -> None:
    address, session = bench
    context = browser.new_context()
    one, two = context.new_page(), context.new_page()
    sizes: list[int] = []
    for page in (one, two):
        page.on("response", lambda answer: sizes.append(len(answer.body())) if answer.url.endswith("/edit") else None)
        page.goto(f"{address}/wiring?open=d:cables/W22")
    change(one, "W22", "31")
    change(one, "W10", "12")
    assert one.evaluate(SHOWN) == one.evaluate(WHOLE)
    assert max(sizes) < 60_000
    # The other tab holds an older drawing, and catches up with its own change.
    change(two, "W40", "17")
    assert two.evaluate(SHOWN) == two.evaluate(WHOLE)
    # An answer lost on the way: the change is sent again, and what the page holds is still the drawing before.
    lost: list[str] = []

    def lose(route: Any) -> None:
        route.fetch()
        lost.append(route.request.post_data)
        route.abort()

    one.route("**/edit", lose, times=1)
    change(one, "W31", "23")
    assert lost and session.state.job.cables["W31"].length_m == 23
    assert one.evaluate(SHOWN) == one.evaluate(WHOLE)
    for act in ("undo", "redo"):
        before = one.locator("#page").get_attribute("data-drawn")
        one.locator(f'[data-do="{act}"]').first.click()
        after_drawing(one, before)
        assert one.evaluate(SHOWN) == one.evaluate(WHOLE)
    # A row this page has lost: the room is asked for again, all of it.
    one.evaluate("document.getElementById('row:cables/W14').remove()")
    session.edit(SetField("cables/W20/length_m", "8"))
    change(one, "W11", "19")
    assert one.locator('[id="row:cables/W14"]').count() == 1
    assert one.evaluate(SHOWN) == one.evaluate(WHOLE)
    context.close()
