"""A technician finds things by their names, brings rows of a spreadsheet in, notes readings: a real browser, at a desk and on a phone."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl
import pytest

from loopwright.web.app import create_app
from loopwright.web.session import Session

from .in_the_hand import until

WIDTHS = [pytest.param((1280, 860), id="desk"), pytest.param((390, 844), id="phone")]
TEN = "Device\tWhere it is\tModel\tRoom\r\n" + "".join(f"extra-{n}\tExtra {n}\treed\tShop\r\n" for n in range(10))


class Workbench(NamedTuple):
    """A workbench that runs, and the job behind it."""

    address: str
    session: Session


@pytest.fixture
def bench(session: Session, serve: Callable[..., Any]) -> Iterator[Workbench]:
    with serve(create_app(session, token=None)) as port:
        yield Workbench(f"http://127.0.0.1:{port}", session)


@pytest.fixture(params=WIDTHS)
def page(browser: Any, bench: Workbench, request: pytest.FixtureRequest) -> Iterator[Any]:
    width, height = request.param
    context = browser.new_context(viewport={"width": width, "height": height}, permissions=["clipboard-read", "clipboard-write"])
    made = context.new_page()
    complaints: list[str] = []
    made.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
    made.on("pageerror", lambda error: complaints.append(str(error)))
    yield made
    context.close()
    assert not complaints, "\n".join(complaints)


FOCUSED = "document.activeElement?.id"
ACTIVE = """(() => { const field = document.querySelector("#search-words");
  return document.getElementById(field.getAttribute("aria-activedescendant"))?.innerText || ""; })()"""


def test_a_cell_a_row_and_a_finding_are_reached_by_keyboard_alone(page: Any, bench: Workbench) -> None:
    page.goto(f"{bench.address}/kit")
    page.keyboard.press("Control+k")
    page.locator("#search[open]").wait_for()
    page.keyboard.type("w22 leng")
    until(page, f"{ACTIVE}.includes('length of W22')")
    page.keyboard.press("Enter")
    until(page, f"{FOCUSED} === 'c:cables/W22/length_m'")
    page.keyboard.press("Control+k")
    # What was looked for last stands there, chosen, so that typing replaces it.
    page.keyboard.type("c1")
    until(page, f"{ACTIVE}.includes('c10')")
    page.keyboard.press("ArrowDown")
    until(page, f"{ACTIVE}.includes('c11')")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    until(page, "document.activeElement?.dataset?.open === 'd:circuits/c11'")
    page.keyboard.press("Control+k")
    page.keyboard.type("circuit misread")
    until(page, f"{ACTIVE}.includes('circuit-misread')")
    page.keyboard.press("Enter")
    until(page, "location.hash === '#row:circuits/c11' && !document.querySelector('dialog[open]')")
    assert "w22" not in page.url and "misread" not in page.url


def test_the_search_says_what_a_screen_reader_needs(page: Any, bench: Workbench) -> None:
    page.goto(f"{bench.address}/")
    page.get_by_role("button", name="Search").click()
    field = page.get_by_role("combobox", name="Search this job")
    assert field.get_attribute("aria-expanded") == "false"
    field.fill("keypad")
    found = page.get_by_role("listbox", name="Found")
    found.get_by_role("option").first.wait_for()
    assert field.get_attribute("aria-expanded") == "true"
    assert found.get_by_role("option").count() > 2 and found.get_by_role("option", selected=True).count() == 1
    until(page, "/\\d+ found/.test(document.querySelector('#search-said').textContent)")
    field.fill("nothing-is-called-so")
    until(page, "document.querySelector('#search-said').textContent.startsWith('Nothing')")
    assert field.get_attribute("aria-activedescendant") is None
    page.keyboard.press("Escape")
    until(page, "!document.querySelector('#search[open]')")
    box = page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert box


def test_ten_devices_pasted_from_a_spreadsheet_are_matched_taken_in_and_undone(page: Any, bench: Workbench) -> None:
    page.goto(f"{bench.address}/kit")
    many = len(bench.session.state.job.equipment)
    # As a spreadsheet's copy is pasted: onto the page, without a place for it having been opened.
    page.evaluate(
        """(text) => { const held = new DataTransfer(); held.setData("text/plain", text);
        document.body.dispatchEvent(new ClipboardEvent("paste", { clipboardData: held, bubbles: true, cancelable: true })); }""",
        TEN,
    )
    page.locator("#list-wishes").wait_for()
    assert page.locator('[name="col:A"]').input_value() == "id" and page.locator('[name="col:B"]').input_value() == ""
    page.locator('[name="col:B"]').select_option("label")
    until(page, "document.querySelector('[name=\"col:B\"]')?.closest('tr').innerText.includes('as told')")
    until(page, "document.querySelector('#list-said').textContent.includes('10 new') && !document.querySelector('#list-take').disabled")
    page.locator("#list-take").click()
    page.locator("#list-look").get_by_text("10 new devices").wait_for()
    assert len(bench.session.state.job.equipment) == many + 10
    assert bench.session.state.job.equipment["extra-3"].label == "Extra 3"
    assert page.locator('[id="row:equipment/extra-3"]').count() == 1
    page.get_by_role("button", name="Undo it").click()
    until(page, "!document.getElementById('row:equipment/extra-3')")
    assert len(bench.session.state.job.equipment) == many


def test_a_workbook_is_chosen_looked_at_and_refused_or_taken_in(page: Any, bench: Workbench, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Cable no", "Run length (ft)"], ["W22", "two"], ["W31", 90]):
        sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    page.goto(f"{bench.address}/wiring")
    page.locator('[data-list-in="cables"]').click()
    page.set_input_files("#list-file", {"name": "runs.xlsx", "mimeType": "application/octet-stream", "buffer": out.getvalue()})
    page.locator(".list-problems").wait_for()
    assert "Row 2, column B (Run length (ft)): 'two' is not a number" in page.locator(".list-problems").inner_text()
    assert page.locator("#list-take").is_disabled()
    sheet["B2"] = 100
    out = io.BytesIO()
    book.save(out)
    page.locator("#list-source > summary").click()
    page.set_input_files("#list-file", {"name": "runs.xlsx", "mimeType": "application/octet-stream", "buffer": out.getvalue()})
    until(page, "document.querySelector('#list-said').textContent.includes('2 changed') && !document.querySelector('#list-take').disabled")
    page.locator("#list-take").click()
    page.locator("#list-look").get_by_text("Taken in").wait_for()
    assert abs(bench.session.state.job.cables["W22"].length_m - 30.48) < 1e-9


def test_rows_are_copied_for_a_spreadsheet(page: Any, bench: Workbench) -> None:
    page.goto(f"{bench.address}/wiring")
    page.locator('[data-list-copy="circuits"]').click()
    page.get_by_text("Copied,").wait_for()
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied.splitlines()[0].split("\t")[:2] == ["Id", "Input"]
    assert len(copied.splitlines()) == len(bench.session.state.job.circuits) + 1


def test_a_reading_is_noted_at_a_circuit_and_stands_beside_what_it_should_be(page: Any, bench: Workbench) -> None:
    page.goto(f"{bench.address}/wiring?open=d:circuits/c03")
    page.get_by_role("button", name="Note a reading at c03").click()
    form = page.locator("#form[open]")
    form.wait_for()
    assert form.locator('[name="where"]').input_value() == "c03"
    form.locator('[name="reading"]').fill("1.2 kΩ")
    form.locator('[name="state"]').fill("at rest")
    form.get_by_role("button", name="Put in").click()
    page.get_by_text("not as forecast").first.wait_for()
    assert bench.session.state.job.observations[-1].reading == "1.2 kΩ"
    page.goto(f"{bench.address}/#row:observations/2")
    row = page.locator('[id="row:observations/2"]')
    assert "not as forecast" in row.inner_text()
    row.get_by_role("button", name="Take out").click()
    until(page, "!document.getElementById('row:observations/2')")


def test_a_sheet_with_more_rows_than_the_form_offers_and_the_kit_sifted(page: Any, bench: Workbench) -> None:
    page.goto(f"{bench.address}/kit")
    field = page.locator("[data-within]")
    field.fill("pellow")
    until(page, "document.querySelector('#within-said').textContent === '7 rows'")
    assert page.locator('[id="row:sheets/equipment/reed"]').is_visible()
    assert not page.locator('[id="row:equipment/control"]').is_visible()
    field.press("Escape")
    if page.viewport_size["width"] < 500:
        assert page.evaluate("document.documentElement.scrollHeight") < 2000
        page.locator('[id="fold:sheets"] > summary').click()
    page.locator('[data-form="sheets/equipment"]').click()
    form = page.locator("#form[open]")
    form.wait_for()
    for name, text in (("id", "clicker"), ("maker", "Pellowick"), ("model", "PK-C")):
        form.locator(f'[name="{name}"]').fill(text)
    form.locator('[name="kind"]').select_option("other")
    form.locator("summary", has_text="Factory setting").click()
    further = form.get_by_role("button", name="A further factory setting")
    further.click()
    further.click()
    assert page.evaluate("document.activeElement.name") == "settings/#3/#"
    for number, name in ((0, "tone"), (2, "lamp"), (3, "delay")):
        for part, text in (("#", name), ("address", f"slip {name}"), ("default", "on")):
            form.locator(f'[name="settings/#{number}/{part}"]').fill(text)
    form.get_by_role("button", name="Put in").click()
    page.locator('[id="row:sheets/equipment/clicker"]').wait_for(state="attached")
    assert {key: each.address for key, each in bench.session.state.job.sheets.equipment["clicker"].settings.items()} == {
        "tone": "slip tone", "lamp": "slip lamp", "delay": "slip delay",
    }  # fmt: skip
