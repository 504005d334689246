"""Lists on screen: what is taken out can be taken in, what is pasted is matched, shown and made in one step, and nothing harms."""

from __future__ import annotations

import io
import json
import re
import warnings
import zipfile
from html import unescape
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import loopwright.demo
from loopwright.job.cells import Grid, column_letter
from loopwright.job.list_plan import LISTS, ListKind
from loopwright.job.listing import rows_out
from loopwright.job.read import read
from loopwright.store.file import JobFile
from loopwright.store.person import Right
from loopwright.web.app import create_app
from loopwright.web.guard import MOST_LISTED, MOST_POSTED
from loopwright.web.list_view import Wishes, list_view, ord_of
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY, Visitor
from often import often

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
READER = Visitor(name="reader", rights=frozenset({Right.READ_JOB}))
MANY_LETTERS = 50_000_000
SMALL = Path(__file__).parents[1].joinpath("job", "sample.yaml").read_text(encoding="utf-8")
SMALL_JOB = read(SMALL).job


class Bench:
    """A workbench that lists are given to."""

    def __init__(self, folder: Path, visitor: Visitor = SOMEBODY) -> None:
        self.path = folder / "job.yaml"
        self.path.write_text(loopwright.demo.text("business"), encoding="utf-8")
        self.session = Session(JobFile(self.path))
        self.client = TestClient(create_app(self.session, token=None, visitor=visitor), base_url=BASE)

    def sent(self, way: str, kind: str, body: bytes | str, **wishes: Any) -> Any:
        raw = body.encode() if isinstance(body, str) else body
        headers = {"Origin": BASE, "X-List-Wishes": json.dumps({"name": "pasted rows.tsv", **wishes})}
        return self.client.post(f"/lists/{kind}/{way}", content=raw, headers=headers)

    def look(self, kind: str, body: bytes | str, **wishes: Any) -> Any:
        answer = self.sent("look", kind, body, **wishes)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def take(self, kind: str, body: bytes | str, mark: str = "once", **wishes: Any) -> Any:
        shown = self.look(kind, body, **wishes)
        answer = self.sent("take", kind, body, revision=shown.get("revision"), mark=mark, **wishes)
        assert answer.status_code == 200, answer.text
        return answer.json()


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """A workbench for what changes nothing."""
    return Bench(tmp_path_factory.mktemp("still"))


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())


TEN = "Device\tWhere it is\tModel\tRoom\r\n" + "".join(f"extra-{n}\tExtra {n}\treed\tShop\r\n" for n in range(10))


@pytest.mark.parametrize(("kind", "ending"), [*((kind, "xlsx") for kind in ListKind), ("cables", "csv"), ("devices", "tsv")])
def test_what_is_taken_out_and_taken_in_again_changes_nothing(still: Bench, kind: ListKind, ending: str) -> None:
    answer = still.client.get(f"/lists/{kind}.{ending}")
    assert answer.status_code == 200 and f'filename="{kind}.{ending}"' in answer.headers["content-disposition"]
    shown = still.look(kind, answer.content, name=f"{kind}.{ending}")
    assert not shown["takeable"] and "0 new, 0 changed" in text_of(shown["html"])


def test_the_rows_for_the_clipboard_are_those_of_the_file(still: Bench) -> None:
    rows = still.client.get("/lists/cables/rows").text
    assert rows.splitlines()[0].split("\t")[:4] == ["Id", "Type", "From", "To"]
    assert len(rows.splitlines()) == len(still.session.state.job.cables) + 1
    assert not still.look("cables", rows)["takeable"]


def test_a_workbook_from_here_opens_elsewhere_and_holds_no_formula(bench: Bench) -> None:
    """openpyxl, which this program does not use, reads the workbook as plain texts and numbers."""
    change = {"do": "set", "path": "equipment/keypad-press/label", "text": "=1+1"}
    assert bench.client.post("/edit", json=change, headers={"Origin": BASE}).json()["problems"] == []
    page = openpyxl.load_workbook(io.BytesIO(bench.client.get("/lists/devices.xlsx").content)).active
    assert page is not None
    cells = [cell for row in page.iter_rows() for cell in row]
    assert "=1+1" in [cell.value for cell in cells] and all(cell.data_type in ("s", "n") for cell in cells)
    assert "'=1+1" in bench.client.get("/lists/devices.csv").text


def test_ten_pasted_devices_are_matched_shown_taken_in_as_one_step_and_undone(bench: Bench) -> None:
    before = bench.path.read_text(encoding="utf-8")
    shown = bench.look("devices", TEN)
    told = text_of(shown["html"])
    assert shown["takeable"] and "10 new, 0 changed, 0 the same" in told
    # A head nobody knows is left out, and said.
    assert "B Where it is" in told and "Left out: column B (Where it is)." in told
    answer = bench.take("devices", TEN, told={"A": "id", "B": "label", "C": "sheet", "D": "room"})
    assert answer == {"taken": "10 new devices, 0 changed, 0 unchanged."}
    job = bench.session.state.job
    assert job.equipment["extra-7"].label == "Extra 7" and job.equipment["extra-7"].room == "shop"
    page = bench.client.get("/kit").text
    assert "Undo: a list of devices" in page
    assert bench.session.revision(bench.session.state.revision).summary == "equipment: a list, 10 new devices, 0 changed, 0 unchanged"
    assert bench.session.undo(by=SOMEBODY.name) == () and bench.path.read_text(encoding="utf-8") == before


def test_what_changes_is_told_from_and_to_before_it_is_made(still: Bench) -> None:
    shown = still.look("cables", "Cable no\tRun length (ft)\nW22\t200\nW31\t190.3\n")
    told = text_of(shown["html"])
    assert "W22 length 41 200 ft" in told and "0 new" in told
    assert 'option selected="selected">ft' in shown["html"] or "<option selected>ft" in shown["html"]


def test_a_column_can_be_taken_for_something_else_or_for_nothing_and_in_another_unit(still: Bench) -> None:
    rows = "Run\tA\tB\nW22\t50\t60\n"
    assert not still.look("cables", rows)["takeable"]
    shown = still.look("cables", rows, told={"A": "id", "B": "", "C": "length_m (ft)"}, headed=True)
    assert "W22 length 41 60 ft" in text_of(shown["html"])
    # Heads that look like the letters of columns do not lead astray: the letter is meant.
    assert still.look("cables", rows, told={"A": "id", "B": "length_m (m)"}, headed=True)["takeable"]


def test_rows_without_headings_are_rows(still: Bench) -> None:
    rows = "W22\t50\nW31\t60\n"
    shown = still.look("cables", rows)
    assert "checked" not in re.search(r'<input type="checkbox" name="headed"[^>]*>', shown["html"])[0]  # type: ignore[index]
    shown = still.look("cables", rows, told={"A": "id", "B": "length_m (m)"}, headed=False)
    assert "0 new, 2 changed" in text_of(shown["html"])


def test_the_kind_of_list_is_seen_from_its_heads_when_asked(still: Bench) -> None:
    assert still.look("devices", "Cable no\tFrom\tTo\tLength\nW99\tcontrol\tdoor-front\t5\n", guess=True)["kind"] == "cables"
    assert still.look("cables", TEN, guess=True)["kind"] == "devices"
    assert still.look("cables", TEN)["kind"] == "cables"


def test_new_entries_ask_for_what_no_column_gives(bench: Bench) -> None:
    rows = "Cable no\tFrom\tTo\tLength (m)\nW99\tcontrol\tdoor-front\t5\n"
    shown = bench.look("cables", rows)
    assert not shown["takeable"] and 'name="fill:sheet"' in shown["html"] and 'name="fill:start"' not in shown["html"]
    assert bench.take("cables", rows, fill={"sheet": "six-core"})["taken"].startswith("1 new run")
    assert bench.session.state.job.cables["W99"].length_m == 5


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("Cable no\tLength (m)\nW22\tfifty\n", "Row 2, column B (Length (m)): 'fifty' is not a number"),
        ("Cable no\tLength (m)\nW22\t1,200\n", "Row 2, column B (Length (m)): '1,200' has a comma, which may mean two things"),
        ("Cable no\tLength (m)\nW22\t1,2,3\n", "Row 2, column B (Length (m)): '1,2,3'"),
        ("Cable no\tTo\nW22\tthe moon\n", "Row 2, column B (To): there is no piece of equipment or joint called the moon"),
        ("Cable no\tLength (m)\nW22\t5\nW22\t6\n", "Row 3"),
        ("Cable no\tFrom\nW99\tcontrol\n", "Row 2: Length is missing."),
        ("Cable no\tLength (m)\nW22\t=A1*2\n", "Row 2, column B (Length (m)): '=A1*2' is not a number"),
    ],
)  # fmt: skip
def test_what_cannot_be_right_is_named_by_row_and_column_and_nothing_is_taken(still: Bench, rows: str, words: str) -> None:
    before = still.session.state.text
    shown = still.look("cables", rows)
    assert words in text_of(shown["html"]) and not shown["takeable"]
    assert "html" in still.take("cables", rows) and still.session.state.text == before


def test_a_formula_and_markup_in_a_name_are_words(bench: Bench) -> None:
    rows = 'Device\tLabel\tModel\nx1\t=HYPERLINK("http://x")\treed\nx2\t<img src=x onerror=alert(1)>\treed\n'
    shown = bench.look("devices", rows)
    assert "<img" not in shown["html"] and "&lt;img" in shown["html"]
    assert bench.take("devices", rows)["taken"].startswith("2 new devices")
    labels = [bench.session.state.job.equipment[name].label for name in ("x1", "x2")]
    assert labels == ['=HYPERLINK("http://x")', "<img src=x onerror=alert(1)>"]
    assert "<img src=x" not in bench.client.get("/kit").text


def book(rows: list[list[Any]], **more: list[list[Any]]) -> bytes:
    made = openpyxl.Workbook()
    page = made.active
    assert page is not None
    page.title = "First"
    for row in rows:
        page.append(row)
    for name, others in more.items():
        other = made.create_sheet(name)
        for row in others:
            other.append(row)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def test_a_workbook_made_elsewhere_is_read_its_other_sheets_are_offered(still: Bench) -> None:
    raw = book([["Cable no", "Length (m)"], ["W22", 55]], Second=[["Cable no", "Length (m)"], ["W31", 9]])
    shown = still.look("cables", raw, name="runs.xlsx")
    assert "W22 length 41 55" in text_of(shown["html"]) and "<option>Second" in shown["html"]
    assert "W31 length" in text_of(still.look("cables", raw, name="runs.xlsx", sheet="Second")["html"])


def test_a_formula_of_a_workbook_is_never_worked_out(still: Bench) -> None:
    shown = still.look("cables", book([["Cable no", "Length (m)"], ["W22", "=5*11"]]), name="runs.xlsx")
    assert not shown["takeable"] and "Row 2, column B (Length (m))" in text_of(shown["html"])


def bomb() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/workbook.xml", b"0" * MANY_LETTERS)
        packed.writestr("xl/_rels/workbook.xml.rels", b"0" * MANY_LETTERS)
    return out.getvalue()


@pytest.mark.parametrize(
    ("raw", "name", "words"),
    [
        (b"", "empty.csv", "nothing stands in it"),
        (b"PK\x03\x04 rubbish", "bad.xlsx", "damaged"),
        (b"\xd0\xcf\x11\xe0 old", "old.xls", "old or locked workbook"),
        (b"Id,Label\nx,\x00y\n", "nul.csv", "row 2, column B"),
        (b"Id,Label\nx,\x81\n", "odd.csv", "neither UTF-8 nor Windows-1252"),
        (b'Id,Label\nx,"open\n', "quote.csv", "a cell in quotes is not closed"),
        (b"%PDF-1.7 \x00\x01", "a.pdf", "cannot stand in a list"),
    ],
)  # fmt: skip
def test_what_is_no_list_is_refused_in_words(still: Bench, raw: bytes, name: str, words: str) -> None:
    assert words in still.look("devices", raw, name=name)["refused"]
    assert words in still.take("devices", raw, name=name)["refused"]


def test_a_workbook_that_unpacks_without_end_is_refused(still: Bench) -> None:
    raw = bomb()
    assert len(raw) < MOST_LISTED
    assert "unpacks to" in still.look("devices", raw, name="bomb.xlsx")["refused"]


def test_windows_text_is_read_as_such_and_said(still: Bench) -> None:
    shown = still.look("devices", "Device;Label;Model\nx1;Büro;reed\n".encode("cp1252"), name="devices.csv")
    assert shown["takeable"] and "Windows-1252" in text_of(shown["html"]) and "Büro" in shown["html"]


def test_a_list_may_be_longer_than_a_change_but_not_without_end(still: Bench) -> None:
    rows = "Cable no\tLength (m)\tRemark\nW22\t50\t" + "x" * 19_000 + "\n"
    long = rows + "".join(f"W31\t{n}\t{'y' * 19_000}\n" for n in range(20))
    assert len(long) > MOST_POSTED
    assert still.sent("look", "cables", long).status_code == 200
    headers = {"Origin": BASE, "Content-Length": str(MOST_LISTED + 1)}
    assert still.client.post("/lists/cables/look", content=b"x", headers=headers).status_code == 413
    assert still.client.post("/edit", content=b"x" * (MOST_POSTED + 1), headers={"Origin": BASE}).status_code == 413


def test_a_list_shown_for_another_revision_is_shown_again_first(bench: Bench) -> None:
    shown = bench.look("devices", TEN)
    change = {"do": "set", "path": "cables/W22/length_m", "text": "44"}
    assert bench.client.post("/edit", json=change, headers={"Origin": BASE}).json()["problems"] == []
    again = bench.sent("take", "devices", TEN, revision=shown["revision"], mark="m").json()
    assert "The job was changed since" in again["html"] and "extra-1" not in bench.session.state.job.equipment
    assert "taken" in bench.sent("take", "devices", TEN, revision=again["revision"], mark="m").json()


def test_the_same_taking_in_sent_twice_is_made_once(bench: Bench) -> None:
    shown = bench.look("devices", TEN)
    first, second = (bench.sent("take", "devices", TEN, revision=shown["revision"], mark="one").json() for _ in range(2))
    assert first == second == {"taken": "10 new devices, 0 changed, 0 unchanged."}


def test_lists_without_a_mark_are_each_taken_in(bench: Bench) -> None:
    said = [bench.take("devices", rows, mark="") for rows in (TEN, TEN.replace("extra-", "further-"))]
    assert said == [{"taken": "10 new devices, 0 changed, 0 unchanged."}] * 2
    assert {"extra-1", "further-1"} <= set(bench.session.state.job.equipment)


def test_who_may_only_read_takes_lists_out_and_none_in(tmp_path: Path) -> None:
    bench = Bench(tmp_path, READER)
    assert bench.client.get("/lists/cables.csv").status_code == 200
    assert bench.sent("look", "devices", TEN).status_code == 403 and bench.sent("take", "devices", TEN).status_code == 403
    assert bench.client.get("/lists/cables.exe").status_code == 404 and bench.client.get("/lists/secrets.csv").status_code == 422


@pytest.mark.parametrize("wishes", ["nonsense", "[]", '{"unknown": 1}', json.dumps({"told": {"A": 5}}), json.dumps({"name": "x" * 300})])
def test_wishes_that_are_none_are_refused(still: Bench, wishes: str) -> None:
    answer = still.client.post("/lists/cables/look", content=b"Id\nx\n", headers={"Origin": BASE, "X-List-Wishes": wishes})
    assert answer.status_code == 400


@given(st.integers(0, 20_000))
def test_a_letter_and_its_number_are_one(number: int) -> None:
    assert ord_of(column_letter(number)) == number


@settings(max_examples=often(10))
@given(
    st.lists(st.lists(st.text(max_size=8), max_size=5), max_size=6),
    st.dictionaries(st.sampled_from("ABCDE"), st.sampled_from(["", "id", "sheet", "length_m", "length_m (ft)", "nonsense", "start"])),
    st.sampled_from([None, True, False]),
)
def test_no_rows_and_no_wishes_break_the_view(rows: list[list[str]], told: dict[str, str], headed: bool | None) -> None:
    grid = Grid(rows=tuple(map(tuple, rows)))
    view = list_view(SMALL, SMALL_JOB, ListKind.CABLES, grid, Wishes(told=told, headed=headed))
    assert view.takeable == (view.intake.edited is not None and bool(view.intake.new or view.intake.changes))
    assert {column.field for column in view.columns} <= {"", *(column.field for column in LISTS[ListKind.CABLES].columns)}


def test_the_head_of_a_list_names_each_column_with_its_unit() -> None:
    assert rows_out(loopwright.demo.text("business"), ListKind.CABLES)[0][4] == "Length (m)"
