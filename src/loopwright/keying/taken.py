"""What was found at a unit, taken over into the document: one edit of everything that differs, and what has to stay as it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from hashlib import blake2b
from typing import Any, NamedTuple

from loopwright.job.document import Job
from loopwright.job.edit import AddItem, Edit, InTurn, RemoveField, SetField
from loopwright.job.shape import ListShape, MapShape, RecordShape, shape_at
from loopwright.job.write import Value as Written
from loopwright.keying.found import FoundUnit, Row
from loopwright.keying.row import NAMES, TAKEN_OVER
from loopwright.keying.spot import NO

STATES = ("unset", "full")
PART_SETS = "programme/part_sets"
FIRST_LETTER = {"zones": "z", "areas": "area"}


class Left(NamedTuple):
    """Something found that is not taken over, and why."""

    row: Row
    why: str


@dataclass(frozen=True, kw_only=True, slots=True)
class TakenOver:
    """What taking over changes: the edit, the rows it takes and those it leaves. ``mark`` names exactly this, whoever asks for it."""

    edit: InTurn
    rows: tuple[Row, ...]
    left: tuple[Left, ...]
    mark: str


def taken_over(job: Job, found: FoundUnit) -> TakenOver:
    """Return what was found at a unit as one edit of the document. Areas and zones that it does not have are put in."""
    rows, left = [], []
    for row in found.differences:
        why = _stays(row, found)
        if why:
            left.append(Left(row, why))
        else:
            rows.append(row)
    edits = (*_part_sets(job, rows), *_new_rows(job, rows), *(each for row in rows if row.new is None for each in _edits(job, row)))
    told = "\n".join(f"{row.path}\t{row.value}\t{row.programme}" for row in rows)
    return TakenOver(
        edit=InTurn(edits), rows=tuple(rows), left=tuple(left), mark=blake2b(told.encode(), digest_size=12).hexdigest() if rows else ""
    )


def _stays(row: Row, found: FoundUnit) -> str:
    """Return why something found is not taken over; empty where it is."""
    if row.new is not None:
        part, _ = row.new
        beside = [each for each in found.rows if each.new == row.new]
        if part not in TAKEN_OVER:
            return "put it in by hand: the document has to say more of it than the unit can show"
        if any(each.value == NO and _is_row(each) for each in beside):
            return "the unit does not use it"
        if all(each.factory and not _is_row(each) for each in beside):
            return "all of it is as delivered, so it is taken to be unused"
    elif _is_row(row):
        return "it stands in the document: take it out there, if the unit is right"
    return ""


def _is_row(row: Row) -> bool:
    return isinstance(shape_at(row.path), RecordShape)


def _part_sets(job: Job, rows: list[Row]) -> Iterator[Edit]:
    """Yield the part sets that what zones do names for the first time."""
    named = [row.path.split("/")[3] for row in rows if row.path.startswith("zones/") and row.path.count("/response/") == 1]
    new = [name for name in dict.fromkeys(named) if name not in (*STATES, *job.programme.part_sets)]
    if new and PART_SETS not in job.given:
        yield AddItem("programme", "part_sets", new)
    elif new:
        yield from (AddItem(PART_SETS, None, name) for name in new)


def _new_rows(job: Job, rows: list[Row]) -> Iterator[Edit]:
    """Yield the areas and zones put in, areas first: a zone of a system with one area lies in it."""
    found = dict.fromkeys(row.new for row in rows if row.new is not None)
    areas = list(job.areas)
    for part, number in sorted(found):
        name = _free(getattr(job, part), f"{FIRST_LETTER[part]}{number:02d}" if part == "zones" else f"{FIRST_LETTER[part]}-{number}")
        entry: dict[str, Any] = {}
        for row in rows:
            if row.new == (part, number) and not _is_row(row):
                _put(entry, row.path.split("/")[2:], _written(job, row))
        words = f"{NAMES[part].capitalize()} {number}"
        if part == "areas":
            areas.append(name)
            yield AddItem(part, name, {"name": words, **entry})
        else:
            lies: dict[str, Any] = {"areas": areas} if len(areas) == 1 else {}
            yield AddItem(part, name, {"number": number, "text": words, **lies, **entry})


def _free(taken: Mapping[str, object], name: str) -> str:
    return name if name not in taken else next(f"{name}-{n}" for n in range(2, len(taken) + 3) if f"{name}-{n}" not in taken)


def _put(entry: dict[str, Any], names: list[str], value: Written) -> None:
    for name in names[:-1]:
        entry = entry.setdefault(name, {})
    entry[names[-1]] = value


def _edits(job: Job, row: Row) -> Iterator[Edit]:
    """Yield what writes one value; a list or a mapping is written whole, in place of the one there is."""
    value = _written(job, row)
    if isinstance(value, str):
        yield SetField(row.path, value)
        return
    above, _, name = row.path.rpartition("/")
    if row.path in job.given:
        yield RemoveField(row.path)
    yield AddItem(above, name, value)


def _written(job: Job, row: Row) -> Written:
    """Return a value as the document has it: a number with its unit, what a zone does by its states."""
    shape = shape_at(row.path)
    if isinstance(shape, ListShape) and isinstance(row.value, tuple):
        return list(row.value)
    if isinstance(shape, MapShape) and isinstance(row.value, str):
        return dict(zip((*STATES, *job.programme.part_sets), row.value.split("_"), strict=False))
    return row.found if isinstance(row.value, float) else str(row.value)
