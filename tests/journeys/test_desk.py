"""At the desk in a real browser: the questions people ring with, by keys alone with a headset on, and with one thumb on a telephone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from journeys.conftest import Serve
from loopwright.store.api_token import ApiTokens, tokens_path
from loopwright.store.case_file import CaseFile, cases_path
from loopwright.store.file import JobFile
from loopwright.store.folder import JobFolder
from loopwright.store.visit import VisitFile, visit_path
from loopwright.web.session import Session
from loopwright.web.several import create_several
from loopwright.web.shelf import Opened, Shelf

HOUSE = "at/house/desk"
CHANGED = "before => document.getElementById('now').innerText !== before"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "house.yaml").write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
    (tmp_path / "bindery.yaml").write_text(loopwright.demo.text("business"), encoding="utf-8")
    return tmp_path


@pytest.fixture
def address(folder: Path, serve: Serve) -> Iterator[str]:
    shelf = Shelf(JobFolder(folder), lambda path: Opened(Session(JobFile(path)), lambda: None))
    tokens = lambda job: ApiTokens(tokens_path(job), note=lambda *_: None)  # noqa: E731
    with serve(create_several(shelf, token=None, tokens_of=tokens)) as port:
        yield f"http://127.0.0.1:{port}/"


@contextmanager
def opened(browser: Any, size: tuple[int, int], *, touch: bool = False) -> Iterator[Any]:
    context = browser.new_context(viewport={"width": size[0], "height": size[1]}, has_touch=touch, reduced_motion="reduce")
    page = context.new_page()
    wrong: list[str] = []
    page.on("console", lambda told: wrong.append(told.text) if told.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    yield page
    context.close()
    assert not wrong


def asks(page: Any, words: str) -> None:
    """Wait until this is what is asked now, and has the focus or a field of it has."""
    page.locator("#now", has_text=words).wait_for()
    page.wait_for_function("document.activeElement.closest('#asked')")


def keyed(page: Any, words: str, *keys: str) -> None:
    """Answer a question by keys alone."""
    asks(page, words)
    for key in keys:
        page.keyboard.press(key)


def rung(page: Any, address: str, complaint: str) -> None:
    """Begin a case and identify the caller, by keys alone once it is begun."""
    page.goto(address)
    page.locator("#desk button.main").first.press("Enter")
    keyed(page, "is there any of this", "n")
    asks(page, "Who is calling")
    # What is typed into a field is no key of the question.
    page.keyboard.type("Nancy Pye")
    page.keyboard.press("Tab")
    page.keyboard.type("Corrigan-Voss house")
    page.keyboard.press("Tab")
    page.keyboard.type("01632 960 014")
    page.keyboard.press("Enter")
    keyed(page, "What is it about", complaint)


def hours(page: Any, words: str, typed: str) -> None:
    asks(page, words)
    page.keyboard.type(typed)
    page.keyboard.press("Enter")


def done(page: Any) -> str:
    page.locator("#now", has_text="What to say, and do").wait_for()
    return str(page.locator(".asked").inner_text())


def test_the_questions_people_ring_with_by_keys_alone(browser: Any, address: str, folder: Path) -> None:
    with opened(browser, (1280, 860)) as page:
        # A new battery, and the trouble is still there: normal for now.
        rung(page, address + HOUSE, "8")
        hours(page, "How many hours ago was the battery put in", "5")
        keyed(page, "For how many hours was the electricity off", "Tab", "Tab", "Enter")
        keyed(page, "Does the keypad show a battery trouble", "y")
        assert "This is normal" in done(page) and "Parts" not in done(page)
        # It turns out that it was off: going back asks again, and what was said wrongly is put right.
        keyed(page, "What to say", "b")
        keyed(page, "Does the keypad show a battery trouble", "n")
        page.get_by_role("button", name="Yes instead").click()
        assert "This is normal" in done(page)

        # A keypad that is lit and dead: what may be so is ranked, the caller's checks end, the answers go over to the visit.
        rung(page, address + HOUSE, "5")
        keyed(page, "Which keypad", "1")
        keyed(page, "When does it fail", "1")
        keyed(page, "Since when does it fail", "3")
        keyed(page, "is anything on it lit", "y")
        page.locator("#now", has_text="other keypads or units are missing").wait_for()
        assert page.locator(".may").count() >= 5 and page.locator(".may .bar").count() >= 5
        first = page.locator(".may b").first.inner_text()
        for _ in range(14):
            if page.locator("#now", has_text="What to say").count():
                break
            before = page.locator("#now").inner_text()
            page.wait_for_function("document.activeElement.closest('#asked')")
            page.keyboard.press("n")
            page.wait_for_function(CHANGED, arg=before)
        assert "Nothing further the caller can do would change what we do: send a visit" in done(page)
        assert first and page.locator("#answered tbody tr").count() >= 3
        page.get_by_role("button", name="Hand over to the visit on site").press("Enter")
        page.get_by_role("link", name="On site", exact=True).last.wait_for()
        page.get_by_text("handed over").wait_for()
        assert {entry.where for entry in VisitFile(visit_path(folder / "house.yaml")).load().standing} >= {"pad-foyer"}

        # No line was ever promised; and a danger that comes up ends everything.
        rung(page, address + HOUSE, "2")
        page.get_by_role("button", name="Telephone line").press("Enter")
        keyed(page, "Is there a telephone line", "n")
        assert "promises no telephone line" in done(page)
        page.locator("#closing summary").press("Enter")
        page.get_by_label("True cause").fill("C01")
        page.get_by_label("What put it right").fill("watching of the line switched off")
        page.get_by_label("What put it right").press("Enter")
        page.locator("#now", has_text="Closed").wait_for()
        assert "1 closed case has" in page.locator(".case-list").inner_text()
        page.get_by_role("button", name="A caller about these premises").press("Enter")
        keyed(page, "is there any of this", "3")
        assert "do not touch" in page.locator(".stop").inner_text().lower() and not page.locator(".answers").count()
    assert [case.closed.cause for case in CaseFile(cases_path(folder / "house.yaml")).load() if case.closed] == ["C01"]


def test_a_siren_and_a_clock_with_one_thumb_and_no_design_on_file(browser: Any, address: str, folder: Path) -> None:
    with opened(browser, (390, 844), touch=True) as page:

        def press(name: str) -> None:
            button = page.locator("#asked").get_by_role("button", name=name).first
            box = button.bounding_box()
            assert box is not None and box["height"] >= 44, name
            button.tap()

        def call(where: str, complaint: str) -> None:
            page.goto(address + where)
            page.locator("#desk button.main").first.tap()
            press("None of these")
            page.get_by_label("Name", exact=True).fill("Nancy Pye")
            page.get_by_label("Premises").fill("Sorrel Lane 4")
            page.get_by_label("Call-back number").fill("01632 960 014")
            press("Pass-word right")
            press(complaint)

        def told(words: str, value: str) -> None:
            page.locator("#now", has_text=words).wait_for()
            page.locator("#q-hours").fill(value)
            before = page.locator("#now").inner_text()
            page.locator(".number button").tap()
            page.wait_for_function(CHANGED, arg=before)

        # A siren that sounds in each power cut, at premises on file.
        call("at/bindery/desk", "The siren is going")
        press("When the electricity goes off")
        press("Yes")
        page.locator("#now", has_text="battery put in").wait_for()
        press("It has been there for years")
        told("was the electricity off", "1")
        told("has it been back", "30")
        for _ in range(14):
            if page.locator("#now", has_text="What to say").count():
                break
            before = page.locator("#now").inner_text()
            no = page.locator("#asked").get_by_role("button", name="No", exact=True)
            (no if no.count() else page.locator("#asked").get_by_role("button", name="For long")).tap()
            page.wait_for_function(CHANGED, arg=before)
        assert "with battery" in done(page) and "main battery is dead" in page.locator(".beside-call").inner_text()
        assert page.evaluate("document.documentElement.scrollWidth") <= 390

        # A clock that is lost after an outage, at premises nobody has on file: what is assumed is plain to see, and can be kept.
        call("desk", "It is not right since a power cut")
        told("was the electricity off", "60")
        told("has it been back", "2")
        press("Clock")
        assert "This is normal" in done(page)
        assert page.locator(".assumed .guess").count() >= 6
        page.get_by_label("Age of the battery").select_option("7")
        page.locator(".assumed dd:not(.guess)").first.wait_for()
        page.get_by_role("button", name="Keep as new premises").tap()
        page.get_by_role("link", name="Open them").tap()
        page.get_by_role("heading", name="Sorrel Lane 4").first.wait_for()
    assert "age of the battery: told" in (folder / "sorrel-lane-4.yaml").read_text(encoding="utf-8")


def test_two_windows_on_one_call_and_where_a_technician_is_led(browser: Any, address: str) -> None:
    with opened(browser, (1280, 860)) as page:
        rung(page, address + "at/bindery/desk", "2")
        other = page.context.new_page()
        other.goto(page.url)
        # Somebody else is on the line: what is pressed in the first window counts for nothing, and it shows who is to be asked.
        other.get_by_role("button", name="Identify again").click()
        other.locator("#now", has_text="Who is calling").wait_for()
        page.get_by_role("button", name="Earth or ground").click()
        page.locator("#now", has_text="Who is calling").wait_for()
        page.get_by_text("has to be identified first").wait_for()
        page.reload()
        page.get_by_role("button", name="Pass-word right").click()
        page.get_by_role("button", name="Earth or ground").click()
        page.get_by_role("button", name="For long").click()
        # A leak to earth is no matter for a caller: the design says how many cables there are, and On site in which order they are parted.
        assert "parted half by half" in done(page).lower() or page.get_by_text("Parted half by half").count() == 1
        page.get_by_role("link", name="Open the order of parting in On site").click()
        page.locator("#halving").wait_for()
        page.go_back()
        page.get_by_role("button", name="Smoke, heat, water or a threat now").click()
        asks(page, "is there any of this")
        page.keyboard.press("1")
        page.get_by_text("Everybody out now").wait_for()
