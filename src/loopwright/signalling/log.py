r"""Frames as they stand printed in a log: as text, with its ends written ``\n`` and ``\r`` or left out, or as hexadecimal bytes."""

from __future__ import annotations

import re
from collections.abc import Iterator

_HEX = re.compile(rb"(?<![0-9A-Fa-f\[])0[Aa](?:[ :]?[0-9A-Fa-f]{2}){12,}")
_ESCAPE = re.compile(rb"\\x([0-9A-Fa-f]{2})|\\([nr])|<(LF|CR)>", re.IGNORECASE)
_ENDS = {b"n": b"\n", b"r": b"\r", b"lf": b"\n", b"cr": b"\r"}
_START = re.compile(rb"(?<![0-9A-Fa-f])[0-9A-Fa-f]{4}0[0-9A-Fa-f]{3}(?=\")")
_EARLY = re.compile(rb"\n[\x00-\xff]{2}0[0-9A-Fa-f]{3}(?=\")", re.DOTALL)


def frames_in(log: bytes) -> Iterator[tuple[int, bytes]]:
    """Yield the number of the line, from 1, and the bytes LF to CR of each frame printed in a log."""
    for number, line in enumerate(log.split(b"\n"), start=1):
        for found in _HEX.finditer(line):
            yield from ((number, each) for each in _frames(bytes.fromhex(re.sub(rb"[ :]", b"", found[0]).decode("ascii"))))
        yield from ((number, each) for each in _frames(_ESCAPE.sub(_octet, _HEX.sub(b"", line))))


def _octet(found: re.Match[bytes]) -> bytes:
    return bytes.fromhex(found[1].decode("ascii")) if found[1] else _ENDS[(found[2] or found[3]).lower()]


def _frames(text: bytes) -> Iterator[bytes]:
    starts = sorted({found.start() for found in _START.finditer(text)} | {found.start() + 1 for found in _EARLY.finditer(text)})
    for begin, after in zip(starts, [*starts[1:], len(text)], strict=False):
        body = text[begin:after]
        # What a log puts around a frame, as quotation marks and blanks, is none of it.
        yield b"\n" + (body[: body.index(b"\r", 2)] if b"\r" in body[2:] else body.split(b"\n")[0].rstrip(b"' \t\"")) + b"\r"
