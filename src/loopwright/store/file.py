"""The job file: read whole, written whole, and never written over what somebody else has put there."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable
from pathlib import Path

from loopwright.job.tree import MOST_BYTES
from loopwright.store.whole import write_whole

_WORDS = {
    errno.ENOENT: "its folder is not there",
    errno.ENOTDIR: "its folder is not there",
    errno.EACCES: "no permission",
    errno.EPERM: "no permission",
    errno.EROFS: "the disk can only be read",
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EISDIR: "it is a folder",
    errno.EIO: "the disk does not answer as it should",
}


class StoreError(Exception):
    """The file could not be read or written; the message is one plain sentence, and nothing was lost."""


class ChangedOnDisk(StoreError):
    """Another program has written the file since it was read."""


class JobFile:
    """One job file: ``load`` it, then ``save`` texts over it as long as nobody else has changed it."""

    def __init__(self, path: Path) -> None:
        """Take the file a path leads to; a link to a file stays a link."""
        self.path = Path(os.path.realpath(path))
        self._known: bytes | None = None

    @property
    def name(self) -> str:
        """Return the file's own name."""
        return self.path.name

    def load(self) -> str:
        """Return the text, and remember it as what is on disk. Raises StoreError."""
        raw = self._read()
        try:
            text = raw.decode("utf-8")
        except UnicodeDecodeError as error:
            raise StoreError(f"{self.name} cannot be read: byte {error.start + 1} is not UTF-8 text.") from error
        self._known = raw
        return text

    def reload(self, take: Callable[[str], None]) -> None:
        """Hand over the text that is on disk now. When it is not taken, the file still counts as changed by another. Raises StoreError."""
        before = self._known
        try:
            take(self.load())
        except BaseException:
            self._known = before
            raise

    def changed_on_disk(self) -> bool:
        """Return whether the file is no longer what was last read or written here. Raises StoreError."""
        return self._known is not None and self._read() != self._known

    def save(self, text: str) -> None:
        """Write the text in place of what was read. Raises ChangedOnDisk or StoreError; the file is then as it was."""
        raw = text.encode("utf-8")
        try:
            mode, owner = self._before(raw)
            write_whole(self.path, raw, over=True, mode=mode, owner=owner)
        except OSError as error:
            raise StoreError(f"{self.name} was not saved: {words_of(error)}. The file is as it was.") from error
        self._known = raw

    def _before(self, raw: bytes) -> tuple[int, tuple[int, int] | None]:
        """Return mode and owner to keep, after making sure that writing is allowed and takes nobody's work away."""
        if len(raw) > MOST_BYTES:
            raise StoreError(f"{self.name} was not saved: a job of over {MOST_BYTES // 1_000_000} MB would not be read again.")
        try:
            now = self.path.stat()
        except FileNotFoundError:
            if self._known is not None and self.path.parent.is_dir():
                raise ChangedOnDisk(f"{self.name} was not saved: the file has been moved or removed since it was read.") from None
            return 0o644, None
        if not now.st_mode & 0o222 or not os.access(self.path, os.W_OK):
            raise StoreError(f"{self.name} was not saved: the file is read-only.")
        if self._known is None or self._read() != self._known:
            raise ChangedOnDisk(
                f"{self.name} was not saved: another program has changed the file since it was read here, and that change stays. "
                "Read the file again to work on from it."
            )
        return stat.S_IMODE(now.st_mode), (now.st_uid, now.st_gid)

    def _read(self) -> bytes:
        try:
            with self.path.open("rb") as source:
                raw = source.read(MOST_BYTES + 1)
        except OSError as error:
            reason = "there is no such file" if isinstance(error, FileNotFoundError) else words_of(error)
            raise StoreError(f"{self.name} cannot be read: {reason}.") from error
        if len(raw) > MOST_BYTES:
            raise StoreError(f"{self.name} cannot be read: it is over {MOST_BYTES // 1_000_000} MB, which no job is.")
        return raw


def words_of(error: OSError) -> str:
    """Return an error of the operating system in plain words."""
    return _WORDS.get(error.errno or 0, (error.strerror or str(error)).lower())
