"""Two texts that were made from one, brought together: what only one of them changed is changed, and where both changed a thing it is said.

What clashes is decided on what the texts say, path by path; how it is written comes from the lines of both, so that comments and layout
stay. The merged text is composed again, and must say just what the paths ask for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any, Literal, NamedTuple

from loopwright.job.edit import AddItem, Edit, RemoveItem, SetField, apply, content
from loopwright.job.shape import ListShape, MapShape, shape_at
from loopwright.job.tree import compose
from loopwright.values.error import JobError

Side = Literal["ours", "theirs"]
MOST_ALIKE = 1_000_000
"""Pairs of lines that are alike, up to which the smallest change is searched for."""
APPENDED = frozenset({"observations"})
"""Lists that only ever grow at their end: what two people put in stands there one after the other."""


class Absent:
    """What stands where nothing stands."""

    def __repr__(self) -> str:
        """Return what it is called."""
        return "nothing"


ABSENT = Absent()


class Clash(NamedTuple):
    """A thing both have changed, each in another way: what it was and what each says; ``ABSENT`` where it is not there."""

    path: str
    base: Any
    ours: Any
    theirs: Any


@dataclass(frozen=True, kw_only=True, slots=True)
class Merged:
    """The text both were brought together in; where they clash and no side was to count, it is theirs, untouched."""

    text: str
    clashes: tuple[Clash, ...] = ()


def merged(base: str, ours: str, theirs: str, *, side: Side | None = None) -> Merged:
    """Return both brought together. With a ``side``, what clashes is as that side says.

    Raises JobError when a text cannot be composed, or is written so that the change cannot be made in it.
    """
    if ours == base or ours == theirs:
        return Merged(text=theirs)
    if theirs == base:
        return Merged(text=ours)
    says = [content(compose(text)[1]) for text in (base, ours, theirs)]
    clashes: list[Clash] = []
    wanted = _together(says[0], says[1], says[2], "", side or "theirs", clashes)
    if clashes and side is None:
        return Merged(text=theirs, clashes=tuple(clashes))
    return Merged(text=_written(base, ours, theirs, says[2], wanted), clashes=tuple(clashes))


def _together(base: Any, ours: Any, theirs: Any, path: str, side: Side, clashes: list[Clash]) -> Any:  # noqa: ANN401 - what a text says
    """Return what both together say, noting what clashes."""
    if ours == theirs or ours == base:
        return theirs
    if theirs == base:
        return ours
    shape = shape_at(path)
    if isinstance(ours, dict) and isinstance(theirs, dict):
        if isinstance(base, dict):
            return _maps(base, ours, theirs, path, side, clashes)
        if base is ABSENT and isinstance(shape, MapShape):
            return _maps({}, ours, theirs, path, side, clashes)
    if isinstance(shape, ListShape) and isinstance(ours, list) and isinstance(theirs, list) and isinstance(base, list | Absent):
        found = _lists([] if base is ABSENT and path in APPENDED else base, ours, theirs, path)
        if found is not None:
            return found
    clashes.append(Clash(path, base, ours, theirs))
    return ours if side == "ours" else theirs


def _maps(base: Any, ours: Any, theirs: Any, path: str, side: Side, clashes: list[Clash]) -> dict[str, Any]:  # noqa: ANN401
    made = {}
    for name in dict.fromkeys((*theirs, *ours)):
        below = f"{path}/{name}" if path else name
        value = _together(base.get(name, ABSENT), ours.get(name, ABSENT), theirs.get(name, ABSENT), below, side, clashes)
        if value is not ABSENT:
            made[name] = value
    return made


def _lists(base: Any, ours: Any, theirs: Any, path: str) -> list[Any] | None:  # noqa: ANN401
    """Return both lists together, None when that is not plain: their order was changed, or entries that have one changed on both sides."""
    if base is ABSENT:
        return None
    if path in APPENDED:
        begun = ours[: len(base)] == base == theirs[: len(base)]
        return [*theirs, *ours[len(base) :]] if begun else None
    if any(not isinstance(each, str) for each in (*base, *ours, *theirs)) or not all(_once(base, each) for each in (ours, theirs)):
        return None
    left = [each for each in theirs if each not in base or each in ours]
    return [*left, *(each for each in ours if each not in base and each not in theirs)]


def _once(base: list[str], made: list[str]) -> bool:
    """Return whether a list of words has each once, and those it had before in the order they had."""
    both = [each for each in made if each in base]
    return len(set(made)) == len(made) and both == [each for each in base if each in made]


def _written(base: str, ours: str, theirs: str, says: Any, wanted: Any) -> str:  # noqa: ANN401
    """Return a text that says what is wanted: the lines of both where they keep apart, otherwise theirs with ours edited in."""
    if says == wanted:
        text = _lines(base, ours, theirs)
        return text if text is not None and _says(text, wanted) else theirs
    text = _lines(base, ours, theirs)
    if text is not None and _says(text, wanted):
        return text
    text = theirs
    for edit in steps_between(says, wanted):
        text = apply(text, edit).text
    return text


def _says(text: str, wanted: Any) -> bool:  # noqa: ANN401
    try:
        return bool(content(compose(text)[1]) == wanted)
    except JobError:
        return False


class _Hunk(NamedTuple):
    """Lines put in place of those of the base from ``start`` up to ``end``."""

    start: int
    end: int
    lines: tuple[str, ...]


def _hunks(base: list[str], made: list[str]) -> list[_Hunk]:
    """Return what was changed, as finely as can be found out in bounded time: the rest stands in one piece."""
    least = min(len(base), len(made))
    top = next((at for at in range(least) if base[at] != made[at]), least)
    tail = next((at for at in range(least - top) if base[-1 - at] != made[-1 - at]), least - top)
    old, new = base[top : len(base) - tail], made[top : len(made) - tail]
    if not old and not new:
        return []
    often = Counter(new)
    # The search looks at every pair of lines that are alike: a thousand empty ones against a thousand is a million.
    if sum(many * often[line] for line, many in Counter(old).items()) > MOST_ALIKE:
        return [_Hunk(top, len(base) - tail, tuple(new))]
    found = SequenceMatcher(None, old, new, autojunk=False).get_opcodes()
    return [_Hunk(top + start, top + end, tuple(new[first:last])) for kind, start, end, first, last in found if kind != "equal"]


def _lines(base: str, ours: str, theirs: str) -> str | None:
    """Return the lines of both, None where both changed the same ones."""
    lines = base.splitlines(keepends=True)
    each = (_hunks(lines, text.splitlines(keepends=True)) for text in (ours, theirs))
    made, at = [], 0
    last: _Hunk | None = None
    for hunk in sorted({hunk for side in each for hunk in side}):
        if last is not None and (hunk.start < last.end or hunk.start == last.start):
            return None
        made += [*lines[at : hunk.start], *hunk.lines]
        at, last = hunk.end, hunk
    return "".join([*made, *lines[at:]])


def steps_between(now: Any, wanted: Any, path: str = "") -> Iterator[Edit]:  # noqa: ANN401 - what a text says
    """Yield the edits that make a text that says ``now`` say ``wanted``, in order."""
    if now == wanted:
        return
    if isinstance(now, dict) and isinstance(wanted, dict):
        for name in now:
            if name not in wanted:
                yield RemoveItem(_below(path, name))
        for name, value in wanted.items():
            if name in now:
                yield from steps_between(now[name], value, _below(path, name))
            else:
                yield AddItem(path, name, value)
    elif isinstance(now, list) and isinstance(wanted, list):
        yield from _steps_in_list(now, wanted, path)
    elif isinstance(now, str) and isinstance(wanted, str):
        yield SetField(path, wanted)
    else:
        above, _, name = path.rpartition("/")
        yield from (RemoveItem(path), AddItem(above, name, wanted))


def _steps_in_list(now: list[Any], wanted: list[Any], path: str) -> Iterator[Edit]:
    kept = list(now)
    for number in range(len(now) - 1, -1, -1):
        if now[number] not in wanted and len(kept) > 1:
            yield RemoveItem(_below(path, str(number)))
            del kept[number]
    if wanted[: len(kept)] == kept:
        for each in wanted[len(kept) :]:
            yield AddItem(path, None, each)
        return
    above, _, name = path.rpartition("/")
    yield from (RemoveItem(path), AddItem(above, name, wanted))


def _below(path: str, name: str) -> str:
    return f"{path}/{name}" if path else name


def paths_changed(before: str, after: str) -> tuple[str, ...]:
    """Return where two texts say something else: the fields, and the entries that were put in or taken out. Raises JobError."""
    return tuple(_changed(content(compose(before)[1]), content(compose(after)[1]), ""))


def _changed(before: Any, after: Any, path: str) -> Iterator[str]:  # noqa: ANN401
    if before == after:
        return
    if isinstance(before, dict) and isinstance(after, dict):
        for name in dict.fromkeys((*before, *after)):
            yield from _changed(before.get(name, ABSENT), after.get(name, ABSENT), _below(path, name))
    elif isinstance(before, dict | Absent) and isinstance(after, dict | Absent) and isinstance(shape_at(path), MapShape):
        yield from _changed({} if before is ABSENT else before, {} if after is ABSENT else after, path)
    else:
        yield path
