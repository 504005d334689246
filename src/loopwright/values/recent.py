"""The latest results of pure functions, so that what an edit leaves as it was is not computed again.

A result is taken again only where every argument it came from is equal, compared in full and not by a digest; a function whose result
depends on anything else must not be kept so.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from threading import Lock
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
        self._rows: OrderedDict[Hashable, tuple[tuple[tuple[object, ...], V], ...]] = OrderedDict()
        self._most_names, self._each, self._lock = most_names, each, Lock()

    def find(self, name: Hashable, arguments: tuple[object, ...]) -> V | None:
        """Return the result for equal arguments, or None."""
        for known, value in self._rows.get(name, ()):
            if known == arguments:
                return value
        return None

    def put(self, name: Hashable, arguments: tuple[object, ...], value: V) -> None:
        """Keep a result."""
        with self._lock:
            self._rows[name] = ((arguments, value), *self._rows.get(name, ()))[: self._each]
            self._rows.move_to_end(name)
            while len(self._rows) > self._most_names:
                self._rows.popitem(last=False)

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._rows.clear()
