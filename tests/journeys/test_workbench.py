"""A technician at the workbench: a real browser, a real file, the room at a desk's width and at a phone's."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import loopwright.demo
from loopwright.job.edit import SetField
from loopwright.web.app import create_app
from loopwright.web.guard import Guard
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY

from .in_the_hand import until

TOKEN = "a-key-for-the-test"
WIDTHS = [pytest.param((1280, 860), id="desk"), pytest.param((390, 844), id="phone")]
at_a_desk = pytest.mark.parametrize("visit", WIDTHS[:1], indirect=True)
"""For what goes on between script and program, which knows no width; how it looks on a phone is seen in the others."""
ROOMS = ("/", "/premises", "/kit", "/wiring", "/power", "/programme", "/papers")


class Workbench(NamedTuple):
    """A workbench that runs: where it is, the file it keeps, the session behind it."""

    address: str
    path: Path
    session: Session


@pytest.fixture
def bench(session: Session, serve: Callable[..., Any]) -> Iterator[Workbench]:
    with serve(create_app(session, token=TOKEN)) as port:
        yield Workbench(f"http://127.0.0.1:{port}", session.file.path, session)


class Visit:
    """One open page, and everything the browser complained about."""

    def __init__(self, browser: Any, bench: Workbench, size: tuple[int, int], **more: Any) -> None:
        self.context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **more)
        self.page = self.context.new_page()
        self.complaints: list[str] = []
        self.page.on("console", lambda said: self.complaints.append(said.text) if said.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.bench = bench
        self.context.add_cookies([{"name": Guard(token=TOKEN, visitor=SOMEBODY).cookie, "value": TOKEN, "url": bench.address}])

    def go(self, room: str) -> Any:
        self.page.goto(self.bench.address + room)
        return self.page

    def cell(self, path: str) -> Any:
        return self.page.locator(f'[data-path="{path}"]')

    def far_volts(self, run: str) -> str:
        return str(self.page.locator(f'[id="row:cables/{run}"] .far .fig').first.inner_text())

    def until(self, truth: str) -> None:
        """Wait until something holds on the page."""
        until(self.page, truth)

    def revision_after(self, before: str) -> None:
        self.until(f"document.getElementById('page').dataset.revision !== '{before}'")

    def revision(self) -> str:
        return str(self.page.locator("#page").get_attribute("data-revision"))


@pytest.fixture(params=WIDTHS)
def visit(browser: Any, bench: Workbench, request: pytest.FixtureRequest) -> Iterator[Visit]:
    made = Visit(browser, bench, request.param)
    yield made
    made.context.close()
    assert not made.complaints, "\n".join(made.complaints)


def test_a_longer_cable_lowers_the_far_volts_and_undo_gives_them_back(visit: Visit) -> None:
    page = visit.go("/wiring")
    cell = visit.cell("cables/W22/length_m")
    before, revision = visit.far_volts("W22"), visit.revision()
    cell.fill("60")
    cell.press("Enter")
    visit.revision_after(revision)
    assert float(visit.far_volts("W22").split()[0]) < float(before.split()[0])
    assert "mask-press, length_m: 60" in visit.bench.path.read_text(encoding="utf-8")
    assert page.evaluate("document.activeElement?.dataset?.path") == "cables/W22/length_m"
    revision = visit.revision()
    page.keyboard.press("Control+z")
    visit.revision_after(revision)
    assert visit.far_volts("W22") == before
    assert cell.input_value() == "41"
    revision = visit.revision()
    page.keyboard.press("Control+Shift+z")
    visit.revision_after(revision)
    assert cell.input_value() == "60"


def test_a_number_opens_to_its_working_which_leads_to_the_cell_it_rests_on(visit: Visit) -> None:
    page = visit.go("/wiring")
    page.locator('[id="row:cables/W22"] .far .fig').first.click()
    working = page.locator(".unfolded .working")
    working.wait_for()
    assert "V_bus" in working.inner_text()
    assert "Ohm's and Kirchhoff's laws" in working.inner_text()
    working.get_by_role("link", name=re.compile("resistance of W22")).first.click()
    visit.until("document.activeElement?.dataset?.path === 'cables/W22/length_m'")


def test_a_refused_entry_says_why_and_nothing_is_lost(visit: Visit) -> None:
    page = visit.go("/wiring")
    text = visit.bench.path.read_text(encoding="utf-8")
    cell = visit.cell("cables/W22/length_m")
    cell.fill("4,2")
    cell.press("Enter")
    said = page.locator('[id="said:cables/W22/length_m"]')
    said.wait_for()
    assert "decimal comma" in said.inner_text()
    assert cell.input_value() == "4,2"
    assert visit.bench.path.read_text(encoding="utf-8") == text
    # Another cell may be changed meanwhile; the refused entry stays to be put right.
    revision = visit.revision()
    visit.cell("cables/W20/length_m").fill("35")
    visit.cell("cables/W20/length_m").press("Enter")
    visit.revision_after(revision)
    assert cell.input_value() == "4,2" and said.is_visible()
    cell.press("Escape")
    assert cell.input_value() == "41" and said.count() == 0


@at_a_desk
def test_arrows_go_along_a_column_and_a_choice_is_made_by_key(visit: Visit) -> None:
    page = visit.go("/wiring")
    visit.cell("cables/W10/length_m").focus()
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement?.dataset?.path") == "cables/W11/length_m"
    page.keyboard.press("ArrowUp")
    assert page.evaluate("document.activeElement?.dataset?.path") == "cables/W10/length_m"


@at_a_desk
def test_a_choice_fills_itself_when_it_is_entered(visit: Visit) -> None:
    visit.go("/wiring?open=d:cables/W22")
    choice = visit.cell("cables/W22/sheet")
    choice.focus()
    visit.until("document.querySelector('[data-path=\"cables/W22/sheet\"]').options.length > 2")
    revision = visit.revision()
    choice.select_option("four-half")
    visit.revision_after(revision)
    assert visit.bench.session.state.job.cables["W22"].sheet == "four-half"


def test_a_run_is_put_in_and_taken_out_again(visit: Visit) -> None:
    page = visit.go("/wiring")
    page.get_by_role("button", name="Put in a cable run").click()
    box = page.get_by_role("dialog")
    box.locator("[name=id]").fill("W01")
    visit.until("document.querySelector('#form [name=start]').options.length > 10")
    for name, choice in (("start", "control"), ("end", "door-front"), ("sheet", "six-core")):
        box.locator(f"[name={name}]").select_option(choice)
    box.get_by_label("Length").fill("7")
    box.get_by_role("button", name="Put in").click()
    box.get_by_text("There is already an entry called W01").wait_for()
    box.locator("[name=id]").fill("W99")
    revision = visit.revision()
    box.get_by_role("button", name="Put in").click()
    visit.revision_after(revision)
    assert visit.bench.session.state.job.cables["W99"].length_m == 7
    page.locator('[id="row:cables/W99"] .opens').click()
    page.get_by_role("button", name="Take out W99").click()
    visit.until("!document.getElementById('row:cables/W99')")
    assert "W99" not in visit.bench.session.state.job.cables


@at_a_desk
def test_a_change_by_another_program_is_joined_and_told(visit: Visit) -> None:
    visit.go("/wiring")
    theirs = visit.bench.path.read_text(encoding="utf-8").replace("title: Fennimarch Bindery", "title: Theirs")
    visit.bench.path.write_text(theirs, encoding="utf-8")
    cell = visit.cell("cables/W22/length_m")
    cell.fill("60")
    cell.press("Enter")
    visit.until("document.title.includes('Theirs')")
    visit.until("document.querySelector('[data-path=\"cables/W22/length_m\"]').defaultValue === '60'")
    assert visit.bench.path.read_text(encoding="utf-8") == theirs.replace("length_m: 41", "length_m: 60")


@at_a_desk
def test_a_file_that_is_no_job_is_not_written_over(visit: Visit) -> None:
    page = visit.go("/wiring")
    visit.bench.path.write_text("title: [", encoding="utf-8")
    cell = visit.cell("cables/W22/length_m")
    cell.fill("60")
    cell.press("Enter")
    page.locator("#trouble").get_by_text("another program has changed").first.wait_for()
    assert visit.bench.path.read_text(encoding="utf-8") == "title: [" and cell.input_value() == "60"
    visit.bench.path.write_text(loopwright.demo.text("business"), encoding="utf-8")
    page.get_by_role("button", name="Read the file again").click()
    cell.press("Enter")
    visit.until("document.querySelector('[data-path=\"cables/W22/length_m\"]').defaultValue === '60'")


@at_a_desk
def test_two_tabs_do_not_write_over_each_other(visit: Visit) -> None:
    visit.go("/wiring")
    mine = visit.cell("cables/W22/length_m")
    mine.fill("45")
    assert not visit.bench.session.edit(SetField("cables/W22/length_m", "60"))
    mine.press("Enter")
    said = visit.page.locator('[id="said:cables/W22/length_m"]')
    said.wait_for()
    assert "‘60’" in said.inner_text() and "‘45’" in said.inner_text()
    assert visit.bench.session.state.job.cables["W22"].length_m == 60 and mine.input_value() == "45"
    revision = visit.revision()
    mine.press("Enter")
    visit.revision_after(revision)
    assert visit.bench.session.state.job.cables["W22"].length_m == 45


@at_a_desk
def test_undo_names_the_step_and_asks_when_another_window_made_one(visit: Visit) -> None:
    page = visit.go("/wiring")
    undo = page.locator('[data-do="undo"]')
    revision = visit.revision()
    visit.cell("cables/W22/length_m").fill("60")
    visit.cell("cables/W22/length_m").press("Enter")
    visit.revision_after(revision)
    assert undo.get_attribute("title") == "Undo: length of W22"
    assert not visit.bench.session.edit(SetField("title", "Theirs"), by=SOMEBODY.name)
    undo.click()
    page.locator("#trouble").get_by_text("in another window").wait_for()
    assert visit.bench.session.state.job.title == "Theirs"


@at_a_desk
def test_a_refused_entry_survives_a_change_of_room(visit: Visit) -> None:
    page = visit.go("/wiring")
    cell = visit.cell("cables/W22/length_m")
    cell.fill("4,2")
    cell.press("Enter")
    page.locator('[id="said:cables/W22/length_m"]').wait_for()
    assert page.locator("#kept").text_content() == "not everything here is kept"
    visit.go("/kit")
    visit.go("/wiring")
    assert cell.input_value() == "4,2"
    assert "not kept yet" in page.locator('[id="said:cables/W22/length_m"]').inner_text()
    cell.press("Escape")
    assert cell.input_value() == "41"
    assert page.locator("#kept").text_content() == "kept in job.yaml"
    visit.go("/kit")
    visit.go("/wiring")
    assert cell.input_value() == "41"


@at_a_desk
def test_escape_folds_what_was_unfolded_and_gives_the_focus_back(visit: Visit) -> None:
    page = visit.go("/wiring")
    figure = page.locator('[id="row:cables/W22"] .far .fig').first
    figure.click()
    page.locator(".unfolded .working").wait_for()
    page.keyboard.press("Escape")
    visit.until("!document.querySelector('.unfolded')")
    visit.until("document.activeElement.classList.contains('fig')")


def test_a_refused_take_out_is_said_beside_the_button(visit: Visit) -> None:
    page = visit.go("/kit?open=d:equipment/supply-2")
    page.get_by_role("button", name="Take out supply-2").click()
    said = page.locator(".said-no")
    said.wait_for()
    assert said.inner_text().startswith("supply-2 is still used by W07")
    assert in_sight(page, ".said-no")


def unfold(page: Any, part: str) -> None:
    """Open a part of a long sheet; on a narrow screen it is folded."""
    fold = page.locator(f"details[id='fold:{part}']")
    if fold.get_attribute("open") is None:
        fold.locator("> summary").click()


@at_a_desk
def test_blanking_a_label_with_spaces_is_one_step(visit: Visit) -> None:
    page = visit.go("/kit")
    unfold(page, "equipment")
    cell = visit.cell("equipment/door-front/label")
    revision = visit.revision()
    cell.fill("   ")
    cell.press("Enter")
    visit.revision_after(revision)
    page.keyboard.press("Tab")
    page.wait_for_timeout(200)
    assert cell.input_value() == "" and visit.bench.session.stand(by=SOMEBODY.name).back == 1


def test_the_area_of_a_detector_is_put_right_by_ticking(visit: Visit) -> None:
    page = visit.go("/")
    page.locator(".note", has_text="Lobby detector").get_by_role("link", name="go there").click()
    row = page.locator('[id="row:zones/z02"]')
    row.wait_for()
    visit.until("document.readyState === 'complete'")  # a press before the scripts are at work does nothing
    unfold(page, "lies")
    for words in ("Offices", "Lobby and stair"):
        revision = visit.revision()
        page.get_by_label(f"zone 2 lies in {words}", exact=True).click()
        visit.revision_after(revision)
    assert visit.bench.session.state.job.zones["z02"].areas == ("lobby",)
    assert not page.get_by_text("is live when Offices is set").count()


def test_a_data_sheet_is_entered_from_paper(visit: Visit) -> None:
    page = visit.go("/kit")
    unfold(page, "sheets")
    page.get_by_role("button", name="Enter a data sheet").click()
    box = page.get_by_role("dialog")
    for name, text in (("id", "pk-new"), ("maker", "Pellowick"), ("model", "PK-N")):
        box.locator(f"[name={name}]").fill(text)
    box.locator("[name=kind]").select_option("detector")
    box.locator("summary", has_text="Supply input").first.click()
    box.locator("[name='loads/#0/unset_a']").fill("12")
    box.get_by_role("button", name="Put in").click()
    box.get_by_text("Least working voltage is missing.").wait_for()
    box.locator("[name='loads/#0/min_v']").fill("9")
    revision = visit.revision()
    box.get_by_role("button", name="Put in").click()
    visit.revision_after(revision)
    assert visit.bench.session.state.job.sheets.equipment["pk-new"].loads["supply"].unset_a == 0.012


def in_sight(page: Any, selector: str) -> bool:
    """Return whether an element lies whole inside what the window shows."""
    box, size = page.locator(selector).bounding_box(), page.viewport_size
    return bool(box["y"] >= 0 and box["y"] + box["height"] <= size["height"] and box["x"] >= 0 and box["x"] + box["width"] <= size["width"])


def test_a_program_started_anew_is_told_plainly_and_the_entry_stays(browser: Any, bench: Workbench) -> None:
    visit = Visit(browser, bench, (1280, 860))
    page = visit.go("/wiring")
    cell = visit.cell("cables/W62/length_m")
    cell.evaluate("(e) => e.scrollIntoView({block: 'end'})")
    visit.context.clear_cookies()
    cell.fill("60")
    cell.press("Enter")
    page.locator("#trouble").get_by_text("started anew").wait_for()
    assert in_sight(page, "#trouble") and cell.input_value() == "60"
    said, trouble = page.locator('[id="said:cables/W62/length_m"]').bounding_box(), page.locator("#trouble").bounding_box()
    above, below = said["y"] + said["height"] <= trouble["y"], said["y"] >= trouble["y"] + trouble["height"]
    assert above or below or said["x"] >= trouble["x"] + trouble["width"] or said["x"] + said["width"] <= trouble["x"]
    page.goto(f"{bench.address}/?key={TOKEN}")
    page.wait_for_url(f"{bench.address}/")
    visit.go("/wiring")
    assert cell.input_value() == "60"
    visit.context.close()


def test_without_an_answer_the_cell_says_so_and_the_entry_arrives_in_the_end(browser: Any, bench: Workbench) -> None:
    visit = Visit(browser, bench, (1280, 860))
    page = visit.go("/wiring")
    page.route("**/edit", lambda route: route.abort())
    cell = visit.cell("cables/W22/length_m")
    cell.fill("60")
    cell.press("Enter")
    page.get_by_text("not kept yet: the program does not answer").wait_for()
    assert bench.session.state.job.cables["W22"].length_m == 41
    page.unroute("**/edit")
    visit.until("document.getElementById('trouble').hidden")
    assert bench.session.state.job.cables["W22"].length_m == 60
    visit.context.close()


def test_fingers_find_targets_of_44_pixels(browser: Any, bench: Workbench) -> None:
    visit = Visit(browser, bench, (390, 844), has_touch=True, is_mobile=True)
    for room in (*ROOMS, "/kit?open=d:equipment/control"):
        page = visit.go(room)
        small = page.evaluate(
            """() => [...document.querySelectorAll("button, select, .cell input, .fig, .opens, .switch a, .rooms-narrow a, summary")]
                .filter((e) => e.offsetParent && !e.closest("svg, dialog"))
                .map((e) => [e.outerHTML.slice(0, 90), e.getBoundingClientRect()])
                .filter(([, box]) => box.height && box.height < 43.5).map(([html, box]) => `${box.height} ${html}`)"""
        )
        assert not small, (room, small[:5])
    visit.context.close()


def test_reading_needs_no_script(browser: Any, bench: Workbench) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    context.add_cookies([{"name": Guard(token=TOKEN, visitor=SOMEBODY).cookie, "value": TOKEN, "url": bench.address}])
    page.goto(f"{bench.address}/wiring")
    page.locator('[id="row:cables/W22"] .far .fig').first.click()
    assert "V_bus" in page.locator(".working").inner_text()
    page.goto(f"{bench.address}/wiring")
    page.get_by_role("link", name="c05", exact=True).click()
    # The row is there while the rest of the page still comes.
    page.wait_for_load_state("load")
    page.locator('[id="d:circuits/c05"] svg').nth(1).wait_for(state="attached")
    assert page.locator('[id="d:circuits/c05"] svg').count() == 2
    context.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_ink_stands_out_from_paper_by_seven_to_one(browser: Any, bench: Workbench, scheme: str) -> None:
    visit = Visit(browser, bench, (1280, 860), color_scheme=scheme)
    visit.go("/power")
    found = visit.page.evaluate(
        """() => { const s = getComputedStyle(document.documentElement); const v = (n) => s.getPropertyValue(n).trim();
            return {grounds: ["--paper", "--sheet", "--tint"].map(v), inks: ["--ink", "--soft", "--accent"].map(v)}; }"""
    )
    for ground in found["grounds"]:
        for ink in found["inks"]:
            assert contrast(ink, ground) >= 7, (ink, ground)
    visit.context.close()


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours, WCAG 2.2, "contrast ratio": (L1 + 0.05) / (L2 + 0.05)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb, WCAG 2.2, "relative luminance"."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_the_contrast_of_black_on_white_is_twenty_one() -> None:
    # WCAG 2.2, note 1 to "contrast ratio": ratios range from 1 to 21.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == pytest.approx(1)
