"""A stream of bytes cut into frames: each begins with LF and ends with CR, however the network split or packed them.

A line feed always begins anew, so that a lost end costs one frame and not the connection. What is kept is bounded, whatever arrives.
"""

from __future__ import annotations

import re
from enum import StrEnum

from loopwright.signalling.made_often import made_often

LF, CR, QUOTE = b'\n\r"'
MOST_BODY = 0xFFF
"""Bytes from the first quotation mark to the last before CR: what three hexadecimal digits can count."""
MOST_FRAME = MOST_BODY + 10
"""A frame with LF, four digits of check sum, four of length and CR."""
_BINARY_HEAD = 8
_BINARY = re.compile(rb"\n[\x00-\xff]{2}0[0-9A-Fa-f]{3}\"", re.DOTALL)
_END = re.compile(rb"[\n\r]")
_BLANK = b"\x00\t\n\r "


class Cut(StrEnum):
    """How a piece of the stream ended."""

    FRAME = "frame"
    NOISE = "bytes outside a frame"
    UNFINISHED = "a frame that never ended"
    TOO_LONG = "longer than any frame can be"


@made_often
class Piece:
    """Bytes that belong together; only a FRAME is worth reading. Of one that is too long the first bytes are kept."""

    octets: bytes
    cut: Cut


class Splitter:
    """Cuts what a connection brings. The same pieces come out however the bytes were split on the way."""

    __slots__ = ("_held", "_skipping")

    def __init__(self) -> None:
        self._held = b""
        self._skipping = False

    def feed(self, octets: bytes) -> list[Piece]:
        """Take the bytes that arrived and return the pieces they complete."""
        self._held += octets
        return self._pieces(closing=False)

    def alone(self, octets: bytes) -> bool:
        """Return whether the bytes that arrived are one whole frame, nothing before and nothing after: `feed` would give it as it is.

        That is what a sender brings that waits for its answers.
        """
        if self._held or self._skipping or octets.rfind(LF) != 0:
            return False
        return octets.find(CR) == len(octets) - 1 < MOST_FRAME and QUOTE in octets

    @property
    def waiting(self) -> bool:
        """Whether the rest of something has still to come."""
        return bool(self._held) or self._skipping

    def close(self) -> list[Piece]:
        """Return what is left when nothing more can come."""
        return self._pieces(closing=True)

    def _pieces(self, *, closing: bool) -> list[Piece]:
        pieces: list[Piece] = []
        start, held = 0, self._held
        while start < len(held):
            if self._skipping:
                begin = held.find(LF, start)
                start = begin if begin >= 0 else len(held)
                self._skipping = begin < 0
                continue
            end = _end(held, start, closing=closing)
            if end is None:
                break
            pieces += _judged(held[start:end])
            self._skipping = end - start > MOST_FRAME
            start = end
        self._held = held[start:]
        return pieces


def _end(held: bytes, start: int, *, closing: bool) -> int | None:
    """Return where the piece that begins at ``start`` ends, or None while that cannot be told."""
    begin = start
    if held[start] == LF:
        # Two raw bytes of check sum, as early senders wrote it, may be an LF or a CR themselves.
        if _END.search(held, start + 1, start + 3) and len(held) - start < _BINARY_HEAD and not closing:
            return None
        begin += 3 if _BINARY.match(held, start) else 1
    found = _END.search(held, begin, start + MOST_FRAME + 1)
    if found:
        return found.end() if held[found.start()] == CR else found.start()
    if len(held) - start > MOST_FRAME:
        return start + MOST_FRAME + 1
    return len(held) if closing else None


def datagram(octets: bytes) -> list[Piece]:
    """Return the pieces of one datagram: half a frame is never joined with the next, stale bytes after one are noise."""
    splitter = Splitter()
    return splitter.feed(octets) + splitter.close()


def _judged(octets: bytes) -> list[Piece]:
    if not octets.strip(_BLANK):
        return []
    if len(octets) > MOST_FRAME:
        return [Piece(octets=octets, cut=Cut.TOO_LONG)]
    if octets[0] != LF:
        return [Piece(octets=octets, cut=Cut.NOISE)]
    return [Piece(octets=octets, cut=Cut.FRAME if octets[-1] == CR else Cut.UNFINISHED)]
