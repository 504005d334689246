"""Rows of text as a spreadsheet has them: from the clipboard, from delimited text, and back into it."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from io import StringIO
from itertools import islice

Rows = tuple[tuple[str, ...], ...]
DELIMITERS = (",", ";", "\t", "|")
MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 20_000, 200, 20_000
_LOOKED_AT = 30
# What a spreadsheet may take for a formula, apostrophes in front of it counted in; a plain number is none.
_LIVE = re.compile(r"'*[=+\-@\t\r]")
_HELD = re.compile(r"'+[=+\-@\t\r]")
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?", re.ASCII)
_LINE_END = re.compile(r"\r\n|\r|\n")
_SEPARATOR_LINE = re.compile(r"sep=(.)(?:\r\n|\r|\n|$)")


@dataclass(frozen=True, kw_only=True, slots=True)
class Grid:
    """The rows of one sheet, numbered from 0 here and from 1 to people.

    ``faults`` says of single cells why what stands there cannot be used; ``notes`` what a person should know of the reading;
    ``sheets`` are those of a workbook, the one that was read first.
    """

    rows: Rows
    notes: tuple[str, ...] = ()
    faults: Mapping[tuple[int, int], str] = field(default_factory=dict)
    sheets: tuple[str, ...] = ()


class CellsError(Exception):
    """The text is no list of rows; the message is one plain sentence that names the row."""


def column_letter(number: int) -> str:
    """Return the name spreadsheets give a column, the first being 0.

    >>> column_letter(0), column_letter(25), column_letter(26), column_letter(16383)
    ('A', 'Z', 'AA', 'XFD')
    """
    name = ""
    number += 1
    while number:
        number, digit = divmod(number - 1, 26)
        name = chr(ord("A") + digit) + name
    return name


def paste(text: str) -> Rows:
    r"""Return the rows of a clipboard text, as spreadsheets put theirs there: tabs between cells, a cell of several lines in quotes.

    Text whose quotes do not close is taken as it stands. Raises CellsError when it is no table that fits.

    >>> paste("From\tTo\r\ncontrol\t\"lounge\nnorth\"\r\n")
    (('From', 'To'), ('control', 'lounge\nnorth'))
    >>> paste("Size\n\"quarter\tinch\n")
    (('Size',), ('"quarter', 'inch'))
    """
    try:
        return _read(text, "\t")
    except CellsError:
        return _sized(tuple(line.split("\t")) for line in _LINE_END.split(text.removesuffix("\n").removesuffix("\r")))


def delimited(text: str, delimiter: str | None = None) -> Rows:
    """Return the rows of a text; without a ``delimiter``, with commas, semicolons, tabs or bars, whichever makes the most even table.

    An apostrophe that keeps a cell from being taken for a formula is taken off. Raises CellsError.

    >>> delimited("run;length\\nW1;3,5\\nW2;4,5\\n")
    (('run', 'length'), ('W1', '3,5'), ('W2', '4,5'))
    """
    said = _SEPARATOR_LINE.match(text)
    if said:
        return ((), *_let_go(_read(text[said.end() :], said[1])))
    chosen = delimiter or max(DELIMITERS, key=lambda each: _evenness(text, each))
    return _let_go(paste(text) if chosen == "\t" else _read(text, chosen))


def delimited_by(text: str, delimiter: str) -> Rows:
    """Return the rows of a text with this delimiter between cells, as they stand. Raises CellsError."""
    return _read(text, delimiter, skip_blanks=True)


def written(rows: Iterable[Sequence[str]], delimiter: str = ",") -> str:
    r"""Return the rows as delimited text, an apostrophe put before what a spreadsheet would take for a formula.

    >>> written([("label", "drop"), ("=1+1", "-0.4")])
    "label,drop\r\n'=1+1,-0.4\r\n"
    """
    out = StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator="\r\n").writerows([_hold(cell) for cell in row] for row in rows)
    return out.getvalue()


def _hold(cell: str) -> str:
    return f"'{cell}" if _LIVE.match(cell) and not _NUMBER.fullmatch(cell) else cell


def _let_go(rows: Rows) -> Rows:
    return tuple(tuple(cell[1:] if _HELD.match(cell) else cell for cell in row) for row in rows)


def _evenness(text: str, delimiter: str) -> tuple[float, int]:
    """Return the share of rows, among the first, that have the usual number of cells, and that number; nothing for one cell."""
    try:
        widths = [len(row) for row in islice(csv.reader(StringIO(text, newline=""), delimiter=delimiter), _LOOKED_AT) if any(row)]
    except csv.Error:
        return (0.0, 0)
    several = [width for width in widths if width > 1]
    if not several:
        return (0.0, 0)
    usual = max(several, key=lambda width: (several.count(width), width))
    return (several.count(usual) / len(widths), usual)


def _read(text: str, delimiter: str, *, skip_blanks: bool = False) -> Rows:
    reader = csv.reader(StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=skip_blanks)
    try:
        return _sized(map(tuple, reader))
    except csv.Error as error:
        raise CellsError(f"Near line {reader.line_num}: a cell in quotes is not closed, or something stands behind it ({error}).") from None


def _sized(rows: Iterable[tuple[str, ...]]) -> Rows:
    """Return the rows, read no further than a list may reach."""
    taken: list[tuple[str, ...]] = []
    for number, row in enumerate(rows, 1):
        if number > MOST_ROWS:
            raise CellsError(f"Row {number}: a list has at most {MOST_ROWS} rows.")
        if len(row) > MOST_COLUMNS:
            raise CellsError(f"Row {number}: {len(row)} columns; a list has at most {MOST_COLUMNS}.")
        long = next((at for at, cell in enumerate(row) if len(cell) > LONGEST_CELL), None)
        if long is not None:
            raise CellsError(f"Row {number}, column {column_letter(long)}: {len(row[long])} characters; a cell has at most {LONGEST_CELL}.")
        taken.append(row)
    return tuple(taken)
