"""Laws of lists: what is written out reads back, text for text; a list taken in again changes nothing."""

from __future__ import annotations

from io import BytesIO

import openpyxl
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright import demo
from loopwright.job.cells import Grid, delimited, paste, written
from loopwright.job.edit import SetField, apply
from loopwright.job.list_plan import ListKind
from loopwright.job.listing import number_columns, rows_out, take_in
from loopwright.job.tree import NOT_TEXT
from loopwright.store.sheetfile import csv_bytes, grid_of, xlsx_bytes
from often import often

TEXTS = st.text(max_size=30).filter(lambda text: not NOT_TEXT.search(text))
BITS = [*"=+-@'\",;\t\n\r|0a ", "=1+1", "\r\n", "_x0041_", "é", "\u2028", "<b>", "😀", "{=A1}"]
AWKWARD = st.lists(st.sampled_from(BITS), max_size=6).map("".join)
CELLS = TEXTS | AWKWARD
BUSINESS = demo.text("business")


def ended(rows: tuple[tuple[str, ...], ...]) -> list[list[str]]:
    """Return the rows without empty cells at their ends, and without empty rows at the end."""
    kept = []
    for row in rows:
        cells = list(row)
        while cells and not cells[-1]:
            cells.pop()
        kept.append(cells)
    while kept and not kept[-1]:
        kept.pop()
    return kept


@given(st.lists(st.lists(CELLS, min_size=2, max_size=4).map(tuple), min_size=1, max_size=5).map(tuple), st.sampled_from(",;\t|"))
def test_delimited_text_reads_back(rows: tuple[tuple[str, ...], ...], delimiter: str) -> None:
    assert delimited(written(rows, delimiter), delimiter) == rows


@given(st.text())
def test_any_text_pasted_is_rows_of_its_own_text(text: str) -> None:
    kept = [character for row in paste(text) for cell in row for character in cell if character not in '"\t\r\n']
    assert set(kept) <= set(text)
    if '"' not in text:
        assert kept == [character for character in text if character not in "\t\r\n"]


@settings(max_examples=often(40))
@given(st.lists(st.lists(CELLS, min_size=1, max_size=4).map(tuple), min_size=1, max_size=5).map(tuple))
def test_a_workbook_reads_back_and_holds_no_formula(rows: tuple[tuple[str, ...], ...]) -> None:
    raw = xlsx_bytes(rows, sheet="list", numbers={1})
    assert ended(grid_of(raw, "x").rows) == ended(rows)
    page = openpyxl.load_workbook(BytesIO(raw))["list"]  # the oracle: another reader of the format
    for line in page.iter_rows():
        for cell in line:
            assert cell.data_type in ("s", "n", "inlineStr")
            if cell.data_type == "n" and cell.value is not None:
                assert cell.column == 2


@settings(max_examples=often(7))
@given(CELLS, st.sampled_from(["zones/z04/text", "equipment/control/note", "equipment/control/label", "circuits/c11/note"]))
def test_a_list_taken_in_again_changes_nothing(text: str, path: str) -> None:
    job = apply(BUSINESS, SetField(path, text)).text
    kind = {"zones": ListKind.ZONES, "equipment": ListKind.DEVICES, "circuits": ListKind.CIRCUITS}[path.partition("/")[0]]
    rows = rows_out(job, kind)
    for raw in (csv_bytes(rows), csv_bytes(rows, "\t"), xlsx_bytes(rows, sheet="list", numbers=number_columns(kind))):
        intake = take_in(job, kind, grid_of(raw, "x"))
        assert not intake.problems
        assert (intake.new, intake.changes) == ((), ())
        assert intake.edited is not None
        assert intake.edited.text == job


@settings(max_examples=often(24))
@given(CELLS, CELLS, CELLS)
def test_any_cells_are_taken_or_refused_in_words(one: str, two: str, three: str) -> None:
    rows = (("Id", "To", "Length (m)", "Type"), (one, two, three, "six-core"))
    intake = take_in(BUSINESS, ListKind.CABLES, Grid(rows=rows))
    assert (intake.edited is None) == bool(intake.problems)
    assert all(problem.message for problem in intake.problems)
