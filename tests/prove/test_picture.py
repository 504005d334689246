"""A photograph is kept without what a camera writes beside it, whatever that is called; what is none is refused in one sentence."""

from __future__ import annotations

from base64 import b64decode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.papers.press import printable
from loopwright.prove.picture import LONGEST_SIDE, MOST_BYTES, UNFIT, picture_of

# Eight by eight pixels, as a browser's canvas writes them: the encoder is not ours.
CANVAS = b64decode(
    "/9j/4AAQSkZJRgABAQAAAQABAAD/4gHYSUNDX1BST0ZJTEUAAQEAAAHIAAAAAAQwAABtbnRyUkdCIFhZWiAH4AABAAEAAAAAAABhY3NwAAAAAAAAAAAAAAAAAAAAAAAA"
    "AAAAAAAAAAAAAQAA9tYAAQAAAADTLQAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAlkZXNjAAAA8AAAACRyWFlaAAABFAAA"
    "ABRnWFlaAAABKAAAABRiWFlaAAABPAAAABR3dHB0AAABUAAAABRyVFJDAAABZAAAAChnVFJDAAABZAAAAChiVFJDAAABZAAAAChjcHJ0AAABjAAAADxtbHVjAAAAAAAA"
    "AAEAAAAMZW5VUwAAAAgAAAAcAHMAUgBHAEJYWVogAAAAAAAAb6IAADj1AAADkFhZWiAAAAAAAABimQAAt4UAABjaWFlaIAAAAAAAACSgAAAPhAAAts9YWVogAAAAAAAA"
    "9tYAAQAAAADTLXBhcmEAAAAAAAQAAAACZmYAAPKnAAANWQAAE9AAAApbAAAAAAAAAABtbHVjAAAAAAAAAAEAAAAMZW5VUwAAACAAAAAcAEcAbwBvAGcAbABlACAASQBu"
    "AGMALgAgADIAMAAxADb/2wBDABsSFBcUERsXFhceHBsgKEIrKCUlKFE6PTBCYFVlZF9VXVtqeJmBanGQc1tdhbWGkJ6jq62rZ4C8ybqmx5moq6T/2wBDARweHigjKE4r"
    "K06kbl1upKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKSkpKT/wAARCAAIAAgDASIAAhEBAxEB/8QAFQABAQAAAAAAAAAAAAAAAAAA"
    "AAX/xAAaEAEAAQUAAAAAAAAAAAAAAAAAAQIFM3LB/8QAFQEBAQAAAAAAAAAAAAAAAAAAAgP/xAAYEQACAwAAAAAAAAAAAAAAAAAAAgMxMv/aAAwDAQACEQMRAD8Ak3DB"
    "TtyQBWis2j//2Q=="
)  # fmt: skip
WHERE = b"GPSLatitude 52.0907 N"


def segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(body) + 2).to_bytes(2, "big") + body


@given(st.lists(st.tuples(st.sampled_from([*range(0xE0, 0xF0), 0xFE]), st.binary(max_size=40)), max_size=6), st.binary(max_size=40))
def test_nothing_but_the_picture_is_kept(beside: list[tuple[int, bytes]], after: bytes) -> None:
    plain = picture_of(CANVAS)
    written = b"".join(segment(marker, body + WHERE) for marker, body in beside)
    found = picture_of(CANVAS[:2] + written + CANVAS[2:] + after + WHERE)
    assert found == plain and WHERE not in found.jpeg and (found.width, found.height) == (8, 8)
    assert picture_of(found.jpeg) == found, "once is enough"


@given(st.integers(0, len(CANVAS) - 1), st.binary(min_size=1, max_size=4))
def test_whatever_is_sent_is_a_picture_or_refused_and_nothing_else(at: int, bytes_: bytes) -> None:
    for raw in (CANVAS[:at], CANVAS[:at] + bytes_ + CANVAS[at + len(bytes_) :], bytes_):
        try:
            found = picture_of(raw)
        except ValueError as error:
            assert str(error) == UNFIT
        else:
            assert len(found.jpeg) <= len(raw) + 2 and 0 < max(found.width, found.height) <= LONGEST_SIDE


@pytest.mark.parametrize("raw", [b"", b"GIF89a", CANVAS[:-2], CANVAS + bytes(MOST_BYTES), CANVAS.replace(b"\xff\xc0", b"\xff\xc9")])
def test_what_is_no_photograph_is_refused(raw: bytes) -> None:
    with pytest.raises(ValueError, match="no photograph that can be kept"):
        picture_of(raw)


def test_the_typesetter_takes_what_is_kept_and_not_what_has_no_tables() -> None:
    jpeg = picture_of(CANVAS).jpeg
    assert printable(jpeg)
    scan = jpeg.index(b"\xff\xda")
    assert not printable(jpeg[: jpeg.index(b"\xff\xdb")] + jpeg[scan:])
