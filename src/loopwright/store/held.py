"""The right to change a file, which one process at a time may have."""

from __future__ import annotations

import fcntl
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def held(path: Path) -> Iterator[int]:
    """Hold a file that is there, and give its handle; whoever else asks waits.

    A file that is replaced while it is waited for is not the one that counts any more, so the wait begins again on the new one.
    Raises OSError.
    """
    while True:
        handle = os.open(path, os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            if _is_still(handle, path):
                yield handle
                return
        finally:
            os.close(handle)


def _is_still(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), os.stat(path, follow_symlinks=False))
    except FileNotFoundError:
        return False
