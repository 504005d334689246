"""Spreadsheet files: what is read of them, what is refused, and what is written, seen by another reader of the format."""

from __future__ import annotations

import io
import os
import tracemalloc
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import xlsxwriter

from loopwright.job.cells import Grid
from loopwright.store.sheetfile import ListError, csv_bytes, grid_of, read_list, xlsx_bytes

ROWS = (("Id", "Length (m)"), ("W01", "12.5"), ("W02", "7"))


def book(fill: Callable[[Any, Any], None], name: str = "runs") -> bytes:
    """Return a workbook whose one sheet is filled by a function."""
    out = io.BytesIO()
    made = xlsxwriter.Workbook(out, {"in_memory": True})
    fill(made, made.add_worksheet(name))
    made.close()
    return out.getvalue()


def altered(raw: bytes, part: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return a workbook with one part changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(raw)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for info in old.infolist():
            data = old.read(info)
            new.writestr(info.filename, change(data) if info.filename == part else data)
    return out.getvalue()


def refused(raw: bytes, name: str = "runs.xlsx", sheet: str | None = None) -> str:
    """Return why a file is refused."""
    with pytest.raises(ListError) as caught:
        grid_of(raw, name, sheet)
    return str(caught.value)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        ("Id,Café\n1,é\n".encode(), ""),
        (b"\xef\xbb\xbf" + "Id,Café\n1,é\n".encode(), ""),
        ("\ufeffId,Café\n1,é\n".encode("utf-16-le"), ""),
        ("\ufeffId,Café\n1,é\n".encode("utf-16-be"), ""),
        ("Id,Café\n1,é\n".encode("cp1252"), "read as Windows-1252"),
    ],
)
def test_encodings_that_are_read(raw: bytes, said: str) -> None:
    grid = grid_of(raw, "runs.csv")
    assert grid.rows == (("Id", "Café"), ("1", "é"))
    assert said in " ".join(grid.notes)
    assert bool(grid.notes) == bool(said)


@pytest.mark.parametrize(
    ("raw", "place"),
    [
        (b"Id,Room\nW01,hall\nW02,caf\x81", "row 3, column B"),
        ("Id,Room\nW01,hall".encode("utf-16-le"), "row 1, column A"),
        (b"\xff\xfeI\x00d\x00\n\x00\x00\xd8A\x00", "row 2, column A"),
        (b"Id,Room\nW01,\x1b[31m", "row 2, column B"),
    ],
)
def test_other_encodings_are_refused_by_row_and_column(raw: bytes, place: str) -> None:
    assert place in refused(raw, "runs.csv")


def test_a_large_file_is_refused_before_it_is_read(tmp_path: Path) -> None:
    file = tmp_path / "large.csv"
    with file.open("wb") as stream:
        os.truncate(stream.fileno(), 1_000_000_000)
    tracemalloc.start()
    with pytest.raises(ListError, match="large.csv: 1000 MB; a list has at most 20 MB"):
        read_list(file)
    assert tracemalloc.get_traced_memory()[1] < 1_000_000
    tracemalloc.stop()


def test_what_is_no_file(tmp_path: Path) -> None:
    for path, words in ((tmp_path, "is a folder"), (tmp_path / "no.csv", "there is no such file"), (Path("a\0b"), "cannot be a file name")):
        with pytest.raises(ListError, match=words):
            read_list(path)
    with pytest.raises(ListError, match="more than 20 MB"):
        read_list(Path("/dev/zero"))


def test_numbers_words_and_units_are_read_as_they_are_shown() -> None:
    def fill(made: Any, page: Any) -> None:
        page.write_row(0, 0, ["a", "b", "c", "d", "e", "f"])
        page.write_number(1, 0, 12)
        page.write_number(1, 1, 0.1 + 0.2)
        page.write_boolean(1, 2, True)
        page.write_number(1, 3, 42, made.add_format({"num_format": '0.0" ft"'}))
        page.write_number(1, 4, 0.05, made.add_format({"num_format": "0%"}))
        page.write_string(1, 5, "007")

    assert grid_of(book(fill), "x").rows[1] == ("12", "0.3", "yes", "42 ft", "5 %", "007")


def test_formulas_are_never_worked_out() -> None:
    def fill(_: Any, page: Any) -> None:
        page.write_row(0, 0, ["a", "b", "c"])
        page.write_formula(1, 0, "=20+22", None, 41)
        page.write_formula(1, 1, "=1/0", None, "#DIV/0!")
        page.write_formula(1, 2, "=1+1", None, "")

    raw = altered(book(fill), "xl/worksheets/sheet1.xml", lambda data: data.replace(b"<f>1+1</f><v></v>", b"<f>1+1</f>"))
    grid = grid_of(raw, "x")
    assert grid.rows[1][0] == "41"
    assert "3 formulas are in the sheet" in grid.notes[0]
    assert "fault of the spreadsheet" in grid.faults[1, 1]
    assert "no value kept" in grid.faults[1, 2]


def test_merged_cells_dates_and_hidden_rows_are_named() -> None:
    def fill(made: Any, page: Any) -> None:
        page.write_row(0, 0, ["a", "b"])
        page.merge_range("A2:A3", "hall")
        page.write_datetime(1, 1, date(2024, 2, 1), made.add_format({"num_format": "d-m"}))
        page.write_string(3, 0, "last")
        page.set_row(3, None, None, {"hidden": True})

    grid = grid_of(book(fill), "x")
    assert "A2:A3 are merged" in grid.faults[1, 0]
    assert "A2:A3 are merged" in grid.faults[2, 0]
    assert "a date stands here" in grid.faults[1, 1]
    assert grid.notes == ("1 hidden row is read with the others.",)


def test_the_first_sheet_that_is_seen_or_the_one_named() -> None:
    out = io.BytesIO()
    made = xlsxwriter.Workbook(out, {"in_memory": True})
    for name in ("lists", "runs", "zones"):
        made.add_worksheet(name).write_string(0, 0, name)
    made.get_worksheet_by_name("runs").activate()
    made.get_worksheet_by_name("runs").set_first_sheet()
    made.get_worksheet_by_name("lists").hide()
    made.close()
    grid = grid_of(out.getvalue(), "x")
    assert (grid.rows, grid.notes) == ((("runs",),), ("Sheet runs was read; not read: zones.",))
    assert grid_of(out.getvalue(), "x", "lists").rows == (("lists",),)
    assert "no sheet called none; there are runs, zones" in refused(out.getvalue(), sheet="none")
    assert "has no sheets" in refused(b"a,b\n", "x.csv", "runs")


BOMBS = {
    "honest": lambda: altered(xlsx_bytes(ROWS, sheet="x"), "xl/sharedStrings.xml", lambda data: data + b" " * 70_000_000),
    "dense": lambda: altered(xlsx_bytes(ROWS, sheet="x"), "xl/sharedStrings.xml", lambda data: data + b" " * 50_000_000),
}


@pytest.mark.parametrize("kind", BOMBS)
def test_a_file_that_unpacks_to_far_more_is_refused(kind: str) -> None:
    raw = BOMBS[kind]()
    assert len(raw) < 200_000
    tracemalloc.start()
    assert "unpacks to" in refused(raw)
    assert tracemalloc.get_traced_memory()[1] < 150_000_000
    tracemalloc.stop()


def test_sizes_that_are_declared_falsely_do_not_help() -> None:
    raw = bytearray(altered(xlsx_bytes(ROWS, sheet="x"), "xl/sharedStrings.xml", lambda data: data + b" " * 90_000_000))
    with zipfile.ZipFile(io.BytesIO(raw)) as packed:
        size = packed.getinfo("xl/sharedStrings.xml").file_size.to_bytes(4, "little")
    while (at := raw.find(size)) >= 0:
        raw[at : at + 4] = (5000).to_bytes(4, "little")
    assert "damaged" in refused(bytes(raw))


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (b'<c r="A3"', b'<c r="XFD1048576"', "row 1048576, column XFD: a list has at most 200 columns"),
        (b'<row r="3"', b'<row r="1048576"', "row 1048576: a list has at most 20000 rows"),
        (b"<worksheet", b'<!DOCTYPE a [<!ENTITY b "cc">]><worksheet', "a document type is declared"),
        (b"</sheetData>", b"<c/>" * 300 + b"</sheetData>", "column GS: a list has at most 200 columns"),
        (b"</worksheet>", b"", "damaged"),
    ],
)
def test_sheets_made_to_do_harm(old: bytes, new: bytes, words: str) -> None:
    assert words in refused(altered(xlsx_bytes(ROWS, sheet="x"), "xl/worksheets/sheet1.xml", lambda data: data.replace(old, new, 1)))


def test_ten_thousand_columns_are_one_plain_message() -> None:
    assert "Row 1: 10000 columns; a list has at most 200" in refused(b"a," * 9999 + b"a", "x.csv")
    wide = book(lambda _, page: page.write_row(0, 0, ["a"] * 10_000))
    assert refused(wide) == "runs.xlsx: row 1, column GS: a list has at most 200 columns and 20000 rows."


@pytest.mark.parametrize("cut", range(0, 4000, 173))
def test_a_file_cut_short_or_damaged_is_refused_or_read(cut: int) -> None:
    raw = xlsx_bytes(ROWS, sheet="runs")
    torn = raw[:cut] + bytes([raw[cut] ^ 0x55]) + raw[cut + 1 :]
    for broken in (raw[: cut + 4], torn):
        try:
            assert isinstance(grid_of(broken, "x"), Grid)
        except ListError as error:
            assert str(error).startswith("x: ")


def test_old_and_locked_workbooks_and_other_archives() -> None:
    assert "old or locked" in refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr("readme.txt", "hello")
    assert "not a workbook" in refused(out.getvalue())


def test_what_is_written_is_plain_text_and_plain_numbers() -> None:
    rows = (("Id", "Length (m)", "Note"), ("W01", "12.5", "=1+1"), ("W02", "007", "+44"), ("W03", "-4", "@sum"))
    page = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(rows, sheet="cables", numbers={1})))["cables"]
    kinds = [[(cell.data_type, cell.value) for cell in line] for line in page.iter_rows()]
    assert kinds[1] == [("s", "W01"), ("n", 12.5), ("s", "=1+1")]
    assert kinds[2] == [("s", "W02"), ("s", "007"), ("s", "+44")]
    assert kinds[3] == [("s", "W03"), ("n", -4), ("s", "@sum")]
    assert csv_bytes(rows).decode("utf-8-sig").splitlines()[1:] == ["W01,12.5,'=1+1", "W02,007,+44", "W03,-4,'@sum"]


def test_the_same_rows_make_the_same_bytes_and_a_text_too_long_is_refused() -> None:
    assert xlsx_bytes(ROWS, sheet="x") == xlsx_bytes(ROWS, sheet="x")
    with pytest.raises(ListError, match="Row 1, column A"):
        xlsx_bytes((("x" * 40_000,),), sheet="x")
