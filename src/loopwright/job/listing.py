"""Lists in and out of the document: devices, cable runs, circuits, zones, users and rooms as rows of text.

A list taken in is compared with the document cell by cell. What differs becomes edits, made in one step and read again: either
the whole list is taken, or nothing, with every problem named by row and column. An empty cell leaves what stands in the document.
"""

from __future__ import annotations

from collections.abc import Mapping

from loopwright.job.cells import Grid, Rows, column_letter
from loopwright.job.cellvalue import (
    Meant,
    Names,
    decimal_commas,
    head_unit,
    is_bare,
    meant,
    names_of,
    same,
    shown,
    with_point,
)
from loopwright.job.code_like import WHY, code_columns, hidden_head
from loopwright.job.columns import Match, Matching, propose
from loopwright.job.document import UnitSystem
from loopwright.job.edit import AddItem, Edited
from loopwright.job.intake import Change, Gathered, Intake, Row
from loopwright.job.list_entry import Entry, Listed, NewStoreys, lies_on_storeys, present
from loopwright.job.list_plan import ID, LISTS, STOREY, ListKind, ListPlan, plan_for
from loopwright.job.read import read
from loopwright.job.row_id import named_rows
from loopwright.job.shape import NumberShape
from loopwright.job.splice import Splices
from loopwright.job.together import apply_together
from loopwright.job.tree import compose, shorten
from loopwright.values.error import JobError

_US_UNITS = ("m", "°C")


def take_in(
    text: str,
    kind: ListKind,
    grid: Grid,
    *,
    told: Mapping[str, str] | None = None,
    fill: Mapping[str, str] | None = None,
    headed: bool = True,
) -> Intake:
    """Return what a list does to a document.

    ``told`` says what columns mean, ``fill`` what new entries get where the list is silent, ``headed`` that it has a row of heads.
    Raises JobError when the document itself cannot be read; what is wrong with the list stands in the result.
    """
    _, root = compose(text)
    job = read(text, tree=root).job
    plan = plan_for(kind, job)
    matching = propose(plan, grid.rows, told, headed=headed)
    found = Gathered()
    for message in matching.problems:
        found.refuse(-1, None, message)
    if kind is ListKind.USERS and (secret := tuple(code_columns(grid.rows, matching.row))):
        matching = matching._replace(columns=tuple(each._replace(head=hidden_head(each.head)) for each in matching.columns))
        return _outcome(_refusing_codes(secret, matching), kind, matching, None, ())
    _say_matching(found, matching, grid)
    rows = _rows_of(found, plan, matching, grid, job.region.units)
    stands = present(root, plan)
    names = names_of(job)
    given = _fill(found, plan, fill or {}, names)
    said = [(row, _meanings(found, plan, matching, row, names)) for row in rows]
    storeys = NewStoreys(job)
    for name, meanings in named_rows(found, plan, matching, said, stands):
        if name in stands:
            _compare(found, matching, name, meanings, stands[name], Listed(plan, job))
        else:
            _add(found, name, {**given, **meanings}, Listed(plan, job), storeys)
    found.edits += storeys.edits
    if storeys.names:
        found.notes.append(f"New storey{'' if len(storeys.names) == 1 else 's'}: {', '.join(storeys.names)}.")
    left = len(stands) - sum(name in stands for name in found.row_of)
    if left and rows:
        found.notes.append(f"{left} {plan.one if left == 1 else plan.many} of the job not in the list; what is not in a list stays.")
    return _outcome(found, kind, matching, _made(found, text, matching), grid.notes)


def _outcome(found: Gathered, kind: ListKind, matching: Matching, edited: Edited | None, notes: tuple[str, ...]) -> Intake:
    rows_refused = {problem.row for problem in found.problems}
    refused = {name for name, row in found.row_of.items() if row in rows_refused}
    return Intake(
        kind=kind,
        matching=matching,
        new=tuple(name for name in found.new if name not in refused),
        changes=tuple(change for change in found.changes if change.id not in refused),
        unchanged=found.unchanged,
        edits=tuple(found.edits),
        notes=(*notes, *found.notes),
        problems=tuple(sorted(found.problems, key=lambda problem: problem[:2])),
        edited=None if found.problems else edited,
    )


def _refusing_codes(secret: tuple[int, ...], matching: Matching) -> Gathered:
    """Return what is found of a table with columns that look like codes: that, and nothing else of it."""
    found, heads = Gathered(), {match.at: match for match in matching.columns}
    for at in secret:
        found.refuse(-1, heads.get(at, Match(at, "", "", "", 0.0)), WHY)
    return found


def _say_matching(found: Gathered, matching: Matching, grid: Grid) -> None:
    if not any(match.field for match in matching.columns):
        found.refuse(-1, None, "No row of heads was found: the first rows name no column that is known. Say what the columns are.")
    left_out = [match.named for match in matching.columns if not match.field]
    if left_out:
        found.notes.append(f"Left out: {', '.join(left_out[:12])}{', ...' if len(left_out) > 12 else ''}.")
    headed = {match.at for match in matching.columns}
    bare = sorted({at for row in grid.rows[matching.row + 1 :] for at, cell in enumerate(row) if at not in headed and cell.strip()})
    if bare:
        named = ", ".join(f"column {column_letter(at)}" for at in bare[:12])
        found.notes.append(f"Left out, for want of a head: {named}{', ...' if len(bare) > 12 else ''}.")


def _rows_of(found: Gathered, plan: ListPlan, matching: Matching, grid: Grid, system: UnitSystem) -> list[Row]:
    """Return the rows under the head, decimal commas turned into points, cells that cannot be used refused."""
    body = list(enumerate(grid.rows))[matching.row + 1 :]
    used = [match for match in matching.columns if match.field]
    commas = {match.field for match in used if _is_number(plan, match.field) and decimal_commas(_column(body, match.at))}
    for match in used:
        if match.field in commas:
            found.notes.append(f"{match.named[:1].upper()}{match.named[1:]} has decimal commas throughout; they are read as such.")
        _check_unit(found, plan, match, body, system)
    rows = []
    for number, row in body:
        faulty = [match for match in used if (number, match.at) in grid.faults]
        for match in faulty:
            found.refuse(number, match, grid.faults[number, match.at])
        cells = {match.field: row[match.at].strip() for match in used if match.at < len(row) and row[match.at].strip()}
        if cells and not faulty:
            rows.append(Row(number, {field: with_point(cell) if field in commas else cell for field, cell in cells.items()}))
    return rows


def _is_number(plan: ListPlan, field: str) -> bool:
    return field != ID and isinstance(plan.shape_of(field), NumberShape)


def _column(body: list[tuple[int, tuple[str, ...]]], at: int) -> list[str]:
    return [row[at].strip() for _, row in body if at < len(row) and row[at].strip()]


def _check_unit(found: Gathered, plan: ListPlan, match: Match, body: list[tuple[int, tuple[str, ...]]], system: UnitSystem) -> None:
    """Say which unit bare numbers are taken in; where people read feet, a head without a unit may mean two things."""
    shape = None if match.field == ID else plan.shape_of(match.field)
    if not isinstance(shape, NumberShape) or not shape.quantity.unit or match.unit:
        return
    if not any(is_bare(with_point(text)) for text in _column(body, match.at)):
        return
    unit = shape.quantity.unit
    if system is UnitSystem.US and unit in _US_UNITS:
        found.refuse(-1, match, f"bare numbers, and the head names no unit. Write {head_unit(shape, system)} or {unit} in it.")
    else:
        found.notes.append(f"{match.named[:1].upper()}{match.named[1:]} names no unit; bare numbers are taken as {unit}.")


def _fill(found: Gathered, plan: ListPlan, fill: Mapping[str, str], names: Names) -> dict[str, Meant]:
    """Return what new entries are to get, by field."""
    given: dict[str, Meant] = {}
    for name, text in fill.items():
        column = next((each for each in plan.columns[1:] if name.casefold() in (each.field, each.head.casefold())), None)
        if column is None:
            known = ", ".join(each.field for each in plan.columns[1:])
            found.refuse(-1, None, f"{shorten(name)} is not a field that can be filled; there are {known}.")
        else:
            try:
                given[column.field] = _meaning(plan, column.field, text.strip(), Match(-1, "", column.field, "", 0.0), names)
            except ValueError as error:
                found.refuse(-1, None, f"{shorten(name)} = {shorten(text)}: {error}")
    return given


def _meanings(found: Gathered, plan: ListPlan, matching: Matching, row: Row, names: Names) -> dict[str, Meant]:
    """Return what the cells of a row say, by field, in the order of the list's columns."""
    meanings: dict[str, Meant] = {}
    for column in plan.columns:
        match, cell = matching.of(column.field), row.cells.get(column.field)
        if match is None or cell is None:
            continue
        try:
            meanings[column.field] = _meaning(plan, column.field, cell, match, names)
        except ValueError as error:
            found.refuse(row.number, match, str(error))
    return meanings


def _meaning(plan: ListPlan, field: str, cell: str, match: Match, names: Names) -> Meant:
    """Return what a cell says; a storey nobody has heard of is a new one. Raises ValueError."""
    if field == ID:
        return cell
    return names.meant("storeys", " ".join(cell.split())) if field == STOREY else meant(plan.shape_of(field), cell, match, names)


def _compare(found: Gathered, matching: Matching, name: str, meanings: Mapping[str, Meant], entry: Entry, listed: Listed) -> None:
    """Note the edits that make an entry say what its row says."""
    found.place(name, entry.path)
    before = len(found.changes)
    for field, new in meanings.items():
        old = None if field == ID else entry.says(field)
        if field == ID or same(listed.plan.field_of(field), old, new):
            continue
        try:
            found.edits += listed.changed(entry, name, field, old, new)
        except ValueError as error:
            found.refuse(found.row_of[name], matching.of(field), str(error))
            continue
        found.changes.append(Change(name, field, _told(old), _told(new)))
    found.unchanged += len(found.changes) == before


def _told(said: Meant | None) -> str:
    return "" if said is None else said if isinstance(said, str) else ", ".join(said)


def _add(found: Gathered, name: str, said: Mapping[str, Meant], listed: Listed, storeys: NewStoreys) -> None:
    """Note the edit that puts in a new entry."""
    entry, part = listed.made(said), listed.plan.part
    if lies_on_storeys(listed.plan):
        storey = str(said.get(STOREY, ""))
        if not storey:
            return found.refuse(found.row_of[name], None, "the storey it lies on is missing.")
        if storey not in listed.job.storeys:
            found.place(name, storeys.put(storey, name, entry))
            return found.new.append(name)
        part = f"{part}/{storey}/rooms"
    found.place(name, f"{part}/{name}")
    found.edits.append(AddItem(part, name, entry))
    found.new.append(name)


def _made(found: Gathered, text: str, matching: Matching) -> Edited | None:
    """Return the text with the edits made and read again; every problem of the reader is noted with its row and column."""
    if not found.edits:
        return Edited(text, Splices(()))
    refused = {(problem.row, problem.at) for problem in found.problems}
    try:
        edited = apply_together(text, found.edits)
        read(edited.text, tree=edited.tree)
    except JobError as error:
        for problem in error.problems:
            row, field = found.row_at(problem.path)
            match = _column_of(field, matching)
            told = f" Accepted: {problem.accepted}." if problem.accepted else ""
            where = "" if row >= 0 and (match or not field) else f"{problem.path}: " if problem.path else ""
            cell = (row, match.at if match else -1)
            known = any(f"The key {each.field} is missing" in problem.message for each in matching.columns if (row, each.at) in refused)
            if cell not in refused and not known:
                found.refuse(row, match, f"{where}{problem.message}{told}")
        return None
    return edited


def _column_of(field: str, matching: Matching) -> Match | None:
    return next((match for match in matching.columns if match.field and f"{field}/".startswith(f"{match.field}/")), None)


def rows_out(text: str, kind: ListKind) -> Rows:
    """Return a list of the document, its head first. Raises JobError when the document cannot be read.

    Taken in again, it changes nothing.
    """
    _, root = compose(text)
    job = read(text, tree=root).job
    plan, system = plan_for(kind, job), job.region.units
    columns = [(column, None if column.field == ID else plan.shape_of(column.field)) for column in plan.columns]
    units = ["" if shape is None else head_unit(shape, system) for _, shape in columns]
    head = tuple(f"{column.head} ({unit})" if unit else column.head for (column, _), unit in zip(columns, units, strict=True))
    rows = [
        tuple(
            name if shape is None else shown(shape, entry.says(column.field), unit)
            for (column, shape), unit in zip(columns, units, strict=True)
        )
        for name, entry in present(root, plan).items()
    ]
    return (head, *rows)


def number_columns(kind: ListKind) -> frozenset[int]:
    """Return which columns of a list written out are numbers."""
    return frozenset(at for at, column in enumerate(LISTS[kind].columns) if _is_number(LISTS[kind], column.field))
