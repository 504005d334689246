"""Connections that say nothing, trickle or do not listen are waited for only so long, so that a few of them keep nobody else out.

What a program works on is not counted: only the head of a request, its body, and what lies here because the other side does not take it.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_COUNTED = 8_000_000
"""No body that is taken is longer [bytes]; who says more is given no more time."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Patience:
    """How long is waited for a head, for a body, for an answer to be taken, and what may be longer for its length.

    ``least_bytes_per_s``: a body or an answer of so many bytes more is waited for a second more. ``look_s``: so often it is looked.
    """

    head_s: float = 15
    body_s: float = 30
    taken_s: float = 60
    least_bytes_per_s: int = 16_000
    look_s: float = 2


class Patient(H11Protocol):
    """The server's side of a connection, which ends when its other side takes too long."""

    patience = Patience()

    def __init__(self, *told: Any, **more: Any) -> None:  # noqa: ANN401 - what uvicorn gives
        """Take what uvicorn gives."""
        super().__init__(*told, **more)
        self._waits_for: tuple[str, int] = ("", 0)
        self._since_s = 0.0
        self._kept_since_s: float | None = None
        self._most_kept = 0
        self._looking: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to look after a connection."""
        super().connection_made(transport)
        self._since_s = self.loop.time()
        self._waits_for = self._waited_for()
        self._look_later()

    def connection_lost(self, exc: Exception | None) -> None:
        """Look after it no more."""
        if self._looking is not None:
            self._looking.cancel()
        super().connection_lost(exc)

    def _look_later(self) -> None:
        self._looking = self.loop.call_later(self.patience.look_s, self._look)

    def _look(self) -> None:
        now_s = self.loop.time()
        waits_for = self._waited_for()
        if waits_for != self._waits_for:
            self._waits_for, self._since_s = waits_for, now_s
        if now_s - self._since_s > self._longest_s(waits_for[0]) or self._is_not_taken(now_s):
            self.transport.abort()
        else:
            self._look_later()

    def _waited_for(self) -> tuple[str, int]:
        """Return what the other side is to send, and which request it belongs to."""
        if self.cycle is None or self.cycle.response_complete:
            return "head", id(self.cycle)
        return "body" if self.cycle.more_body else "", id(self.cycle)

    def _longest_s(self, what: str) -> float:
        if what == "head":
            return self.patience.head_s
        if what == "body":
            return self.patience.body_s + min(self._said_length(), MOST_COUNTED) / self.patience.least_bytes_per_s
        return float("inf")

    def _said_length(self) -> int:
        said = dict(self.headers).get(b"content-length", b"")
        # Longer numbers are refused before; none is worked out here.
        return int(said) if said.isdigit() and len(said) <= len(str(MOST_COUNTED)) else 0

    def _is_not_taken(self, now_s: float) -> bool:
        """Return whether something has lain here for too long because the other side does not take it."""
        kept = self.transport.get_write_buffer_size()
        if not kept:
            self._kept_since_s, self._most_kept = None, 0
            return False
        if self._kept_since_s is None:
            self._kept_since_s = now_s
        self._most_kept = max(self._most_kept, kept)
        return now_s - self._kept_since_s > self.patience.taken_s + self._most_kept / self.patience.least_bytes_per_s
