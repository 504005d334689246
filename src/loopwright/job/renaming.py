"""Which rows of a job are only called otherwise in another: the same content under another id, what named it following."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from loopwright.job.document import Equipment, Job
from loopwright.job.shape import shape_at
from loopwright.job.walk import PART_SETS, ROOMS, names_used, path_with_names, renamed_value

PARTS = (
    "sheets/equipment", "sheets/batteries", "sheets/cables", "parties", "storeys", ROOMS, "areas", "equipment", "joints", "cables",
    "circuits", "zones", "users", "outputs", "signalling/paths",
)  # fmt: skip
"""The parts whose rows have names, those that are named before those that name them."""
MOST_PAIRS = 40_000
MOST_ROUNDS = 3
ALIKE = 0.6
"""Share of a row's fields that must be the same for a row that was also changed to count as the same one."""

Rows = dict[str, tuple[str, Any]]


def rows_of(job: Job, part: str) -> Rows:
    """Return the rows of a part by name: path and record of each."""
    if part == ROOMS:
        return {key: (f"storeys/{storey}/rooms/{key}", room) for storey, item in job.storeys.items() for key, room in item.rooms.items()}
    holder: Any = job
    for name in part.split("/"):
        holder = getattr(holder, name)
    return {key: (f"{part}/{key}", record) for key, record in holder.items()}


def new_names(before: Job, after: Job) -> dict[str, dict[str, str]]:
    """Return the rows that were given another name, by part: new name by old one. What is in doubt is left out."""
    gone, new = {}, {}
    for part in PARTS:
        old_rows, new_rows = rows_of(before, part), rows_of(after, part)
        gone[part] = {name: row for name, row in old_rows.items() if name not in new_rows}
        new[part] = {name: row for name, row in new_rows.items() if name not in old_rows}
    names: dict[str, dict[str, str]] = {part: {} for part in PARTS}
    names[PART_SETS] = _part_set(before, after)
    if any(gone[part] and new[part] for part in PARTS):
        seek = _Seek(before, after, names)
        for _ in range(MOST_ROUNDS):
            if not sum(seek.pair(part, gone[part], new[part]) for part in PARTS):
                break
        for part in PARTS:
            seek.pair_changed(part, gone[part], new[part])
    return {part: found for part, found in names.items() if found}


class _Seek:
    """Pairs rows that are gone with rows that are new, until nothing more follows from what is paired. The same both ways round."""

    def __init__(self, before: Job, after: Job, names: dict[str, dict[str, str]]) -> None:
        self.names = names
        self.back: dict[str, dict[str, str]] = {part: {new: old for old, new in found.items()} for part, found in names.items()}
        self.was, self.now = _Uses(before), _Uses(after)

    def pair(self, part: str, gone: Rows, new: Rows) -> int:
        """Pair rows of the same content where there is one pair only; return how many pairs were found."""
        if not gone or not new or len(gone) * len(new) > MOST_PAIRS:
            return 0
        fits: dict[tuple[str, str], int] = {}
        for old, row in gone.items():
            moved = self._moved(part, row)
            for name, (_, record) in new.items():
                if record == moved and (standing := self._standing(part, old, name)) is not None:
                    fits[old, name] = min(standing, 1)
        return self._take(part, gone, new, fits)

    def pair_changed(self, part: str, gone: Rows, new: Rows) -> int:
        """Pair rows whose content differs a little, where what named the one names the other."""
        fits = {}
        for old, row in gone.items():
            moved = self._moved(part, row)
            for name in {self.now.at.get((path_with_names(path, self.names), part), "") for path in self.was.of(part, old)} & new.keys():
                if self._standing(part, old, name) and _likeness(moved, new[name][1]) >= ALIKE:
                    fits[old, name] = 1
        return self._take(part, gone, new, fits)

    def _moved(self, part: str, row: tuple[str, Any]) -> Any:  # noqa: ANN401 - a record of any part
        path, record = row
        shape = shape_at(path)
        return record if shape is None else renamed_value(shape, record, path, self.names)

    def _standing(self, part: str, old: str, name: str) -> int | None:
        """Return in how many places the one name stands for the other; None when some other name stands in one of them."""
        then = [self.now.at.get((path_with_names(path, self.names), part)) for path in self.was.of(part, old)]
        before = [self.was.at.get((path_with_names(path, self.back), part)) for path in self.now.of(part, name)]
        if any(each not in (None, name) for each in then) or any(each not in (None, old) for each in before):
            return None
        return then.count(name)

    def _take(self, part: str, gone: Rows, new: Rows, fits: Mapping[tuple[str, str], int]) -> int:
        best: dict[tuple[bool, str], int] = {}
        for (old, name), fit in fits.items():
            for side in ((True, old), (False, name)):
                best[side] = max(best.get(side, 0), fit)
        good = [pair for pair, fit in fits.items() if fit == best[True, pair[0]] == best[False, pair[1]]]
        olds, news = [old for old, _ in good], [name for _, name in good]
        pairs = [(old, name) for old, name in good if olds.count(old) == 1 and news.count(name) == 1]
        for old, name in pairs:
            self.names[part][old], self.back[part][name] = name, old
            del gone[old], new[name]
        return len(pairs)


class _Uses:
    """Where the rows of a job are named: the places of each row, and the row at each place."""

    def __init__(self, job: Job) -> None:
        self.at: dict[tuple[str, str], str] = {}
        self._places: dict[tuple[str, str], list[str]] = {}
        for each in names_used(job):
            self.at[each.path, each.part] = each.name
            self._places.setdefault((each.part, each.name), []).append(each.path)

    def of(self, part: str, name: str) -> list[str]:
        return self._places.get((part, name), [])


def _likeness(one: Any, other: Any) -> float:  # noqa: ANN401
    """Return the share of fields two records have in common; nothing for equipment of another data sheet, which is another thing."""
    if isinstance(one, Equipment) and one.sheet != other.sheet:
        return 0.0
    fields = [each.name for each in dataclasses.fields(one)]
    return sum(1 for name in fields if getattr(one, name) == getattr(other, name)) / len(fields)


def _part_set(before: Job, after: Job) -> dict[str, str]:
    """Return the part set that was given another name, where there is one only and every zone's response followed."""
    old = [name for name in before.programme.part_sets if name not in after.programme.part_sets]
    new = [name for name in after.programme.part_sets if name not in before.programme.part_sets]
    if len(old) != 1 or len(new) != 1 or len(before.programme.part_sets) != len(after.programme.part_sets):
        return {}
    both = before.zones.keys() & after.zones.keys()
    followed = all(before.zones[key].response.get(old[0]) == after.zones[key].response.get(new[0]) for key in both)
    return {old[0]: new[0]} if followed else {}
