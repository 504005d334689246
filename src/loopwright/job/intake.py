"""What comes of a list that is taken in: what is new, what changes, and what is wrong with it, by row and column."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from loopwright.job.cells import column_letter
from loopwright.job.columns import Match, Matching
from loopwright.job.edit import Edited
from loopwright.job.list_plan import LISTS, ListKind
from loopwright.job.together import Part
from loopwright.job.tree import shorten

MOST_TOLD = 3


class RowProblem(NamedTuple):
    """What is wrong with a list: ``row`` and ``at`` (the column) count from 0, -1 where it is not one row's or one column's."""

    row: int
    at: int
    head: str
    message: str

    def __str__(self) -> str:
        """Return the problem as one line for a person."""
        place = [f"row {self.row + 1}"] if self.row >= 0 else []
        if self.at >= 0:
            place.append(f"column {column_letter(self.at)}" + (f" ({shorten(self.head)})" if self.head.strip() else ""))
        words = f"{', '.join(place)}: {self.message}" if place else self.message
        return words[:1].upper() + words[1:]


class Change(NamedTuple):
    """A field of an entry that gets another value; ``old`` is empty where nothing stood."""

    id: str
    field: str
    old: str
    new: str

    def __str__(self) -> str:
        """Return the change as a person would tell it."""
        name = re.sub(r"_(m|c|ohm)$", "", self.field.rpartition("/")[2]).replace("_", " ")
        return f"{self.id} {name} {shorten(self.old) or 'nothing'} → {shorten(self.new)}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Intake:
    """What a list does to a document. ``edited`` is the new text, None when anything is wrong; nothing is then to be taken."""

    kind: ListKind
    matching: Matching
    new: tuple[str, ...]
    changes: tuple[Change, ...]
    unchanged: int
    edits: tuple[Part, ...]
    notes: tuple[str, ...]
    problems: tuple[RowProblem, ...]
    edited: Edited | None

    @property
    def sentence(self) -> str:
        """Return what comes of the list: ``12 new runs, 3 changed (W07 length 42 → 60), 1 refused``."""
        plan = LISTS[self.kind]
        parts = [f"{len(self.new)} new {plan.one if len(self.new) == 1 else plan.many}"]
        ids = len({change.id for change in self.changes})
        told = "; ".join(str(change) for change in self.changes[:MOST_TOLD]) + ("; ..." if len(self.changes) > MOST_TOLD else "")
        parts.append(f"{ids} changed" + (f" ({told})" if told else ""))
        parts.append(f"{self.unchanged} unchanged")
        refused = len({problem.row for problem in self.problems if problem.row >= 0})
        if self.problems:
            parts.append(f"{refused} refused" if refused else "the list refused")
        return ", ".join(parts)


class Row(NamedTuple):
    """One row: the cell of each matched field that is not empty."""

    number: int
    cells: Mapping[str, str]


class Gathered:
    """What is found on the way through a list."""

    def __init__(self) -> None:
        self.problems: list[RowProblem] = []
        self.notes: list[str] = []
        self.edits: list[Part] = []
        self.new: list[str] = []
        self.changes: list[Change] = []
        self.unchanged = 0
        self.row_of: dict[str, int] = {}
        self._id_at: dict[str, str] = {}

    def refuse(self, row: int, match: Match | None, message: str) -> None:
        """Note a problem of a cell, or of a whole row."""
        at, head = (match.at, match.head) if match is not None else (-1, "")
        self.problems.append(RowProblem(row, at, head, message))

    def place(self, name: str, path: str) -> None:
        """Note where an entry stands, or will stand."""
        self._id_at[path] = name

    def row_at(self, path: str) -> tuple[int, str]:
        """Return the row whose entry a place of the document belongs to, -1 for none, and the field within it."""
        names = path.split("/")
        for long in range(len(names), 0, -1):
            name = self._id_at.get("/".join(names[:long]))
            if name is not None:
                return self.row_of.get(name, -1), "/".join(names[long:])
        return -1, path
