"""Reading an XLSX file that nobody vouches for.

Its parts are unpacked here, within bounds and whatever sizes it declares; the one sheet that is read is walked through for its
extent, its formulas and its merged cells; only then are the parts that were measured handed to the reader of the format.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import Any
from xml.parsers import expat

from loopwright.job.cells import LONGEST_CELL, MOST_COLUMNS, MOST_ROWS, Grid, column_letter
from loopwright.store.sheetfile import SAVE_AS, ListError

MOST_UNPACKED, MOST_PARTS, MOST_RATIO, SMALL = 60_000_000, 2_000, 300, 1_000_000
MOST_CELLS = 400_000
MOST_FORMATS, LONGEST_FORMAT = 2_000, 255
MAIN, RELATIONS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"
KEPT = ("[Content_Types].xml", "_rels/.rels", MAIN, RELATIONS, "xl/sharedStrings.xml", "xl/styles.xml")
_PLACE = re.compile(r"\$?([A-Z]{1,3})\$?([1-9][0-9]{0,6})")
_LITERAL = re.compile(r'[#0.,?]+(?:\[[^\]]*\])*\s*(?:"([^"]*)"|\\(.))')
_PERCENTS = frozenset({"9", "10"})


def grid_of_workbook(raw: bytes, name: str, sheet: str | None) -> Grid:
    """Return the rows of one sheet, the first that is not hidden when none is named. Raises ListError."""
    try:
        with zipfile.ZipFile(BytesIO(raw)) as packed:
            infos = _measured(packed, name)
            parts = _unpacked(packed, {part: infos[part] for part in KEPT if part in infos}, name)
            if MAIN not in parts or RELATIONS not in parts:
                raise ListError(f"{name}: not a workbook as XLSX has them. {SAVE_AS}.")
            title, part, others = _chosen(parts, name, sheet)
            if part not in infos:
                raise ListError(f"{name}: the sheet {title} is not in the file.")
            parts |= _unpacked(packed, {part: infos[part]}, name)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError, OSError) as error:
        raise ListError(f"{name}: the file is damaged: {error}.") from None
    walk = _Walk(name, _formats(parts.get("xl/styles.xml", b""), name))
    _parse(parts[part], walk.start, walk.end, name, text=walk.text)
    rows = _cells(parts, title, name)
    notes = tuple(walk.notes()) + ((f"Sheet {title} was read; not read: {', '.join(others[:12])}.",) if others else ())
    texts = tuple(tuple(_text(cell, walk.suffixes.get((at, column), "")) for column, cell in enumerate(row)) for at, row in enumerate(rows))
    long = next(((at, column) for at, row in enumerate(texts) for column, text in enumerate(row) if len(text) > LONGEST_CELL), None)
    if long:
        raise ListError(f"{name}: {_named(*long)}: more than {LONGEST_CELL} characters.")
    dates = {
        (at, column): "a date stands here, as spreadsheets make of 1-2 and the like; write it as text."
        for at, row in enumerate(rows)
        for column, cell in enumerate(row)
        if isinstance(cell, date | time | timedelta)
    }
    return Grid(rows=texts, notes=notes, faults=dates | walk.faults, sheets=(title, *others))


def _measured(packed: zipfile.ZipFile, name: str) -> dict[str, zipfile.ZipInfo]:
    """Return the parts by name, after a look at what the file declares of them."""
    infos = packed.infolist()
    if len(infos) > MOST_PARTS:
        raise ListError(f"{name}: {len(infos)} parts inside; a workbook has at most {MOST_PARTS}.")
    if any(info.flag_bits & 1 for info in infos):
        raise ListError(f"{name}: it is locked with a password. {SAVE_AS}, without one.")
    if sum(info.file_size for info in infos) > MOST_UNPACKED:
        raise ListError(f"{name}: it unpacks to more than {MOST_UNPACKED // 1_000_000} MB; a list is far smaller.")
    found = {info.filename: info for info in infos}
    if len(found) < len(infos):
        raise ListError(f"{name}: two parts inside have one name.")
    return found


def _unpacked(packed: zipfile.ZipFile, infos: dict[str, zipfile.ZipInfo], name: str) -> dict[str, bytes]:
    """Return parts unpacked; however large they turn out, no more than the bound is ever held."""
    parts: dict[str, bytes] = {}
    for part, info in infos.items():
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise ListError(f"{name}: it is packed in a way workbooks are not.")
        room = MOST_UNPACKED - sum(map(len, parts.values()))
        with packed.open(info) as stream:
            data = stream.read(room + 1)
        if len(data) > room or (len(data) > SMALL and len(data) > MOST_RATIO * max(info.compress_size, 1)):
            raise ListError(f"{name}: {part} unpacks to far more than a list holds.")
        parts[part] = data
    return parts


Start = Callable[[str, dict[str, str]], None]


def _parse(data: bytes, start: Start, end: Callable[[str], None] | None, name: str, *, text: Callable[[str], None] | None = None) -> None:
    """Walk through an XML part; one that declares a document type, and so could grow while it is read, is refused."""
    parser = expat.ParserCreate()
    parser.StartElementHandler = lambda tag, attributes: start(tag.rpartition(":")[2], attributes)
    if end is not None:
        parser.EndElementHandler = lambda tag: end(tag.rpartition(":")[2])
    if text is not None:
        parser.CharacterDataHandler = text

    def refuse(*_: object) -> None:
        raise ListError(f"{name}: a document type is declared inside, as no workbook has it.")

    parser.StartDoctypeDeclHandler = refuse
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        raise ListError(f"{name}: the file is damaged: {error}.") from None


def _chosen(parts: dict[str, bytes], name: str, wanted: str | None) -> tuple[str, str, list[str]]:
    """Return the name of the sheet to be read, its part, and the names of the others."""
    targets: dict[str, str] = {}
    sheets: list[tuple[str, str, bool]] = []

    def relation(tag: str, attributes: dict[str, str]) -> None:
        if tag == "Relationship" and attributes.get("Type", "").endswith("/worksheet"):
            target = attributes.get("Target", "")
            targets[attributes.get("Id", "")] = target.lstrip("/") if target.startswith("/") else f"xl/{target}"

    def sheet(tag: str, attributes: dict[str, str]) -> None:
        if tag == "sheet":
            id_ = next((text for key, text in attributes.items() if key.rpartition(":")[2] == "id"), "")
            sheets.append((attributes.get("name", ""), id_, attributes.get("state", "visible") == "visible"))

    _parse(parts[RELATIONS], relation, None, name)
    _parse(parts[MAIN], sheet, None, name)
    readable = [(title, targets[id_], seen) for title, id_, seen in sheets if id_ in targets]
    titles = [title for title, _, seen in readable if seen]
    if wanted is not None and wanted not in (title for title, _, _ in readable):
        raise ListError(f"{name}: there is no sheet called {wanted}; there are {', '.join(titles[:12]) or 'none'}.")
    chosen = next(((title, part) for title, part, seen in readable if (seen if wanted is None else title == wanted)), None)
    if chosen is None:
        raise ListError(f"{name}: there is no sheet in it that is not hidden.")
    return *chosen, [title for title in titles if title != chosen[0]]


def _behind(id_: str, code: str) -> str:
    """Return what a number format writes behind the number."""
    code = code[:LONGEST_FORMAT].partition(";")[0]
    literal = _LITERAL.search(code)
    percent = id_ in _PERCENTS or "%" in code
    return "%" if percent else (literal[1] or literal[2] or "").strip() if literal else ""


def _formats(styles: bytes, name: str) -> list[str]:
    """Return, for each style a cell may have, what its number format writes behind the number: a unit, a per cent sign, or nothing."""
    codes: dict[str, str] = {}
    shown: dict[str, str] = {}
    found: list[str] = []
    inside: list[str] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        inside.append(tag)
        if tag == "numFmt":
            if len(codes) >= MOST_FORMATS:
                raise ListError(f"{name}: more than {MOST_FORMATS} number formats; a list has a handful.")
            codes[attributes.get("numFmtId", "")] = attributes.get("formatCode", "")
        elif tag == "xf" and "cellXfs" in inside:
            id_ = attributes.get("numFmtId", "")
            if id_ not in shown:
                shown[id_] = _behind(id_, codes.get(id_, ""))
            found.append(shown[id_])

    def end(_: str) -> None:
        inside.pop()

    if styles:
        _parse(styles, start, end, name)
    return found


@dataclass(slots=True)
class _Walk:
    """What a walk through a sheet finds, cells counted as the reader of the format counts them."""

    name: str
    formats: list[str]
    row: int = -1
    column: int = -1
    cells: int = 0
    formulas: int = 0
    hidden: int = 0
    suffixes: dict[tuple[int, int], str] = field(default_factory=dict)
    faults: dict[tuple[int, int], str] = field(default_factory=dict)
    has_formula: bool = False
    in_value: bool = False
    wordy: bool = False
    has_value: bool = False

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Take note of an element as it begins."""
        if tag == "row":
            number = attributes.get("r", "")
            self.row = int(number) - 1 if number.isdecimal() and len(number) < 9 else self.row + 1
            self.column = -1
            self.hidden += attributes.get("hidden") in ("1", "true")
            if self.row >= MOST_ROWS:
                raise ListError(f"{self.name}: row {self.row + 1}: a list has at most {MOST_ROWS} rows.")
        elif tag == "c":
            self._cell(attributes)
        elif tag == "f":
            self.has_formula = True
        elif tag in ("v", "is"):
            # A formula that gives words may give none; any other has to have its value between the marks.
            self.in_value, self.has_value = True, tag == "is" or self.wordy
        elif tag == "mergeCell":
            self._merged(attributes.get("ref", ""))

    def end(self, tag: str) -> None:
        """Take note of a cell once it is whole."""
        if tag == "v":
            self.in_value = False
        if tag == "c" and self.has_formula:
            self.formulas += 1
            if not self.has_value:
                self.faults[self.row, self.column] = "the formula here has no value kept with it; formulas are not worked out here."

    def text(self, found: str) -> None:
        """Take note that a value is more than its marks."""
        self.has_value = self.has_value or (self.in_value and bool(found.strip()))

    def _cell(self, attributes: dict[str, str]) -> None:
        self.wordy = attributes.get("t") == "str"
        place = _PLACE.fullmatch(attributes.get("r", ""))
        self.column = _number(place[1]) if place else self.column + 1
        self.row = int(place[2]) - 1 if place else self.row
        self.cells += 1
        if self.column >= MOST_COLUMNS or self.row >= MOST_ROWS:
            where = _named(self.row, self.column)
            raise ListError(f"{self.name}: {where}: a list has at most {MOST_COLUMNS} columns and {MOST_ROWS} rows.")
        if self.cells > MOST_CELLS:
            raise ListError(f"{self.name}: more than {MOST_CELLS} cells; a list is far smaller.")
        self.has_formula = self.has_value = False
        style = attributes.get("s", "")
        if attributes.get("t", "n") == "n" and style.isdecimal() and len(style) < 7 and int(style) < len(self.formats):
            suffix = self.formats[int(style)]
            if suffix:
                self.suffixes[self.row, self.column] = suffix
        if attributes.get("t") == "e":
            self.faults[self.row, self.column] = "a fault of the spreadsheet stands here in place of a value."

    def _merged(self, reference: str) -> None:
        corners = [_PLACE.fullmatch(corner) for corner in reference.partition(":")[::2]]
        first, last = corners
        if first is None or last is None:
            return
        for row in range(int(first[2]) - 1, min(int(last[2]), MOST_ROWS)):
            for column in range(_number(first[1]), min(_number(last[1]) + 1, MOST_COLUMNS)):
                if len(self.faults) < MOST_CELLS:
                    self.faults.setdefault((row, column), f"the cells {reference} are merged; part them and fill in each.")

    def notes(self) -> list[str]:
        """Return what a person should know of the reading."""
        told = []
        if self.formulas:
            many = "1 formula is" if self.formulas == 1 else f"{self.formulas} formulas are"
            told.append(f"{many} in the sheet; the values kept with them were read, nothing was worked out.")
        if self.hidden:
            told.append(f"{self.hidden} hidden row{'s are' if self.hidden > 1 else ' is'} read with the others.")
        return told


def _number(letters: str) -> int:
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - ord("A") + 1
    return number - 1


def _named(row: int, column: int) -> str:
    return f"row {row + 1}, column {column_letter(column)}"


def _cells(parts: dict[str, bytes], title: str, name: str) -> list[list[Any]]:
    """Return the cells of a sheet from the first row and column on, read from the measured parts and no others."""
    from python_calamine import CalamineError, load_workbook

    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_STORED) as again:
        for part, data in parts.items():
            again.writestr(part, data)
    packed.seek(0)
    try:
        with load_workbook(packed) as book:
            return book.get_sheet_by_name(title).to_python(skip_empty_area=False)
    except (CalamineError, OSError, ValueError) as error:
        raise ListError(f"{name}: the file is damaged: {error}.") from None


def _text(cell: object, suffix: str) -> str:
    """Return what a cell says, as its sheet shows it where a number's format adds a unit."""
    if isinstance(cell, str):
        return cell
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float | int):
        shown = f"{cell * 100 if suffix == '%' else cell:.15g}"
        return f"{shown} {suffix}" if suffix else shown
    return cell.isoformat() if isinstance(cell, date | datetime | time) else str(cell)
