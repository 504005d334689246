"""A list on the way in, as a page shows it: what every column is taken for, the first rows, and what would come of it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from pydantic import BaseModel, Field

from loopwright.job.cells import Grid, column_letter
from loopwright.job.code_like import code_columns, hidden_head
from loopwright.job.columns import Match, propose
from loopwright.job.document import Job
from loopwright.job.intake import Change, Intake
from loopwright.job.list_plan import ID, ListKind, ListPlan, plan_for
from loopwright.job.listing import take_in
from loopwright.job.shape import NumberShape, Shape
from loopwright.job.speech import plain_words
from loopwright.web.dictionary import choice_key, choices, words_of

MOST_COLUMNS_SHOWN, ROWS_SHOWN, SAMPLES = 60, 6, 3
MOST_TOLD = 60
HIDDEN = "not shown"
_MISSING = re.compile(r"The key (\w+) is missing")
OWN = frozenset({"start", "end"})
"""Fields that are different for every entry, so that one choice for all would be wrong."""
UNITS = {"m": ("m", "ft", "cm", "in"), "Ω": ("Ω", "kΩ"), "°C": ("°C", "°F")}
"""Units a column of bare numbers is offered in; others may stand in its head or its cells."""


class Wishes(BaseModel, extra="forbid"):
    """What was chosen for a list: a field for each column by its letter, what new entries get, which sheet, whether it has heads.

    ``revision`` is the one its outcome was shown for, ``mark`` the name of one taking in, ``guess`` asks which kind of list it is.
    """

    name: str = Field(default="pasted rows", max_length=200)
    told: dict[str, str] = Field(default_factory=dict, max_length=200)
    fill: dict[str, str] = Field(default_factory=dict, max_length=20)
    sheet: str | None = Field(default=None, max_length=200)
    headed: bool | None = None
    guess: bool = False
    revision: int | None = None
    mark: str = Field(default="", max_length=64)


class ShownColumn(NamedTuple):
    """A column of the table: its letter, its head, what stands first in it, and what it is taken for."""

    letter: str
    head: str
    samples: tuple[str, ...]
    field: str
    certainty: str
    unit: str
    units: tuple[str, ...]


class Wanting(NamedTuple):
    """A field that new entries need and no column gives: what it may be, and what was chosen."""

    field: str
    head: str
    choices: tuple[tuple[str, str], ...]
    chosen: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ListView:
    """What a list would do to the job, for a page; ``takeable`` when it can be taken in and changes something."""

    kind: ListKind
    name: str
    intake: Intake
    headed: bool
    sheets: tuple[str, ...]
    columns: tuple[ShownColumn, ...]
    fields: tuple[tuple[str, str], ...]
    wanting: tuple[Wanting, ...]
    rows: tuple[tuple[str, ...], ...]
    row_numbers: tuple[int, ...]
    many_rows: int
    takeable: bool
    heads: Mapping[str, str] = field(default_factory=dict)

    @property
    def changes(self) -> Iterator[tuple[str, str, str, str]]:
        """Yield the first changes: whose, of what, from what, to what."""
        for change in self.intake.changes[:MOST_TOLD]:
            yield (change.id, self._called(change), change.old or "nothing", change.new)

    @property
    def problems(self) -> Iterator[str]:
        """Yield the first problems, each by row and column, in the words of the list's own heads."""
        for problem in self.intake.problems[:MOST_TOLD]:
            missing = _MISSING.match(problem.message)
            words = f"{self.heads.get(missing[1], missing[1])} is missing." if missing else problem.message
            yield str(problem._replace(message=words))

    def _called(self, change: Change) -> str:
        return self.heads.get(change.field, change.field).lower()


def likeliest(grid: Grid, kind: ListKind, job: Job) -> ListKind:
    """Return the kind of list whose heads are understood best; the one given where none is better."""

    def known(each: ListKind) -> int:
        return sum(match.confidence == 1 for match in propose(plan_for(each, job), grid.rows).columns)

    best = max(ListKind, key=known)
    return best if known(best) > known(kind) else kind


def list_view(text: str, job: Job, kind: ListKind, grid: Grid, wishes: Wishes) -> ListView:
    """Return what a list would do to a document; ``job`` is what it says. Raises JobError when the document cannot be read."""
    plan, headed = plan_for(kind, job), wishes.headed
    if headed is None:
        headed = any(match.field for match in propose(plan, grid.rows).columns)
    told = {f"column {letter}": wish for letter, wish in wishes.told.items()}
    fill = {name: given for name, given in wishes.fill.items() if given}
    intake = take_in(text, kind, grid, told=told, fill=fill, headed=headed)
    secret = frozenset(code_columns(grid.rows, intake.matching.row)) if kind is ListKind.USERS else frozenset()
    body = [(number, row) for number, row in enumerate(grid.rows) if number > intake.matching.row and any(cell.strip() for cell in row)]
    columns = tuple(_columns(plan, grid, intake, headed, secret))
    matched = [ord_of(column.letter) for column in columns if column.field]
    return ListView(
        kind=kind,
        name=wishes.name,
        intake=intake,
        headed=headed,
        sheets=grid.sheets,
        columns=columns,
        fields=tuple((column.field, column.head) for column in plan.columns),
        wanting=tuple(_wanting(job, plan, intake, fill)),
        rows=() if secret else tuple(tuple(row[at] if at < len(row) else "" for at in matched) for _, row in body[:ROWS_SHOWN]),
        row_numbers=tuple(number + 1 for number, _ in body[:ROWS_SHOWN]),
        many_rows=len(body),
        takeable=intake.edited is not None and intake.edited.text != text,
        heads={column.field: column.head for column in plan.columns},
    )


def ord_of(letter: str) -> int:
    """Return the number of a column from its letter, the first being 0.

    >>> ord_of("A"), ord_of("AA")
    (0, 26)
    """
    number = 0
    for each in letter:
        number = number * 26 + ord(each) - ord("A") + 1
    return number - 1


def _columns(plan: ListPlan, grid: Grid, intake: Intake, headed: bool, secret: frozenset[int]) -> Iterator[ShownColumn]:
    """Yield every column that holds something, whether it is taken for anything or not; of those that are ``secret`` no cell is shown."""
    matches: dict[int, Match] = {match.at: match for match in intake.matching.columns}
    body = grid.rows[intake.matching.row + 1 :]
    heads = grid.rows[intake.matching.row] if headed and intake.matching.row < len(grid.rows) else ()
    width = max((len(row) for row in grid.rows), default=0)
    shown = 0
    for at in range(width):
        samples = []
        for row in body:
            if at < len(row) and row[at].strip():
                samples.append(row[at].strip())
            if len(samples) == SAMPLES:
                break
        head = heads[at].strip() if at < len(heads) else ""
        if not samples and not head:
            continue
        shown += 1
        if shown > MOST_COLUMNS_SHOWN:
            return
        match = matches.get(at)
        units = _units(plan, match)
        yield ShownColumn(
            letter=column_letter(at),
            head=hidden_head(head) if at in secret else head,
            samples=(HIDDEN,) if at in secret else tuple(samples),
            field=match.field if match else "",
            certainty=match.certainty if match else "left out",
            unit=match.unit if match else "",
            units=units,
        )


def _units(plan: ListPlan, match: Match | None) -> tuple[str, ...]:
    shape = _shape(plan, match.field) if match and match.field else None
    if match is None or not isinstance(shape, NumberShape) or not shape.quantity.unit:
        return ()
    offered = UNITS.get(shape.quantity.unit, (shape.quantity.unit,))
    return offered if match.unit in ("", *offered) else (match.unit, *offered)


def _shape(plan: ListPlan, name: str) -> Shape | None:
    return None if name == ID else plan.shape_of(name)


def _wanting(job: Job, plan: ListPlan, intake: Intake, fill: Mapping[str, str]) -> Iterator[Wanting]:
    """Yield the fields that every entry needs, that are chosen from what the job has, and that no column gives."""
    known = {match.field for match in intake.matching.columns}
    for column in plan.columns[1:]:
        declared = plan.field_of(column.field)
        if not declared.required or column.field in known:
            continue
        offered = [(word, plain_words(word)) for word in words_of(declared.shape)]
        if choice_key(declared.shape) and column.field not in OWN:
            offered = [(key, f"{called} ({key})" if called else key) for key, called in choices(job)[choice_key(declared.shape)]]
        if offered:
            yield Wanting(column.field, column.head, tuple(offered), fill.get(column.field, ""))
