"""What comes out of reading a document: the job, the places of its values, and, on the way, problems and references."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any, NamedTuple

from loopwright.job.document import Job
from loopwright.job.tree import Node
from loopwright.values.error import Problem

MOST_PROBLEMS = 500
MOST_HINTS = 60
LONGEST_HINT = 60
MOST_NAMES = 1000
BAD: Any = object()


class Place(NamedTuple):
    """Where a value stands: line and column count from 1, offsets are in characters, the key's are -1 for a list item."""

    line: int
    column: int
    start: int
    end: int
    key_start: int
    key_end: int


class Places(Mapping[str, Place]):
    """The place of every value by its path, worked out when it is asked for."""

    __slots__ = ("_look", "_found")

    def __init__(self, look: Callable[[], Mapping[str, Node]]) -> None:
        """Take what gives the nodes by their path."""
        self._look = look
        self._found: Mapping[str, Node] | None = None

    @property
    def _nodes(self) -> Mapping[str, Node]:
        if self._found is None:
            self._found = self._look()
        return self._found

    def __getitem__(self, path: str) -> Place:
        """Return the place of a value. Raises KeyError when nothing stands there."""
        node = self._nodes[path]
        start, end = (node.key.start, node.key.end) if node.key is not None else (-1, -1)
        return Place(node.line, node.column, node.start, node.last(), start, end)

    def __iter__(self) -> Iterator[str]:
        """Iterate over the paths, in the order of the file."""
        return iter(self._nodes)

    def __len__(self) -> int:
        """Return the number of values."""
        return len(self._nodes)


class Use(NamedTuple):
    """A reference met in the text: ``to`` is what it must be the name of."""

    to: str
    text: str
    path: str
    node: Node


@dataclass(frozen=True, kw_only=True, slots=True)
class Reading:
    """A job that was read, and where in the text each of its values stands."""

    job: Job
    places: Mapping[str, Place]


class Run:
    """What one walk over a document gathers."""

    __slots__ = ("nodes", "uses", "found", "left_out", "kept")

    def __init__(self, *, kept: bool = False) -> None:
        """Start with nothing gathered; ``kept`` is whether what entries were read as before is taken over, places and all."""
        self.kept = kept
        self.nodes: dict[str, Node] = {}
        self.uses: list[Use] = []
        self.found: list[tuple[int, Problem]] = []
        self.left_out = 0

    def refuse(self, node: Node, path: str, message: str, accepted: str = "") -> Any:  # noqa: ANN401 - stands for any value
        """Note a problem and return the mark of a value that could not be read."""
        if len(self.found) < MOST_PROBLEMS:
            self.found.append((node.start, Problem(path=path, line=node.line, column=node.column, message=message, accepted=accepted)))
        else:
            self.left_out += 1
        return BAD

    def hint(self, text: str, names: Iterable[str]) -> str:
        """Return a sentence naming what was probably meant, or nothing; after many problems the search is not worth its time."""
        if len(self.found) >= MOST_HINTS or len(text) > LONGEST_HINT:
            return ""
        close = get_close_matches(text, list(names)[:MOST_NAMES], 1, 0.6)
        return f" Did you mean {close[0]}?" if close else ""

    def problems(self) -> list[Problem]:
        """Return the problems in the order of the file."""
        ordered = [problem for _, problem in sorted(self.found, key=lambda each: each[0])]
        if self.left_out:
            ordered.append(Problem(path="", line=0, column=0, message=f"And {self.left_out} more problems."))
        return ordered
