"""The latest results of pure functions, so that what an edit leaves as it was is not computed again.

A result is taken again only where every argument it came from is equal, compared in full and not by a digest; a function whose result
depends on anything else must not be kept so.
"""

from __future__ import annotations

from collections.abc import Hashable
from typing import Generic, TypeVar

V = TypeVar("V")


class Recent(Generic[V]):
    """Results by name and arguments: for each name the latest few, and no more than so many names, the longest unused leaving first.

    >>> kept = Recent[int](most_names=10)
    >>> kept.put("square", (3,), 9)
    >>> kept.find("square", (3,)), kept.find("square", (4,))
    (9, None)
    """

    def __init__(self, *, most_names: int, each: int = 2) -> None:
        """Keep nothing yet."""
        self._rows: dict[Hashable, tuple[tuple[tuple[object, ...], V], ...]] = {}
        self._most_names, self._each = most_names, each

    def find(self, name: Hashable, arguments: tuple[object, ...]) -> V | None:
        """Return the result for equal arguments, or None."""
        for known, value in self._rows.get(name, ()):
            if known == arguments:
                return value
        return None

    def put(self, name: Hashable, arguments: tuple[object, ...], value: V) -> None:
        """Keep a result. Whoever else does so at the same time may undo it, which costs time and nothing more."""
        before = self._rows.pop(name, ())
        self._rows[name] = ((arguments, value), *before)[: self._each]
        if len(self._rows) > self._most_names:
            for longest_unused in list(self._rows)[: -self._most_names]:
                self._rows.pop(longest_unused, None)

    def clear(self) -> None:
        """Forget everything."""
        self._rows.clear()
