"""Kit and readings on record: a sheet from paper has as many rows as it has, factory settings among them; what is in it comes out again."""

from __future__ import annotations

import re
import warnings
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.form import NEXT, form_of
from loopwright.web.session import Session
from loopwright.web.visitor import Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
NOW = datetime(2026, 3, 4, 5, 6, tzinfo=UTC)


class Kit:
    """A workbench whose clock stands still."""

    def __init__(self, folder: Path) -> None:
        path = folder / "job.yaml"
        path.write_text(loopwright.demo.text("business"), encoding="utf-8")
        self.session = Session(JobFile(path))
        app = create_app(self.session, token=None, clock=lambda: NOW, visitor=Visitor(name="J. Pell"))
        self.client = TestClient(app, base_url=BASE)

    def made(self, **change: Any) -> None:
        answer = self.client.post("/edit", json=change, headers={"Origin": BASE})
        assert answer.status_code == 200 and answer.json()["problems"] == [], answer.text

    def page(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, address
        return unescape(str(answer.text))


@pytest.fixture
def kit(tmp_path: Path) -> Kit:
    return Kit(tmp_path)


def test_a_sheet_takes_more_rows_than_its_form_first_offers(kit: Kit) -> None:
    outputs = {f"outputs/#{n}/{name}": text for n in range(9) for name, text in (("#", f"out-{n}"), ("limit_a", "0.5"))}
    row = {"#": "s", "address": "slip ", "default": "off "}
    settings = {f"settings/#{n}/{name}": f"{text}{n}" for n in (0, 2, 3) for name, text in row.items()}
    fields = {"id": "big", "kind": "module", "maker": "Pellowick", "model": "PK-M9", **outputs, **settings}
    kit.made(do="add", path="sheets/equipment", fields=fields)
    sheet = kit.session.state.job.sheets.equipment["big"]
    assert len(sheet.outputs) == 9
    assert {key: item.address for key, item in sheet.settings.items()} == {"s0": "slip 0", "s2": "slip 2", "s3": "slip 3"}


def test_a_discharge_table_is_as_long_as_the_paper(kit: Kit) -> None:
    rows = {f"discharge/{n}/{name}": text for n in range(15) for name, text in (("hours", str(n + 1)), ("current_a", str(7 / (n + 1))))}
    kit.made(do="add", path="sheets/batteries", fields={"id": "b9", "maker": "Pellowick", "model": "B9", "capacity_ah": "7", **rows})
    assert len(kit.session.state.job.sheets.batteries["b9"].discharge) == 15


@pytest.mark.parametrize("what", ["sheets/equipment", "sheets/batteries", "cables", "circuits"])
def test_the_pattern_of_a_further_row_asks_for_what_the_rows_ask_for(kit: Kit, what: str) -> None:
    form = form_of(kit.session.state.job, what)
    assert form is not None
    seen = 0

    def walk(section: Any) -> None:
        nonlocal seen
        if section.pattern is not None:
            seen += 1
            asked = [re.sub(r"(#?)\d+(?=/)", rf"\g<1>{NEXT}", entry.name, count=1) for entry in section.sections[-1].entries]
            assert [entry.name for entry in section.pattern.entries] == asked
            assert section.number == len(section.sections) + 1
        for below in section.sections:
            walk(below)

    walk(form.body)
    assert seen


def test_what_a_sheet_holds_is_put_in_and_taken_out_one_by_one(kit: Kit) -> None:
    path = "sheets/equipment/oq-c32"
    kit.made(do="add", path=f"{path}/settings", fields={"id": "entry-tone", "address": "slip 4", "default": "on"})
    html = kit.page(f"/kit?open=d:{path}")
    assert f'data-path="{path}/settings/entry-tone/address"' in html
    out = re.findall(r'data-do="remove" data-path="([^"]+)"', html)
    assert {f"{path}/settings/entry-tone", f"{path}/loads/board", f"{path}/bus"} <= set(out)
    kit.made(do="remove", path=f"{path}/settings/entry-tone")
    settings = kit.session.state.job.sheets.equipment["oq-c32"].settings
    assert settings and "entry-tone" not in settings


def test_what_is_keyed_for_a_word_is_put_in_corrected_and_taken_out(kit: Kit) -> None:
    where = "sheets/equipment/oq-c32/settings/where"
    kit.made(do="add", path=f"{where}/choices", fields={"id": "yard", "value": "Y"})
    html = kit.page("/kit?open=d:sheets/equipment/oq-c32")
    assert f'data-path="{where}/choices/yard"' in html and f'data-form="{where}/choices"' in html
    assert f'data-tick="{where}/after" value="exit" checked' in html
    kit.made(do="set", path=f"{where}/choices/yard", text="G")
    assert kit.session.state.job.sheets.equipment["oq-c32"].settings["where"].choices["yard"] == "G"
    kit.made(do="remove", path=f"{where}/choices/yard")
    empty = {"do": "add", "path": f"{where}/choices", "fields": {"id": "yard"}}
    answer = kit.client.post("/edit", json=empty, headers={"Origin": BASE})
    assert [each["message"] for each in answer.json()["problems"]] == ["A value is needed."]


def test_the_parts_of_the_kit_fold_and_are_open_without_a_script(kit: Kit) -> None:
    html = kit.page("/kit")
    assert re.findall(r'<details class="fold" id="fold:(\w+)" data-fold open>', html) == ["equipment", "sheets", "batteries", "cables"]
    assert "data-within" in html


def test_readings_stand_on_the_front_sheet_beside_what_they_should_be(kit: Kit) -> None:
    html = kit.page("/")
    row = html[html.index('id="row:observations/0"') :]
    row = row[: row.index("</tr>")]
    assert 'data-open="w:ohm/c11/rest/"' in row and "as forecast" in row and 'value="3.31 kΩ"' in row
    kit.made(do="set", path="observations/0/reading", text="2.7 kΩ")
    assert "not as forecast" in kit.page("/")


def test_a_reading_is_noted_with_its_moment_and_name_and_taken_out_again(kit: Kit) -> None:
    form = kit.page("/form?what=observations&given=c03")
    assert 'name="at" value="2026-03-04 05:06"' in form and 'name="by" value="J. Pell"' in form and 'name="where" value="c03"' in form
    assert '<option value="control.aux-1">' in form
    kit.made(do="add", path="observations", fields={"at": "2026-03-04 05:06", "by": "J. Pell", "where": "c03", "reading": "4.7 kΩ"})
    assert kit.session.state.job.observations[-1].where == "c03"
    assert "the reading at c03" in kit.page("/") or "Undo: putting in" in kit.page("/")
    shown = kit.page("/wiring?open=d:circuits/c03")
    assert "Read: " in shown and 'href="./#row:observations/2"' in shown and 'data-given="c03"' in shown
    kit.made(do="remove", path="observations/2")
    assert len(kit.session.state.job.observations) == 2


def test_other_forms_are_not_filled_in_by_what_a_reading_is_given(kit: Kit) -> None:
    assert 'value="c03"' not in kit.page("/form?what=cables&given=c03")


def test_every_figure_beside_a_reading_has_a_working_of_its_own(kit: Kit) -> None:
    noted = [("control.aux-1", "13 V", "alarm, on battery"), ("control.aux-1", "0.4 A", ""), ("control", "0.8 A", "")]
    noted.append(("W22", "12 V", "set"))
    for where, reading, state in noted:
        fields = {"at": "2026-03-04", "by": "x", "where": where, "reading": reading, "state": state}
        kit.made(do="add", path="observations", fields=fields)
    keys = re.findall(r'href="./working\?key=([^"]+)"', kit.page("/").split('id="readings"')[1])
    assert len(keys) == 6
    for key in keys:
        assert 'class="result"' in kit.page(f"/working?key={key}"), key
