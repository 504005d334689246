"""Which connections have brought something: asked of the system once for all of them, and each read by one call.

Left to itself the loop makes a task of every connection that has something and goes through five functions for it, which costs as much
again as the system takes to hand the bytes over. So connections stand in a selector of their own, which the loop watches as a whole.
"""

from __future__ import annotations

import asyncio
import contextlib
import selectors
from collections.abc import Callable
from datetime import datetime
from typing import Protocol


class Reader(Protocol):
    """Who is read when something is there."""

    def read(self, at: datetime) -> None:
        """Read what is there, at a moment."""

    def broken(self) -> None:
        """End, since reading raised what nobody foresaw."""


class Readiness:
    """The connections that are read, by their files. Made and used in one loop."""

    def __init__(self, clock: Callable[[], datetime], done: Callable[[], None]) -> None:
        """Begin with none. ``done`` is called after all that had something were read."""
        self._clock, self._done = clock, done
        self._loop = asyncio.get_running_loop()
        self._selector = selectors.DefaultSelector()
        self._loop.add_reader(self._selector, self._turn)

    def begin(self, file: int, reader: Reader) -> None:
        """Read from a file from now on."""
        self._selector.register(file, selectors.EVENT_READ, reader)

    def leave(self, file: int) -> None:
        """Read no more from a file, one that was left before too."""
        with contextlib.suppress(KeyError, ValueError):
            self._selector.unregister(file)

    def close(self) -> None:
        """Read no more at all."""
        self._loop.remove_reader(self._selector)
        self._selector.close()

    def _turn(self) -> None:
        # What is there now came by now: one look at the clock does for all of it.
        at = self._clock()
        for key, _ in self._selector.select(0):
            try:
                key.data.read(at)
            except Exception as error:
                key.data.broken()
                self._loop.call_exception_handler({"message": "a connection could not be read", "exception": error})
        self._done()
