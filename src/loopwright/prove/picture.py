"""A photograph as it is kept: the picture alone, without what a camera writes beside it, such as where and when it was taken.

What a JPEG is made of is ITU-T T.81, annex B; JFIF (T.871) and the colour mark of APP14 stand beside it. Only what is needed to draw the
picture is copied, so place, owner, thumbnails and whatever follows the end are left behind whatever they are called.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256

MOST_BYTES = 180_000
LONGEST_SIDE = 4096
UNFIT = f"That is no photograph that can be kept: a JPEG of at most {MOST_BYTES // 1000} kB is, as this page makes of what a camera gives."
_START, _END, _SCAN, _FRAMES = 0xD8, 0xD9, 0xDA, frozenset({0xC0, 0xC1, 0xC2})
_TABLES = frozenset({0xC4, 0xDB, 0xDD})
_PLAIN = {0xE0: (b"JFIF\0", 16), 0xEE: (b"Adobe", 14)}
"""What may stand before the picture and says how to draw it, and how long it is when it says no more than that."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Picture:
    """A photograph: ``jpeg`` is what is kept, ``width`` and ``height`` are in pixels."""

    jpeg: bytes
    width: int
    height: int

    @property
    def digest(self) -> str:
        """Return the name it is kept by: the same picture has the same."""
        return sha256(self.jpeg).hexdigest()


def picture_of(raw: bytes) -> Picture:
    """Return a photograph without anything but its picture. Raises ValueError, with a sentence, where it is none."""
    if len(raw) > MOST_BYTES or raw[:2] != bytes((0xFF, _START)):
        raise ValueError(UNFIT)
    kept, frame, scans = [raw[:2]], b"", 0
    try:
        for marker, segment, data in _segments(raw):
            if marker in _FRAMES:
                if frame:
                    raise ValueError(UNFIT)
                frame = segment
            scans += marker == _SCAN
            if marker in _FRAMES | _TABLES | {_SCAN} or _is_plain(marker, segment):
                kept.append(bytes((0xFF, marker)) + segment + data)
            elif not 0xE0 <= marker <= 0xEF and marker != 0xFE:
                raise ValueError(UNFIT)
    except IndexError:
        raise ValueError(UNFIT) from None
    if len(frame) < 11 or not scans:
        raise ValueError(UNFIT)
    height, width = int.from_bytes(frame[3:5], "big"), int.from_bytes(frame[5:7], "big")
    if not (0 < width <= LONGEST_SIDE and 0 < height <= LONGEST_SIDE):
        raise ValueError(UNFIT)
    return Picture(jpeg=b"".join((*kept, bytes((0xFF, _END)))), width=width, height=height)


def _is_plain(marker: int, segment: bytes) -> bool:
    word, length = _PLAIN.get(marker, (b"", 0))
    return len(segment) == length and segment[2:].startswith(word)


def _segments(raw: bytes) -> Iterator[tuple[int, bytes, bytes]]:
    """Yield every segment up to the end: its marker, itself, the coded data after it. Raises IndexError where it breaks off."""
    at = 2
    while True:
        if raw[at] != 0xFF:
            raise ValueError(UNFIT)
        while raw[at] == 0xFF:
            at += 1
        marker = raw[at]
        if marker == _END:
            return
        length = raw[at + 1] << 8 | raw[at + 2]
        end = at + 1 + length
        if length < 2 or end >= len(raw):
            raise IndexError
        after = _scanned(raw, end) if marker == _SCAN else end
        yield marker, raw[at + 1 : end], raw[end:after]
        at = after


def _scanned(raw: bytes, at: int) -> int:
    """Return where coded data ends: at a marker that is neither a stuffed byte nor a restart."""
    while True:
        at = raw.find(b"\xff", at)
        if at < 0:
            raise IndexError
        if raw[at + 1] != 0 and not 0xD0 <= raw[at + 1] <= 0xD7:
            return at
        at += 2
