"""What stands in the rooms: every finding leads to its row, every defect of the example can be put right on screen, forms make entries."""

from __future__ import annotations

import re
import warnings
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pytest

import loopwright.demo
from loopwright.cli.papers import FINGERPRINT
from loopwright.job.read import read
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.form import form_of
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"


class Desk:
    """A workbench that is asked by its addresses."""

    def __init__(self, folder: Path, text: str) -> None:
        self.path = folder / "job.yaml"
        self.path.write_text(text, encoding="utf-8")
        self.session = Session(JobFile(self.path))
        self.client = TestClient(create_app(self.session, token=None), base_url=BASE)

    def page(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, address
        return str(answer.text)

    def post(self, **change: Any) -> Any:
        answer = self.client.post("/edit", json=change, headers={"Origin": BASE})
        assert answer.status_code == 200, answer.text
        return answer.json()

    def made(self, **change: Any) -> Any:
        answer = self.post(**change)
        assert answer["problems"] == [], answer["problems"]
        return answer

    def said(self, **change: Any) -> str:
        return " ".join(item["message"] for item in self.post(**change)["problems"])

    def codes(self) -> set[str]:
        return {finding.code for finding in self.session.state.appraisal.findings}


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path, loopwright.demo.text("business"))


def bare(text: str) -> str:
    """Return the bindery with much of it not entered, so that many findings stand in it."""
    text = re.sub(r"entry_s: \d+( \w+)?, ", "", text)
    for was, now in (
        ("sounder_s: 15 min", "sounder_s: 1 h"),
        ("standby_h: 12", ""),
        ("circuit: c04,", ""),
        ("areas: [shop]", "areas: []"),
        ("duration_s: 15 min", "duration_s: 3 h"),
        ("    tamper: yes\n", ""),
        ("default_codes_changed: yes", "default_codes_changed: no"),
    ):
        text = text.replace(was, now)
    return text


@pytest.mark.parametrize("name", [*loopwright.demo.names(), "bare"])
def test_every_link_of_a_finding_leads_to_a_row_that_is_there(tmp_path: Path, name: str) -> None:
    text = bare(loopwright.demo.text("business")) if name == "bare" else loopwright.demo.text(name)
    desk = Desk(tmp_path, text)
    links = re.findall(r'<a href="([^"]*)">go there</a>', desk.page("/"))
    assert links
    if name == "bare":
        assert {"areas", "zones", "outputs", "programme", "signalling"} <= {
            finding.subject.partition("/")[0] for finding in desk.session.state.appraisal.findings
        }
    for link in links:
        address, _, anchor = unescape(link).partition("#")
        assert f'id="{unquote(anchor)}"' in desk.page(address), link


def test_every_working_leads_to_a_cell_that_is_there(desk: Desk) -> None:
    html = desk.page("/power?open=w:volts/sounder-press.supply/alarm/battery-end&open=w:required-ah/control&open=w:fitted-ah/control")
    links = {unescape(link) for link in re.findall(r'<td><a href="\.(/[^"]*)">', html)}
    assert len(links) >= 2
    for link in links:
        address, _, anchor = link.partition("#")
        assert f'id="{unquote(anchor)}"' in desk.page(address), link


def test_all_defects_of_the_example_can_be_put_right_on_screen(desk: Desk) -> None:
    for path, text in (
        ("cables/W31/length_m", "24"),
        ("circuits/c11/resistors/end_ohm", "2k7"),
        ("equipment/control/battery/sheet", "tb-18"),
        ("zones/z23/response/late", "immediate"),
        ("users/cleaner/areas/workshop", "none"),
        ("region/standby_h", "12"),
    ):
        desk.made(do="set", path=path, text=text)
    desk.made(do="untick", path="zones/z02/areas", text="offices")
    desk.made(do="tick", path="zones/z02/areas", text="lobby")
    desk.made(do="set", path="sheets/equipment/oq-s15/supply/charger/limit_a", text="0.15")
    left = {
        "volts-below-minimum", "circuit-misread", "resistor-not-as-sheet", "battery-too-small", "common-area-detector",
        "response-cells-empty", "user-cells-empty", "standby-hours-unconfirmed", "supply-overloaded-charging",
    } & desk.codes()  # fmt: skip
    assert not left
    assert desk.session.state.job.zones["z02"].areas == ("lobby",)


def test_empty_cells_of_the_tables_say_so_in_words_and_can_be_emptied_again(desk: Desk) -> None:
    html = desk.page("/programme")
    assert re.search(r'id="c:zones/z23/response/late"[^>]*placeholder="not said"', html)
    assert re.search(r'id="c:users/cleaner/areas/workshop"[^>]*><option value="" selected>not said', html)
    assert '<b class="word">1</b> cell says nothing' in html
    desk.made(do="set", path="zones/z23/response/late", text="ignored")
    desk.made(do="set", path="zones/z23/response/late", text="")
    assert "late" not in desk.session.state.job.zones["z23"].response


def test_what_an_output_is_live_in_is_ticked(desk: Desk) -> None:
    path = "sheets/equipment/oq-s15/outputs/aux-1/on_in"
    page = desk.made(do="untick", path=path, text="entry", room="kit", query="open=d:sheets/equipment/oq-s15")["page"]
    assert [str(state) for state in desk.session.state.job.sheets.equipment["oq-s15"].outputs["aux-1"].on_in] == ["unset", "set", "alarm"]
    assert re.search(rf'data-tick="{path}" value="set" checked', page) and re.search(rf'data-tick="{path}" value="entry">', page)
    desk.made(do="tick", path=path, text="entry")
    assert desk.said(do="tick", path="cables/W31/length_m", text="entry") == "There is nothing to tick here."


FORMS = {
    "sheets/equipment": {
        "id": "pk-new", "kind": "detector", "maker": "Pellowick", "model": "PK-N", "loads/#0/#": "supply", "loads/#0/unset_a": "12",
        "loads/#0/alarm_a": "15", "loads/#0/min_v": "9", "contacts/alarm/+": "yes", "contacts/tamper/closed_ohm": "5",
    },
    "sheets/batteries": {
        "id": "tb-12", "maker": "Tolverne Cells", "model": "TB-12", "capacity_ah": "12", "discharge/0/hours": "20",
        "discharge/0/current_a": "0.6", "discharge/1/hours": "1", "discharge/1/current_a": "7.1",
    },
    "sheets/cables": {"id": "two", "model": "two", "cores": "2", "gauge": "0.5", "construction": "solid"},
    "equipment": {"id": "extra", "sheet": "reed", "label": "Extra", "room": "lobby"},
    "joints": {"id": "box-2", "room": "shop"},
    "cables": {"id": "W99", "sheet": "six-core", "start": "control", "end": "door-front", "length_m": "7"},
    "areas": {"id": "annex", "name": "Annex", "entry_s": "30", "common_to/=shop": "yes"},
    "zones": {"id": "z99", "number": "99", "text": "Spare", "circuit": "c04", "areas/=shop": "yes", "response/unset": "ignored"},
    "users": {"id": "guard", "role": "guard", "areas/shop": "both"},
    "parties": {"id": "neighbour", "role": "keyholder", "name": "Next door"},
    "storeys": {"id": "loft", "name": "Loft"},
    "storeys/first/rooms": {"id": "box", "name": "Box room"},
    "outputs": {"id": "extra", "terminal": "control.aux-1", "follows": "unset"},
    "signalling/paths": {"id": "line", "kind": "line"},
    "programme/part_sets": {"value": "night"},
    "cables/W10/feeds": {"output": "control.aux-1"},
    "equipment/door-front/battery": {"sheet": "tb-7"},
}  # fmt: skip


@pytest.mark.parametrize("what", FORMS)
def test_a_form_asks_for_what_it_posts_and_puts_it_in(desk: Desk, what: str) -> None:
    html = desk.page(f"/form?what={what}")
    for name in FORMS[what]:
        assert f'name="{name}"' in html, name
    labels = re.findall(r"<span>([^<]*)", html)
    assert labels and not [label for label in labels if "_" in label]
    if what == "equipment/door-front/battery":
        return
    if what == "cables/W10/feeds":
        assert "no supply input" in desk.said(do="add", path=what, fields=FORMS[what])
        return
    desk.made(do="add", path=what, fields=FORMS[what])
    assert read(desk.path.read_text(encoding="utf-8")).job == desk.session.state.job


def test_a_sheet_from_paper_is_whole(desk: Desk) -> None:
    desk.made(do="add", path="sheets/equipment", fields=FORMS["sheets/equipment"])
    sheet = desk.session.state.job.sheets.equipment["pk-new"]
    assert (sheet.loads["supply"].unset_a, sheet.loads["supply"].alarm_a, sheet.loads["supply"].min_v) == (0.012, 0.015, 9)
    assert set(sheet.contacts) == {"alarm", "tamper"} and sheet.contacts["tamper"].closed_ohm == 5
    bands = {"inputs/count": "8", "inputs/pull_up_ohm": "4k7"}
    stated = (("short", "", "900"), ("rest", "1k6", "3450"), ("active", "6k", "19k"), ("open", "26k", ""))
    for number, (reads, low, high) in enumerate(stated):
        lead = f"inputs/bands/double/{number}"
        bands |= {f"{lead}/reads": reads, f"{lead}/from_ohm": low, f"{lead}/to_ohm": high}
    more = {f"inputs/bands/single/{number}/reads": reads for number, reads in enumerate(("short", "rest", "open"))}
    fields = {"id": "unit", "kind": "control-unit", "maker": "Oakenquill", "model": "X", "loads/#0/#": "supply", **bands, **more}
    fields |= {"supply/output_v": "13.7", "supply/limit_a": "2", "supply/charger/limit_a": "0.5"}
    fields |= {"outputs/#0/#": "aux", "outputs/#0/limit_a": "1"}
    desk.made(do="add", path="sheets/equipment", fields=fields)
    unit = desk.session.state.job.sheets.equipment["unit"]
    assert unit.inputs is not None and unit.supply is not None
    assert list(unit.inputs.bands) == ["double"] and len(unit.inputs.bands["double"]) == 4
    assert not unit.loads and unit.supply.charger.limit_a == 0.5 and unit.outputs["aux"].limit_a == 1


def test_messages_of_a_form_are_in_its_words(desk: Desk) -> None:
    fields = {**FORMS["sheets/equipment"]}
    del fields["loads/#0/min_v"]
    assert desk.said(do="add", path="sheets/equipment", fields=fields) == "Least working voltage is missing."
    fields["loads/#0/min_v"] = "much"
    said = desk.said(do="add", path="sheets/equipment", fields=fields)
    assert said.startswith("Least working voltage: 'much' is not a number") and "min_v" not in said
    assert "18, 18 mA" in desk.said(do="set", path="sheets/equipment/pk-dual/loads/supply/unset_a", text="much")
    assert "write for example 3" in desk.said(do="set", path="zones/z02/number", text="two")
    assert "at most 200 characters" in desk.said(do="set", path="zones/z02/text", text="x" * 300)
    answer = desk.client.post("/edit", json={"do": "set", "path": "title", "text": "x" * 9000}, headers={"Origin": BASE})
    assert answer.status_code == 422 and "at most 8000 characters" in answer.json()["problems"][0]["message"]
    assert desk.said(do="add", path="zones", fields={"text": "x"}) == "A name is needed."
    assert form_of(desk.session.state.job, "title") is None and desk.client.get("/form?what=title").status_code == 404


def test_a_refused_take_out_names_the_places_in_one_sentence(desk: Desk) -> None:
    said = desk.said(do="remove", path="equipment/supply-2")
    assert said.startswith("supply-2 is still used by W07, ") and "W60" in said and said.count(".") == 1 + said.count(". ")
    assert "no piece of equipment" not in said
    assert "zone 1" in desk.said(do="remove", path="areas/lobby")
    assert desk.said(do="remove", path="cables/none") == "There is nothing here to take out."


def test_undo_says_what_it_takes_back(desk: Desk) -> None:
    assert 'title="Nothing to undo"' in desk.page("/wiring")
    page = desk.made(do="set", path="cables/W31/length_m", text="50", room="wiring")["page"]
    assert 'title="Undo: length of W31"' in page
    desk.path.write_text(desk.path.read_text(encoding="utf-8").replace("title: Fennimarch", "title: Thistle"), encoding="utf-8")
    page = desk.made(do="reload", room="wiring")["page"]
    assert "Undo: reading the file again, with what another program had changed" in page
    page = desk.made(do="undo", room="wiring")["page"]
    assert 'title="Undo: length of W31"' in page and 'title="Redo: reading the file again' in page


def test_undo_from_a_page_that_is_behind_asks_first(desk: Desk) -> None:
    behind = desk.session.state.revision
    desk.made(do="set", path="cables/W31/length_m", text="50")
    answer = desk.post(do="undo", revision=behind, room="wiring")
    assert "length of W31" in answer["problems"][0]["message"] and "another window" in answer["problems"][0]["message"]
    assert desk.session.state.job.cables["W31"].length_m == 50 and answer["page"]
    desk.made(do="undo", revision=answer["revision"], room="wiring")
    assert desk.session.state.job.cables["W31"].length_m == 55


def test_a_cell_changed_meanwhile_is_not_written_over(desk: Desk) -> None:
    desk.made(do="set", path="cables/W31/length_m", text="50", seen="55")
    answer = desk.post(do="set", path="cables/W31/length_m", text="45", seen="55", room="wiring")
    assert "‘50’" in answer["problems"][0]["message"] and "‘45’" in answer["problems"][0]["message"]
    assert answer["now"] == "50" and 'value="50" id="c:cables/W31/length_m"' in answer["page"]
    assert desk.session.state.job.cables["W31"].length_m == 50
    desk.made(do="set", path="cables/W31/length_m", text="45", seen="50")
    desk.made(do="set", path="cables/W31/length_m", text="45", seen="50")
    assert desk.session.state.job.cables["W31"].length_m == 45


def test_blanking_with_spaces_is_one_step(desk: Desk) -> None:
    desk.made(do="set", path="equipment/door-front/label", text="   ")
    assert desk.session.state.job.equipment["door-front"].label == "" and desk.session.stand(by=SOMEBODY.name).back == 1
    desk.made(do="set", path="equipment/door-front/label", text="   ")
    assert desk.session.stand(by=SOMEBODY.name).back == 1


def test_a_page_asked_for_again_takes_in_what_another_program_wrote(desk: Desk) -> None:
    assert "is newer than this sheet" not in desk.page("/kit")
    desk.path.write_text(desk.path.read_text(encoding="utf-8").replace("title: Fennimarch", "title: Thistle"), encoding="utf-8")
    html = desk.page("/kit")
    assert "is newer than this sheet" not in html and "Thistle" in html
    desk.path.write_text("title: [", encoding="utf-8")
    html = desk.page("/kit")
    assert "is newer than this sheet" in html and '<button type="button" data-do="reload">Read the file again</button>' in html


def test_without_a_script_the_sheet_says_what_cannot_be_done(desk: Desk) -> None:
    assert re.search(r"<noscript>.*can be read, but nothing on it can be changed.*</noscript>", desk.page("/wiring"), re.DOTALL)


def test_papers_carry_the_revision_the_command_line_prints(desk: Desk) -> None:
    from hashlib import sha256

    revision = sha256(desk.path.read_bytes()).hexdigest()[:FINGERPRINT]
    html = desk.page("/papers")
    assert f"<b>{revision}</b>" in html
    (address,) = re.findall(r'href="\.(/papers/[^"]*\.pdf)"', html)
    answer = desk.client.get(address)
    assert answer.status_code == 200 and answer.content.startswith(b"%PDF-") and "attachment" in answer.headers["content-disposition"]
    assert desk.client.get("/papers/none.pdf").status_code == 404


def test_no_room_shows_a_key_of_the_file_or_a_counter(desk: Desk) -> None:
    html = desk.page("/kit?open=d:sheets/equipment/oq-c32&open=d:sheets/equipment/pk-dual&open=d:equipment/control")
    shown = re.sub(r"<[^>]*>", " ", html)
    assert shown.lower().count("volts on the open terminals") == 1 and "Live when the system is" in shown
    for words in ("on in", "pull up", "law ", "limit a"):
        assert words not in shown.lower(), words
    assert "<dt>Revision</dt>" not in html


def test_a_run_that_carries_no_supply_shows_no_far_volts(desk: Desk) -> None:
    html = desk.page("/wiring")
    for run, shows in (("W06", False), ("W07", True), ("W31", True)):
        row = re.search(rf'<tr id="row:cables/{run}".*?</tr>', html, re.DOTALL)
        assert row and ('data-open="w:volts/' in row[0]) is shows, run


def test_an_opened_run_shows_what_would_still_do(desk: Desk) -> None:
    html = desk.page("/wiring?open=d:cables/W31&open=d:cables/W30&open=d:cables/W10")
    assert re.search(r"reach-m/W31/sounder-press.supply.*?28\.6", html, re.DOTALL) and "0.5 mm² cable at its present length" in html
    assert "reach-m/W30/sounder-lobby.supply" in html and "58.0" in html
    working = desk.page("/working?key=reach-m/W31/sounder-press.supply")
    assert "28.6 m" in working and "slack" in working


def test_watched_outputs_stand_in_the_wiring_with_their_acts(desk: Desk) -> None:
    section = re.search(r'<section aria-label="Watched outputs".*?</section>', desk.page("/wiring"), re.DOTALL)
    assert section and "end resistor missing" in section[0] and "Control unit, sounders" in section[0]
    assert '<b class="word">rest</b>' in section[0]


def test_headroom_is_said_by_resistance_alone_and_not_beyond_half_a_kilometre(desk: Desk) -> None:
    html = desk.page("/wiring?open=d:circuits/c01&open=d:circuits/c11")
    assert "By resistance alone it reads right with" in html and "and more of its cable" not in html
    assert "added. A leak below" in html
    assert re.search(r">500\.0<span class=\"u\"> m</span></a> more of its cable and more", html)


def test_the_limit_of_the_standby_is_named_as_people_call_it(desk: Desk) -> None:
    html = desk.page("/power")
    assert "limited by Press hall sounder" in html and "sounder-press.supply<" not in html


def test_a_table_without_notes_needs_no_margin(desk: Desk) -> None:
    html = desk.page("/wiring")
    assert re.search(r'class="noted[^"]* bare" id="cables"', html) and not re.search(r'class="noted[^"]* bare" id="loops"', html)


def test_a_length_in_feet_has_one_decimal_and_a_metric_core_stays_metric(tmp_path: Path) -> None:
    desk = Desk(tmp_path, loopwright.demo.text("business").replace("units: metric", "units: us"))
    lengths = re.findall(r'value="([\d.]+)" id="c:cables/\w+/length_m"', desk.page("/wiring"))
    assert len(lengths) > 40 and all(len(text.partition(".")[2]) <= 1 for text in lengths)
    kit = desk.page("/kit")
    assert re.search(r'value="0.22 mm²"[^>]*title="about 24 AWG"', kit) and 'value="about' not in kit
