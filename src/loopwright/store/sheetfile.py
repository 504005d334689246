"""Lists as files: CSV, TSV and XLSX from outside into rows of text, and rows of text out as CSV and XLSX.

What comes in may be damaged or made to do harm, so it is measured before it is read. What goes out holds no formula.
"""

from __future__ import annotations

import codecs
import os
from collections.abc import Collection
from datetime import datetime
from io import BytesIO
from pathlib import Path

from loopwright.job.cells import CellsError, Grid, Rows, column_letter, delimited, written
from loopwright.job.tree import NOT_TEXT
from loopwright.store.file import StoreError

MOST_BYTES = 20_000_000
WORKBOOK, OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
MARKS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))
KINDS = (".csv", ".tsv", ".xlsx")
LONGEST_XLSX_CELL = 32_767  # of the format
SAVE_AS = "Save it as XLSX or CSV"


class ListError(StoreError):
    """The file is no list that can be read; the message is one plain sentence."""


def read_list(path: Path, sheet: str | None = None) -> Grid:
    """Return the rows of a file. Raises ListError. A file that is too large is refused before it is read."""
    try:
        with path.open("rb") as stream:
            size = os.fstat(stream.fileno()).st_size
            if size > MOST_BYTES:
                raise ListError(f"{path.name}: {size / 1e6:.0f} MB; a list has at most {MOST_BYTES // 1_000_000} MB.")
            raw = stream.read(MOST_BYTES + 1)
    except IsADirectoryError:
        raise ListError(f"{path.name}: is a folder, not a list.") from None
    except FileNotFoundError:
        raise ListError(f"{path.name}: there is no such file.") from None
    except OSError as error:
        raise ListError(f"{path.name}: cannot be read: {error.strerror or error}.") from None
    except ValueError as error:
        raise ListError(f"{path.name}: cannot be a file name: {error}.") from None
    return grid_of(raw, path.name, sheet)


def grid_of(raw: bytes, name: str, sheet: str | None = None) -> Grid:
    """Return the rows of what a file holds; what it is is seen from its first bytes, whatever its name. Raises ListError."""
    if len(raw) > MOST_BYTES:
        raise ListError(f"{name}: more than {MOST_BYTES // 1_000_000} MB; a list has less.")
    if raw.startswith(OLD_WORKBOOK):
        raise ListError(f"{name}: an old or locked workbook, which is not read here. {SAVE_AS}, without a password.")
    if raw.startswith(WORKBOOK):
        from loopwright.store.workbook import grid_of_workbook

        return grid_of_workbook(raw, name, sheet)
    if sheet is not None:
        raise ListError(f"{name}: a text file has no sheets, so none called {sheet}.")
    text, notes = _text(raw, name)
    try:
        rows = delimited(text, "\t" if name.lower().endswith(".tsv") else None)
    except CellsError as error:
        raise ListError(f"{name}: {error}") from None
    return Grid(rows=rows, notes=notes)


def _text(raw: bytes, name: str) -> tuple[str, tuple[str, ...]]:
    """Return the text and what is to be said of how it was read."""
    mark, encoding = next(((mark, each) for mark, each in MARKS if raw.startswith(mark)), (b"", "utf-8"))
    body = raw[len(mark) :]
    notes: tuple[str, ...] = ()
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        if mark:
            place = _place(body[: error.start].decode(encoding, "replace"))
            raise ListError(f"{name}: {place}: what stands there is not {encoding} text.") from None
        text = _windows_text(body, name)
        notes = (f"{name} is not UTF-8; it was read as Windows-1252 (Western European) text.",)
    stray = NOT_TEXT.search(text)
    if stray:
        hint = " Save the list as CSV UTF-8." if stray.group() == "\0" else ""
        raise ListError(f"{name}: {_place(text[: stray.start()])}: character U+{ord(stray.group()):04X} cannot stand in a list.{hint}")
    return text, notes


def _windows_text(body: bytes, name: str) -> str:
    try:
        return body.decode("cp1252")
    except UnicodeDecodeError as error:
        place = _place(body[: error.start].decode("cp1252", "replace"))
        raise ListError(f"{name}: {place}: what stands there is neither UTF-8 nor Windows-1252 text. Save the list as CSV UTF-8.") from None


def _place(before: str) -> str:
    """Return the row and column a text ends in."""
    lines = before.splitlines() if not before.endswith(("\n", "\r")) else [*before.splitlines(), ""]
    last = lines[-1] if lines else ""
    try:
        cells = delimited(before)[-1] if last else ("",)
        return f"row {max(len(lines), 1)}, column {column_letter(max(len(cells), 1) - 1)}"
    except CellsError:
        return f"row {max(len(lines), 1)}"


def csv_bytes(rows: Rows, delimiter: str = ",") -> bytes:
    """Return the rows as a text file in UTF-8, with the mark by which spreadsheets know it."""
    return codecs.BOM_UTF8 + written(rows, delimiter).encode("utf-8")


def xlsx_bytes(rows: Rows, *, sheet: str, numbers: Collection[int] = ()) -> bytes:
    """Return the rows as a workbook of one sheet: plain texts, and plain numbers in the columns of ``numbers``; never a formula.

    Raises ListError for a text that no cell can hold.
    """
    import xlsxwriter  # type: ignore[import-untyped]

    out = BytesIO()
    plain = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    book = xlsxwriter.Workbook(out, plain)
    book.set_properties({"created": datetime(2000, 1, 1)})  # the same rows make the same bytes
    page = book.add_worksheet(sheet)
    bold = book.add_format({"bold": True})
    for at, row in enumerate(rows):
        for column, text in enumerate(row):
            if len(text) > LONGEST_XLSX_CELL:
                raise ListError(f"Row {at + 1}, column {column_letter(column)}: {len(text)} characters; a cell holds {LONGEST_XLSX_CELL}.")
            if at and column in numbers and (number := _number(text)) is not None:
                page.write_number(at, column, number)
            elif text:
                page.write_string(at, column, text, None if at else bold)
    page.freeze_panes(1, 0)
    widths = [max(len(row[column]) for row in rows if column < len(row)) for column in range(max(map(len, rows), default=0))]
    for column, width in enumerate(widths):
        page.set_column(column, column, min(max(width + 2, 8), 50))
    book.close()
    return out.getvalue()


def _number(text: str) -> float | None:
    """Return the number a text is, when a cell gives back the same text."""
    try:
        number = float(text)
    except ValueError:
        return None
    return number if f"{number:.12g}" == text else None
