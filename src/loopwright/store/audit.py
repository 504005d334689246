"""Who asked for which secret and changed what, and when: a file that only grows, each line carrying the hash of the line before.

A line that is changed, taken out or moved shows at the line after it. Whoever can write the file can also write all of it anew, or cut
off its end; against that only a copy, or the last hash noted elsewhere, is of use.
"""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from loopwright.store.file import StoreError
from loopwright.store.held import held
from loopwright.store.store import NOTHING_BEFORE, plain_words, sha256_of, stamp

OURS_ALONE = 0o600
READ_AT_ONCE = 1 << 16
Record = Callable[[str, str], None]
"""Notes what is done, and to what. Raises StoreError when it cannot; what was to be done is not done then."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """One line: the moment in UTC, the person, what was done, and to what. Never a secret."""

    number: int
    at: str
    by: str
    act: str
    subject: str
    previous_sha256: str


class Trouble(NamedTuple):
    """A line that is not as it was put there."""

    number: int
    sentence: str


def sealed_line(line: Line) -> bytes:
    """Return a line as it stands in the file, with its own hash last. Control characters are escaped, so a line stays one line."""
    values = asdict(line)
    return _json(values | {"sha256": sha256_of(_json(values))}) + b"\n"


def next_line(last: bytes, *, at: datetime, by: str, act: str, subject: str) -> bytes:
    """Return the line that follows ``last``, which is empty at the beginning."""
    read = parsed(last)
    number = read[0].number + 1 if read else 1
    previous = sha256_of(last) if last else NOTHING_BEFORE
    return sealed_line(
        Line(number=number, at=stamp(at), by=plain_words(by), act=act, subject=plain_words(subject), previous_sha256=previous)
    )


def parsed(raw: bytes) -> tuple[Line, str] | None:
    """Return a line and the hash it carries, None when it is not one."""
    try:
        values = json.loads(raw)
        own = values.pop("sha256")
        line = Line(**values)
    except (ValueError, TypeError, KeyError, AttributeError):
        return None
    return (line, own) if isinstance(line.number, int) and isinstance(own, str) else None


def troubles_of(lines: list[bytes]) -> list[Trouble]:
    """Return what is wrong with a trail."""
    found, before = [], b""
    for number, raw in enumerate(lines, 1):
        read = parsed(raw)
        if read is None or sealed_line(read[0]) != raw:
            found.append(Trouble(number, "is not what was put there."))
        elif read[0].previous_sha256 != (sha256_of(before) if before else NOTHING_BEFORE):
            found.append(Trouble(number, "does not follow from the line before; one was changed, taken out or moved."))
        before = raw
    return found


class Audit:
    """The trail in a file, read and written by its owner alone."""

    def __init__(self, path: Path, *, by: str, clock: Callable[[], datetime]) -> None:
        """Take the file, made when the first line is; ``by`` is who works here, ``clock`` says when."""
        self.path = path
        self._by = by
        self._clock = clock

    def signed(self, by: str) -> Audit:
        """Return the same trail, for lines in the name of somebody else."""
        return Audit(self.path, by=by, clock=self._clock)

    def note(self, act: str, subject: str) -> None:
        """Append a line, and have the disk keep it. Raises StoreError."""
        try:
            handle = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, OURS_ALONE)
            os.close(handle)
            with held(self.path) as kept:
                self._append(kept, act, subject)
        except OSError as error:
            words = (error.strerror or type(error).__name__).lower()
            raise StoreError(f"{self.path.name} cannot be written: {words}. Nothing was done, because it could not be noted.") from error

    def lines(self) -> list[bytes]:
        """Return the lines, the first first; none when there is no file yet. Raises StoreError."""
        try:
            return self.path.read_bytes().splitlines(keepends=True)
        except FileNotFoundError:
            return []
        except OSError as error:
            raise StoreError(f"{self.path.name} cannot be read: {(error.strerror or type(error).__name__).lower()}.") from error

    def told(self) -> list[str]:
        """Return the lines in words, what cannot be read as it stands. Raises StoreError."""
        read = ((raw, parsed(raw)) for raw in self.lines())
        return [
            f"{line[0].at} {line[0].by}: {line[0].act} {line[0].subject}" if line else raw.decode("ascii", "backslashreplace").rstrip("\n")
            for raw, line in read
        ]

    def verify(self) -> list[Trouble]:
        """Return every line that is not as it was put there. Raises StoreError."""
        return troubles_of(self.lines())

    def _append(self, handle: int, act: str, subject: str) -> None:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise StoreError(f"{self.path.name} is not a plain file.")
        size, last = os.fstat(handle).st_size, _last_line(handle)
        # A machine that stopped in the middle of a line leaves a piece, which stays and shows.
        piece = b"\n" if last and not last.endswith(b"\n") else b""
        line = next_line(last + piece, at=self._clock(), by=self._by, act=act, subject=subject)
        _write_all(handle, piece + line, size)
        os.fsync(handle)


def _last_line(handle: int) -> bytes:
    """Return the last line of a file, whole or not."""
    end = os.fstat(handle).st_size
    tail = b""
    while end > 0:
        start = max(0, end - READ_AT_ONCE)
        tail = os.pread(handle, end - start, start) + tail
        end = start
        cut = tail.rfind(b"\n", 0, len(tail) - 1)
        if cut >= 0:
            return tail[cut + 1 :]
    return tail


def _write_all(handle: int, raw: bytes, at: int) -> None:
    while raw:
        done = os.pwrite(handle, raw, at)
        raw, at = raw[done:], at + done


def _json(values: dict[str, object]) -> bytes:
    return json.dumps(values, ensure_ascii=True, sort_keys=True, separators=(",", ":")).encode("ascii")
