"""What the columns of a table mean: which of them is which column of a list."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher
from functools import cache
from typing import NamedTuple

from loopwright.job.cells import Rows, column_letter
from loopwright.job.list_plan import ID, LONGEST_HEAD, Column, ListPlan, folded
from loopwright.job.shape import NumberShape
from loopwright.job.tree import shorten
from loopwright.job.unit import worth_of

HEADS_LOOKED_AT = 15
LEAST_LIKENESS = 0.82
_LETTER = re.compile(r"column ([A-Z]{1,3})")
_BRACKETS = re.compile(r"[(\[]([^)\]]{0,80})[)\]]")


class Match(NamedTuple):
    """A column of the table and what it is taken for: ``field`` empty when for nothing, ``unit`` that of its bare numbers."""

    at: int
    head: str
    field: str
    unit: str
    confidence: float

    @property
    def certainty(self) -> str:
        """Return the confidence in a word."""
        if not self.field:
            return "left out"
        return "as told" if self.confidence > 1 else "sure" if self.confidence == 1 else "likely"

    @property
    def named(self) -> str:
        """Return how the column is called in a message."""
        return f"column {column_letter(self.at)}" + (f" ({shorten(self.head)})" if self.head.strip() else "")


class Matching(NamedTuple):
    """Which row is the head, what each column means, and what of the wishes could not be followed."""

    row: int
    columns: tuple[Match, ...]
    problems: tuple[str, ...] = ()

    def of(self, field: str) -> Match | None:
        """Return the column of a field, or None."""
        return next((each for each in self.columns if each.field == field), None)


def propose(plan: ListPlan, rows: Rows, told: Mapping[str, str] | None = None, *, headed: bool = True) -> Matching:
    """Return what each column is taken for. ``told`` gives fields by head or column letter, and goes before what is proposed.

    ``column C`` is always the letter, whatever heads there are. A field may have its unit behind it, in brackets: ``length_m (ft)``;
    an empty one leaves the column out. A table that is not ``headed`` has no row of heads: all its rows are entries.
    """
    head = _head_row(plan, rows) if headed else -1
    heads = _heads(rows, head)
    given, problems = _told(plan, heads, told or {})
    taken = {match.field for match in given.values()}
    likely = [_likely(plan, at, text) for at, text in enumerate(heads) if at not in given and text.strip()]
    found: dict[int, Match] = dict(given)
    for match in sorted((each for each in likely if each.field), key=lambda each: (-each.confidence, _rank(plan, each), each.at)):
        if match.field not in taken:
            taken.add(match.field)
            found[match.at] = match
    columns = tuple(found.get(at) or Match(at, text, "", "", 0.0) for at, text in enumerate(heads) if text.strip() or at in found)
    return Matching(head, columns, tuple(problems))


def _heads(rows: Rows, head: int) -> tuple[str, ...]:
    if head < 0:
        return ("",) * max(map(len, rows), default=0)
    return rows[head] if head < len(rows) else ()


def _rank(plan: ListPlan, match: Match) -> int:
    """Return where a head stands among those of its field: the usual one goes before its other names."""
    column = next(each for each in plan.columns if each.field == match.field)
    names = (folded(column.head), folded(column.field), *column.words)
    words = folded(match.head)
    return names.index(words) if words in names else 0


def _head_row(plan: ListPlan, rows: Rows) -> int:
    """Return the row, among the first, in which most heads are understood; the first that is not empty when none is."""
    first = next((number for number, row in enumerate(rows) if any(cell.strip() for cell in row)), len(rows))
    best, most = first, 0
    for number in range(first, min(len(rows), first + HEADS_LOOKED_AT)):
        known = len({field for text in rows[number] if (field := _known(plan, folded(text)))})
        if known > most:
            best, most = number, known
    return best


def _told(plan: ListPlan, heads: Sequence[str], told: Mapping[str, str]) -> tuple[dict[int, Match], list[str]]:
    fields = [column.field for column in plan.columns]
    found: dict[int, Match] = {}
    problems: list[str] = []
    for head, wish in told.items():
        letter = _LETTER.fullmatch(head)
        at = None if letter else next((number for number, text in enumerate(heads) if folded(text) == folded(head) and text.strip()), None)
        if at is None:
            wanted = letter[1] if letter else head.strip().upper()
            at = next((number for number in range(len(heads)) if column_letter(number) == wanted), None)
        unit = _BRACKETS.search(wish)
        field = _BRACKETS.sub("", wish).strip()
        field = next((column.field for column in plan.columns if field.casefold() in (column.field, column.head.casefold())), field)
        if at is None:
            problems.append(f"There is no column called {shorten(head)}; there are {some(heads)}.")
        elif field and field not in fields:
            problems.append(f"{shorten(field)} is not a field of {plan.many}; there are {', '.join(fields)}.")
        elif field and field in (match.field for match in found.values()):
            problems.append(f"Two columns are to be {field}.")
        elif unit and not _is_unit(plan, field, unit[1]):
            problems.append(f"{shorten(unit[1])} is not a unit of {field}.")
        else:
            words = unit[1] if unit else _unit_in(plan, field, heads[at])
            found[at] = Match(at, heads[at], field, words, 2.0)
    return found, problems


def some(heads: Sequence[str]) -> str:
    """Return the first dozen of some names, for a message."""
    named = [shorten(head) for head in heads if head.strip()]
    return ", ".join(named[:12]) + (", ..." if len(named) > 12 else "") if named else "none"


def _likely(plan: ListPlan, at: int, head: str) -> Match:
    """Return the field a head most likely means."""
    words = folded(head)
    if not words or len(words) > LONGEST_HEAD:
        return Match(at, head, "", "", 0.0)
    best, most = _known(plan, words), 1.0
    if not best:
        best, most = max(((column.field, _likeness(words, column, plan)) for column in plan.columns), key=lambda each: each[1])
    if most < LEAST_LIKENESS:
        return Match(at, head, "", "", 0.0)
    return Match(at, head, best, _unit_in(plan, best, head), most)


def _known(plan: ListPlan, words: str) -> str:
    """Return the field whose head this is, with or without its unit; nothing when no column has such a head."""
    if len(words) > LONGEST_HEAD:
        return ""
    return next((column.field for column in plan.columns if {words, _without_unit(words, column, plan)} & _names(column)), "")


def _likeness(words: str, column: Column, plan: ListPlan) -> float:
    """Return how much a head resembles those of a column: less than 1, which a head that is known is worth."""
    bare = _without_unit(words, column, plan)
    return max(SequenceMatcher(None, bare, name).ratio() for name in _names(column)) * 0.99


@cache
def _names(column: Column) -> frozenset[str]:
    return frozenset((folded(column.head), folded(column.field), *column.words))


def _without_unit(words: str, column: Column, plan: ListPlan) -> str:
    stem, _, last = words.rpartition(" ")
    return re.sub(r" in$", "", stem) if stem and _is_unit(plan, column.field, last) else words


def _is_unit(plan: ListPlan, field: str, written: str) -> bool:
    shape = None if field in (ID, "") else plan.shape_of(field)
    return isinstance(shape, NumberShape) and bool(shape.quantity.unit) and worth_of(written, shape.quantity.unit) is not None


def _unit_in(plan: ListPlan, field: str, head: str) -> str:
    """Return the unit a head names: in brackets, as its last word, or as the head itself; nothing when it names none."""
    bracket = _BRACKETS.search(head)
    last = re.split(r"[\s,/_]+", head.strip())[-1] if head.strip() else ""
    return next((text for text in (bracket[1].strip() if bracket else "", last) if text and _is_unit(plan, field, text)), "")
