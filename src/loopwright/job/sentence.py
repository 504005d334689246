"""The difference between two jobs as a person would tell it: one sentence a row, many alike in one sentence."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

from loopwright.job.clause import Clause, Teller
from loopwright.job.difference import Act, Difference, Step, renamed_path, row_of
from loopwright.job.labels import ROWS
from loopwright.job.speech import listed, several
from loopwright.job.walk import names_used, part_of

FEW = 3
"""Rows put in, taken out or renamed up to which each gets a sentence of its own."""
ALIKE = 3
"""Rows changed in the same way from which one sentence speaks for all."""
SAME_FIELD = 6
"""Rows changed in the same one field from which one sentence speaks for all, whatever each of them says."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Sentence:
    """One sentence: ``rows`` are the rows it speaks of, ``paths`` every place it covers, in the earlier and the later document."""

    act: Act
    words: str
    rows: tuple[str, ...]
    paths: tuple[str, ...]


class _Row(NamedTuple):
    """A row that was changed, and what is said of it."""

    path: str
    clauses: tuple[Clause, ...]
    steps: tuple[Step, ...]


def sentences(found: Difference) -> tuple[Sentence, ...]:
    """Return a difference in sentences: what was put in, taken out, renamed, changed, each in the order of the document."""
    teller = Teller(found)
    whole = [step for step in found.steps if _is_row(step.path) and step.act in (Act.ADDED, Act.REMOVED)]
    moved = list(_moved_rooms(found, teller, whole))
    told = {path for each in moved for path in each.paths}
    left = [step for step in whole if step.path not in told]
    added = [step for step in left if step.act is Act.ADDED]
    hops = _hops_to(found, added)
    absorbed = {id(step) for steps in hops.values() for step in steps} if len(_of(added, "equipment")) <= FEW else set()
    rows = _rows(found, teller, [step for step in found.steps if not _is_row(step.path) or step.act is Act.CHANGED], absorbed)
    return (
        *_whole(found, teller, added, hops if absorbed else {}),
        *_whole(found, teller, [step for step in left if step.act is Act.REMOVED], {}),
        *_renamed(found, teller),
        *moved,
        *_changed(found, teller, rows),
    )


def _is_row(path: str) -> bool:
    part, _, _ = path.rpartition("/")
    return row_of(path) == path and (part_of(part) == "rooms" or part in ROWS or part == "observations")


def _part(path: str) -> str:
    return part_of(row_of(path).rpartition("/")[0])


def _of(steps: Iterable[Step], part: str) -> list[Step]:
    return [step for step in steps if _part(step.path) == part]


def _paths(found: Difference, steps: Iterable[Step]) -> tuple[str, ...]:
    every = [path for step in steps for path in (step.path, step.was_path, found.old_path(step.was_path))]
    return tuple(dict.fromkeys(every))


def _whole(found: Difference, teller: Teller, steps: list[Step], hops: dict[str, list[Step]]) -> Iterator[Sentence]:
    """Yield what is said of rows that are in one of the jobs only."""
    for part in dict.fromkeys(_part(step.path) for step in steps):
        of_part = _of(steps, part)
        if len(of_part) <= FEW:
            for step in of_part:
                further = hops.get(step.path.rpartition("/")[2], []) if part == "equipment" else []
                rows = tuple(dict.fromkeys((step.path, *(row_of(each.path) for each in further))))
                words = teller.whole(step, further)
                yield Sentence(act=step.act, words=words, rows=rows, paths=_paths(found, [step, *further]))
            continue
        done = "added" if of_part[0].act is Act.ADDED else "taken out"
        names = listed(teller.name(step) for step in of_part)
        rows = tuple(step.path for step in of_part)
        words = f"{several(part, len(of_part))} {done}: {names}."
        yield Sentence(act=of_part[0].act, words=words, rows=rows, paths=_paths(found, of_part))


def _hops_to(found: Difference, added: list[Step]) -> dict[str, list[Step]]:
    """Return the steps of circuits that only reach equipment which was put in, by that equipment."""
    new = {step.path.removeprefix("equipment/") for step in _of(added, "equipment")}
    hops: dict[str, list[Step]] = {}
    for step in found.steps:
        parts = step.path.split("/")
        if step.act is Act.ADDED and parts[0] == "circuits" and parts[2:3] == ["path"] and len(parts) == 4 and step.now.device in new:
            hops.setdefault(step.now.device, []).append(step)
    return hops


def _moved_rooms(found: Difference, teller: Teller, whole: list[Step]) -> Iterator[Sentence]:
    """Yield the rooms that are in another storey now."""
    gone = {step.path.rpartition("/")[2]: step for step in _of(whole, "rooms") if step.act is Act.REMOVED}
    for step in _of(whole, "rooms"):
        old = gone.get(step.path.rpartition("/")[2])
        if step.act is Act.ADDED and old is not None and old.was == step.now:
            words = teller.moved_room(old, step)
            yield Sentence(act=Act.CHANGED, words=words, rows=(old.path, step.path), paths=_paths(found, [old, step]))


def _renamed(found: Difference, teller: Teller) -> Iterator[Sentence]:
    used: dict[tuple[str, str], list[str]] = {}
    for each in names_used(found.now) if found.names else ():
        used.setdefault((each.part, each.name), []).append(each.path)
    for part, names in found.names.items():
        told = [(old, new, renamed_path(found.now, part, new)) for old, new in names.items()]
        for group in [told] if len(told) > FEW else [[each] for each in told]:
            paths = [path for _, new, row in group for path in (row, found.old_path(row), *used.get((part, new), ()))]
            if part == "programme/part_sets":
                paths.append(part)
            yield Sentence(
                act=Act.RENAMED,
                words=teller.renamed(part, [(old, new) for old, new, _ in group]),
                rows=tuple(row for _, _, row in group),
                paths=tuple(dict.fromkeys((*paths, *(found.old_path(path) for path in paths)))),
            )


def _rows(found: Difference, teller: Teller, steps: list[Step], absorbed: set[int]) -> list[_Row]:
    grouped: dict[str, list[Step]] = {}
    for step in steps:
        if id(step) not in absorbed:
            grouped.setdefault(row_of(step.path), []).append(step)
    return [_Row(path, tuple(teller.clause(step) for step in own), tuple(own)) for path, own in grouped.items()]


def _changed(found: Difference, teller: Teller, rows: list[_Row]) -> Iterator[Sentence]:
    """Yield what is said of rows that were changed; those changed alike in one sentence."""
    alike: dict[Any, list[_Row]] = {}
    fields: dict[Any, list[_Row]] = {}
    for row in rows:
        alike.setdefault(_manner(row), []).append(row)
        fields.setdefault(_field(row), []).append(row)
    said: set[str] = set()
    for row in rows:
        if row.path in said:
            continue
        same, field = alike[_manner(row)], [each for each in fields[_field(row)] if each.path not in said]
        if len(same) >= ALIKE and _is_row(row.path):
            group, words = same, teller.alike(_part(row.path), [each.path for each in same], row.clauses)
        elif len(field) >= SAME_FIELD and len(row.clauses) == 1 and _is_row(row.path):
            group, words = field, teller.same_field(_part(row.path), [(each.path, each.clauses[0]) for each in field])
        else:
            group, words = [row], teller.row(row.path, row.clauses)
        said.update(each.path for each in group)
        steps = [step for each in group for step in each.steps]
        yield Sentence(act=Act.CHANGED, words=words, rows=tuple(each.path for each in group), paths=_paths(found, steps))


def _manner(row: _Row) -> tuple[str, ...]:
    """Return what rows changed in the same way have in common."""
    return (
        _part(row.path),
        *(f"{step.act}{step.path.removeprefix(row.path)}" for step in row.steps),
        *(each.plain for each in row.clauses),
    )


def _field(row: _Row) -> tuple[str, ...]:
    """Return what rows changed in the same one field have in common; a row with more stands for itself."""
    if len(row.steps) != 1 or not row.clauses[0].label:
        return (row.path,)
    return (_part(row.path), row.steps[0].path.removeprefix(row.path))
