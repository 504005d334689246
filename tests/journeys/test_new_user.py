"""A new user's way: from "New premises" through a paper data sheet, devices, cables, circuits, battery, areas and zones to the findings.

Walked in a real browser at a desk's width and on a phone. The makers, models and figures are invented; the figures are such as a sheet has.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from loopwright.appraisal.appraise import appraise
from loopwright.job.read import read
from loopwright.store.api_token import ApiTokens
from loopwright.store.file import JobFile
from loopwright.store.folder import JobFolder
from loopwright.values.finding import Severity
from loopwright.web.session import Session
from loopwright.web.several import create_several
from loopwright.web.shelf import Opened, Shelf

from .in_the_hand import until

DESK: dict[str, Any] = {"viewport": {"width": 1280, "height": 860}}
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}

CONTROL = {
    "id": "m8", "kind": "control-unit", "maker": "Marlby", "model": "M8", "provenance": "Paper sheet M8, issue 3", "grade": "2",
    "loads/#0/#": "board", "loads/#0/unset_a": "65 mA", "loads/#0/alarm_a": "90", "loads/#0/min_v": "9.5",
    "outputs/#0/#": "aux", "outputs/#0/limit_a": "750 mA",
    "inputs/count": "8", "inputs/pull_up_ohm": "4k7",
    "inputs/bands/double/0/to_ohm": "800", "inputs/bands/double/1/from_ohm": "1k6", "inputs/bands/double/1/to_ohm": "3k9",
    "inputs/bands/double/2/from_ohm": "6k0", "inputs/bands/double/2/to_ohm": "13k", "inputs/bands/double/3/from_ohm": "20k",
    "inputs/resistor_sets/double/end_ohm": "2k2", "inputs/resistor_sets/double/alarm_ohm": "4k7",
    "supply/output_v": "13.7", "supply/limit_a": "1.5", "supply/largest_battery_ah": "7",
    "supply/charger/limit_a": "700 mA",
    "settings/#0/#": "entry", "settings/#0/address": "times, line 1", "settings/#0/default": "30 s",
}  # fmt: skip
SIREN = {"outputs/#2/#": "siren", "outputs/#2/limit_a": "1", "outputs/#2/on_in/=alarm": True}
DETECTOR = {
    "id": "pd-4", "kind": "detector", "maker": "Marlby", "model": "PD 4", "grade": "2",
    "loads/#0/unset_a": "12", "loads/#0/alarm_a": "15", "loads/#0/min_v": "9", "contacts/alarm/+": True, "contacts/tamper/+": True,
}  # fmt: skip
DOOR = {
    "id": "dc-2",
    "kind": "contact",
    "maker": "Marlby",
    "model": "DC 2",
    "grade": "2",
    "contacts/alarm/+": True,
    "contacts/tamper/+": True,
}
SOUNDER = {
    "id": "sn-1", "kind": "sounder", "maker": "Marlby", "model": "SN 1", "grade": "2",
    "loads/#0/unset_a": "0", "loads/#0/alarm_a": "280", "loads/#0/min_v": "9",
}  # fmt: skip
CABLE = {"id": "six-core", "model": "6 cores, screened", "cores": "6", "gauge": "0.22 mm²"}
BATTERY = {"id": "b7", "maker": "Cell & Plate", "model": "CP 7", "capacity_ah": "7"}
FED = ("hall", "lounge")
DOORS = ("front", "back", "garage", "cellar", "patio", "study", "landing")
"""Ten devices with the sounder: two detectors fed from the unit, seven contacts that need no supply."""


class Folder(NamedTuple):
    """A workbench on an empty folder, and where it is."""

    path: Path
    address: str


@pytest.fixture
def folder(tmp_path: Path, serve: Callable[..., Any]) -> Iterator[Folder]:
    shelf = Shelf(JobFolder(tmp_path), lambda file: Opened(Session(JobFile(file)), lambda: None))
    app = create_several(shelf, token=None, tokens_of=lambda job: ApiTokens(job.with_suffix(".tokens"), note=lambda *_: None))
    with serve(app) as port:
        yield Folder(tmp_path, f"http://127.0.0.1:{port}")
    shelf.close_all()


class Newcomer:
    """Somebody who has never seen the workbench, at a page of it."""

    def __init__(self, page: Any, folder: Folder, *, touch: bool) -> None:
        self.page, self.folder, self.touch = page, folder, touch

    def press(self, place: Any) -> None:
        """Press something, unfolding the part of the sheet it stands in where that is folded."""
        if self.touch:
            folds = place.locator("xpath=ancestor::details[@data-fold and not(@open)]")
            while folds.count():
                folds.first.locator("> summary").tap()
            place.tap()
        else:
            place.click()

    def station(self, name: str) -> None:
        """Look round: nothing runs off the side of the page."""
        assert self.page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name

    def room(self, name: str) -> None:
        """Go to a room by the list of rooms, wherever that is at this width."""
        if self.touch:
            self.press(self.page.locator("#rooms-narrow > summary"))
            place = self.page.locator("#rooms-narrow").get_by_role("link", name=name, exact=False).first
        else:
            place = self.page.locator("#rooms").get_by_role("link", name=name, exact=False).first
        self.press(place)
        self.arrive("front" if name == "Front sheet" else name.lower())

    def arrive(self, room: str) -> None:
        """Wait until a room is there and its scripts are at work: a press before that does nothing."""
        self.page.locator(f'#page[data-room="{room}"]').wait_for()
        self.until("document.readyState === 'complete'")

    def fill(self, name: str, value: str | bool) -> None:
        """Fill in one field of the open form, unfolding the parts it stands in."""
        field = self.page.locator(f'#form [name="{name}"]')
        if name.endswith("#2/#"):
            self.further(name.partition("/")[0])
        folds = field.locator("xpath=ancestor::details[not(@open)]")
        while folds.count():
            self.press(folds.first.locator("> summary"))
        if value is True:
            field.check()
        elif field.evaluate("field => field.tagName") == "SELECT":
            # Choices of what exists come a moment after the form.
            self.page.locator(f'#form [name="{name}"] option[value="{value}"]').wait_for(state="attached")
            field.select_option(value)
        else:
            field.fill(str(value))

    def further(self, part: str) -> None:
        self.press(self.page.locator(f'#form fieldset.row:has([name^="{part}/#0/"])').locator("xpath=..").locator("button[data-further]"))

    def put_in(self, what: str, fields: dict[str, Any]) -> None:
        """Press the button that puts something in, fill in the form, and see it gone."""
        self.press(self.page.locator(f'button[data-form="{what}"]').last)
        self.page.locator("#form[open]").wait_for()
        for name, value in fields.items():
            self.fill(name, value)
        self.station(f"form of {what}")
        self.press(self.page.locator("#form button.main"))
        self.until("!document.querySelector('#form') || !document.querySelector('#form .foot .refused')?.hidden")
        refused = self.page.locator("#form .foot .refused")
        assert not refused.count(), refused.inner_text()

    def paste(self, kind: str, rows: str, many: int) -> None:
        """Take in rows copied from a spreadsheet."""
        self.press(self.page.locator(f'button[data-list-in="{kind}"]'))
        self.page.locator("#list-text").fill(rows)
        self.until(f"document.querySelector('#list-said').textContent.includes('{many} new')")
        self.until("!document.querySelector('#list-take').disabled")
        self.station(f"list of {kind}")
        self.press(self.page.locator("#list-take"))
        self.page.locator("#list-look").get_by_text("Taken in").wait_for()
        self.press(self.page.locator("#list [data-close]"))

    def until(self, truth: str) -> None:
        """Wait until something holds on the page."""
        until(self.page, truth)

    def undo_and_redo(self, row: str) -> None:
        """Take the last step back, see what it put in gone, and do it again."""
        self.press(self.page.locator('.head [data-do="undo"]'))
        self.until(f"!document.getElementById('row:{row}')")
        self.press(self.page.locator('.head [data-do="redo"]'))
        self.until(f"document.getElementById('row:{row}')")


@pytest.mark.parametrize("size", [pytest.param(DESK, id="desk"), pytest.param(PHONE, id="phone")])
def test_a_new_user_comes_to_a_clean_sheet(folder: Folder, browser: Any, size: dict[str, Any]) -> None:
    context = browser.new_context(**size)
    page = context.new_page()
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    new = Newcomer(page, folder, touch=size is PHONE)
    try:
        begin(new)
        enter_sheets(new)
        fit_devices(new)
        run_cables(new)
        wire_circuits(new)
        programme(new)
        see_findings(new)
    finally:
        context.close()
    assert not complaints, complaints


def begin(new: Newcomer) -> None:
    page = new.page
    page.goto(new.folder.address)
    new.station("all premises")
    new.press(page.get_by_role("link", name="New premises"))
    page.get_by_label("Title of the job").fill("Larch Cottage")
    page.get_by_label("Country").fill("Britain")
    new.press(page.get_by_role("button", name="Make and open it"))
    page.get_by_role("alert").wait_for()
    assert "Two letters" in page.get_by_role("alert").inner_text()
    assert page.get_by_label("Title of the job").input_value() == "Larch Cottage"
    new.station("new premises refused")
    page.get_by_label("Country").fill("gb")
    new.press(page.get_by_role("button", name="Make and open it"))
    page.get_by_role("heading", name="What goes in first").wait_for()
    new.station("front sheet, empty")
    new.press(page.locator("#beginning").get_by_role("link", name="Rooms"))
    new.arrive("premises")
    new.put_in("storeys", {"id": "ground", "name": "Ground floor"})
    for room in ("hall", "lounge"):
        new.put_in("storeys/ground/rooms", {"id": room, "name": room.capitalize()})
    new.station("premises")


def enter_sheets(new: Newcomer) -> None:
    new.room("Kit")
    new.station("kit, empty")
    new.put_in("sheets/equipment", CONTROL | SIREN)
    new.undo_and_redo("sheets/equipment/m8")
    for sheet in (DETECTOR, DOOR, SOUNDER):
        new.put_in("sheets/equipment", sheet)
    new.put_in("sheets/cables", CABLE)
    new.put_in("sheets/batteries", BATTERY)
    new.station("kit, sheets")


def fit_devices(new: Newcomer) -> None:
    new.put_in("equipment", {"id": "control", "sheet": "m8", "label": "Control unit", "room": "hall", "battery/sheet": "b7"})
    rows = [("Label", "Type", "Room"), *((f"{name.capitalize()} detector", "PD 4", "Lounge") for name in FED)]
    rows += [(f"{name.capitalize()} door", "DC 2", "Hall") for name in DOORS] + [("Sounder", "SN 1", "")]
    new.paste("devices", "\n".join("\t".join(row) for row in rows), 10)
    new.undo_and_redo("equipment/sounder")
    new.station("kit")


def run_cables(new: Newcomer) -> None:
    new.room("Wiring")
    new.station("wiring, empty")
    for number, name in enumerate(FED, 1):
        fields = {"sheet": "six-core", "start": "control", "end": f"{name}-detector", "length_m": f"{8 + 3 * number}"}
        new.put_in("cables", fields | {"feeds/0/output": "control.aux"})
    new.put_in("cables", {"sheet": "six-core", "start": "control", "end": "sounder", "length_m": "12", "feeds/0/output": "control.siren"})
    rows = ["From\tTo\tType\tLength (m)", *(f"Control unit\t{name.capitalize()} door\tsix-core\t{9 + len(name)}" for name in DOORS)]
    new.paste("cables", "\n".join(rows), len(DOORS))
    new.undo_and_redo("cables/W10")
    new.station("runs")


def wire_circuits(new: Newcomer) -> None:
    for number, (run, device) in enumerate((("W01", "hall-detector"), ("W04", "front-door")), 1):
        fields = {"input": f"control.{number}", "topology": "double", "path/0/cable": run, "path/0/device": device}
        new.put_in("circuits", fields)
    new.undo_and_redo("circuits/c02")
    new.station("circuits")


def programme(new: Newcomer) -> None:
    new.room("Programme")
    new.station("programme, empty")
    new.put_in("areas", {"id": "house", "name": "House", "entry_s": "30", "exit_s": "45"})
    zone = {"areas/=house": True, "response/unset": "ignored"}
    new.put_in("zones", {"text": "Hall", "circuit": "c01", "response/full": "immediate"} | zone)
    new.put_in("zones", {"text": "Front door", "circuit": "c02", "response/full": "entry-route"} | zone)
    new.station("programme")


def see_findings(new: Newcomer) -> None:
    page = new.page
    page.locator('[id="c:programme/sounder_s"]').fill("15 min")
    page.keyboard.press("Enter")
    new.until("document.getElementById('c:programme/sounder_s').value === '900'")
    new.room("Front sheet")
    page.get_by_role("heading", name="Findings").wait_for()
    new.station("front sheet")
    assert page.locator("#beginning").count() == 0
    words = [heading.casefold() for heading in page.locator("#findings h3").all_inner_texts()]
    assert words and not any(severity in heading for heading in words for severity in ("must be put right", "should be put right"))
    # What is on disk is what was entered, and says the same to who reads it without a browser.
    job = read((new.folder.path / "larch-cottage.yaml").read_text(encoding="utf-8")).job
    found = appraise(job).findings
    assert {finding.severity for finding in found} <= {Severity.GAP, Severity.NOTE}
    open_still = {"alarm-contact-unused", "factory-codes-unknown", "sounder-without-rule", "walk-unknown"}
    assert {finding.code for finding in found if finding.severity is Severity.GAP} == open_still
    assert (len(job.equipment), len(job.cables), len(job.circuits), len(job.zones)) == (11, 10, 2, 2)
    new.press(page.get_by_role("link", name="All premises").first) if not new.touch else page.goto(new.folder.address)
    page.get_by_text("no must").wait_for()
    new.station("all premises, one begun")
