"""The difference between two jobs: rows put in, taken out and renamed, fields that say something else, defaults written down."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from enum import StrEnum
from functools import cache
from typing import Any

from loopwright.job.document import Job
from loopwright.job.labels import ROWS
from loopwright.job.renaming import new_names
from loopwright.job.shape import ListShape, MapShape, RecordShape, Shape, job_shape
from loopwright.job.walk import Names, path_with_names, with_names


class Act(StrEnum):
    """What happened to a part of the document."""

    ADDED = "added"
    REMOVED = "removed"
    RENAMED = "renamed"
    CHANGED = "changed"


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One thing that is not the same: ``was`` and ``now`` are values, ``was_said`` and ``is_said`` whether they stood in the text.

    ``path`` is in the later document, ``was_path`` in the earlier one; a row or an entry of a list that is in one only has both alike.
    """

    act: Act
    path: str
    was_path: str
    was: Any = None
    now: Any = None
    was_said: bool = False
    is_said: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """Everything in which a job is not as before. ``names`` are the rows with another name, new by old, by part.

    ``was`` is the job before with its rows under their new names, so that both sides speak of a row alike.
    """

    was: Job
    now: Job
    steps: tuple[Step, ...]
    names: Names = field(default_factory=dict)

    def __bool__(self) -> bool:
        """Return whether anything differs."""
        return bool(self.steps or any(self.names.values()))

    def old_path(self, path: str) -> str:
        """Return what a path was before its rows got new names."""
        return path_with_names(path, {part: {new: old for old, new in found.items()} for part, found in self.names.items()})

    @property
    def rows(self) -> frozenset[str]:
        """Return the path of every row that differs; one that is gone as it was, the rest as they are now."""
        named = (renamed_path(self.now, part, name) for part, found in self.names.items() for name in found.values())
        return frozenset((*(row_of(step.path) for step in self.steps), *named))


def difference(before: Job, after: Job) -> Difference:
    """Return the difference between two jobs."""
    names = new_names(before, after)
    was = with_names(before, names)
    return Difference(was=was, now=after, steps=tuple(_Walk(was, after).steps()), names=names)


def renamed_path(job: Job, part: str, name: str) -> str:
    """Return the path of a row by its part; a room's leads through its storey."""
    if part == "rooms":
        return next((f"storeys/{key}/rooms/{name}" for key, storey in job.storeys.items() if name in storey.rooms), f"rooms/{name}")
    return f"{part}/{name}"


@cache
def row_of(path: str) -> str:
    """Return the row a path stands in: what a person would point at.

    >>> row_of('cables/W31/length_m'), row_of('storeys/ground/rooms/hall/name'), row_of('region/units'), row_of('observations/3/by')
    ('cables/W31', 'storeys/ground/rooms/hall', 'region/units', 'observations/3')
    """
    parts = path.split("/")
    if parts[0] == "storeys" and parts[2:3] == ["rooms"]:
        return "/".join(parts[:4])
    deep = next((len(each.split("/")) for each in ROWS if path.startswith(f"{each}/")), 1)
    return "/".join(parts[: deep + 1])


class _Walk:
    """Walks over both jobs at once, and goes no deeper where nothing differs."""

    def __init__(self, was: Job, now: Job) -> None:
        self.was, self.now = was, now
        # A path and all above it where one text says something and the other is silent.
        self.touched: set[str] = set()
        for path in was.given ^ now.given:
            while path and path not in self.touched:
                self.touched.add(path)
                path = path.rpartition("/")[0]

    def steps(self) -> Iterator[Step]:
        return self._record(job_shape(), self.was, self.now, "", "")

    def _record(self, shape: RecordShape, was: Any, now: Any, was_path: str, path: str) -> Iterator[Step]:  # noqa: ANN401
        lead, was_lead = (f"{each}/" if each else "" for each in (path, was_path))
        for name, declared in shape.fields.items():
            yield from self._value(declared.shape, getattr(was, name), getattr(now, name), f"{was_lead}{name}", f"{lead}{name}")

    def _value(self, shape: Shape, was: Any, now: Any, was_path: str, path: str) -> Iterator[Step]:  # noqa: ANN401
        if was == now and was_path == path and path not in self.touched:
            return
        inner = list(self._inner(shape, was, now, was_path, path))
        yield from inner
        said, is_said = was_path in self.was.given, path in self.now.given
        if not inner and (was != now or said != is_said):
            yield Step(act=Act.CHANGED, path=path, was_path=was_path, was=was, now=now, was_said=said, is_said=is_said)

    def _inner(self, shape: Shape, was: Any, now: Any, was_path: str, path: str) -> Iterator[Step]:  # noqa: ANN401
        match shape:
            case RecordShape() if was is not None and now is not None:
                yield from self._record(shape, was, now, was_path, path)
            case RecordShape() if was is not now:
                yield Step(act=Act.ADDED if was is None else Act.REMOVED, path=path, was_path=was_path, was=was, now=now)
            case MapShape():
                yield from self._mapping(shape, was, now, was_path, path)
            case ListShape() if isinstance(shape.item, RecordShape):
                yield from self._list(shape.item, was, now, was_path, path)
            case _:
                return

    def _mapping(self, shape: MapShape, was: Mapping[str, Any], now: Mapping[str, Any], was_path: str, path: str) -> Iterator[Step]:
        for key, value in was.items():
            if key not in now:
                yield Step(act=Act.REMOVED, path=f"{path}/{key}", was_path=f"{was_path}/{key}", was=value, was_said=True)
        for key, value in now.items():
            if key not in was:
                yield Step(act=Act.ADDED, path=f"{path}/{key}", was_path=f"{was_path}/{key}", now=value, is_said=True)
            else:
                yield from self._value(shape.value, was[key], value, f"{was_path}/{key}", f"{path}/{key}")

    def _list(self, item: RecordShape, was: Sequence[Any], now: Sequence[Any], was_path: str, path: str) -> Iterator[Step]:
        for old, new in aligned(was, now):
            if old is None:
                yield Step(act=Act.ADDED, path=f"{path}/{new}", was_path=f"{was_path}/{new}", now=now[new or 0], is_said=True)
            elif new is None:
                yield Step(act=Act.REMOVED, path=f"{path}/{old}", was_path=f"{was_path}/{old}", was=was[old], was_said=True)
            else:
                yield from self._value(item, was[old], now[new], f"{was_path}/{old}", f"{path}/{new}")


def aligned(was: Sequence[Any], now: Sequence[Any]) -> list[tuple[int | None, int | None]]:
    """Return which entry of one list is which of another; None stands for one that is not there.

    >>> aligned('abd', 'abcd')
    [(0, 0), (1, 1), (None, 2), (2, 3)]
    """
    pairs: list[tuple[int | None, int | None]] = []
    for _, low, high, new_low, new_high in SequenceMatcher(None, was, now, autojunk=False).get_opcodes():
        both = min(high - low, new_high - new_low)
        pairs += [(low + at, new_low + at) for at in range(both)]
        pairs += [(at, None) for at in range(low + both, high)]
        pairs += [(None, at) for at in range(new_low + both, new_high)]
    return pairs
