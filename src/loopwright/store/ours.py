"""Files that count only when they are this user's own: whoever else could have written one could let anybody in by it."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from loopwright.store.file import StoreError, words_of
from loopwright.store.held import held
from loopwright.store.whole import write_whole

MOST_BYTES = 4_000_000
OURS_ALONE, OUR_FOLDER = 0o600, 0o700
MAKES_IT = "`chmod 600` makes it yours alone."


def read_own(path: Path, *, secret: bool = False) -> bytes:
    """Return what a file holds; a ``secret`` one others may not even read. A link is not followed.

    Raises FileNotFoundError when there is none, StoreError when it cannot be read, or is not this user's alone.
    """
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        with os.fdopen(handle, "rb") as source:
            if why := not_ours(os.fstat(source.fileno()), secret=secret):
                raise StoreError(f"{path.name} counts for nothing: {why}")
            raw = source.read(MOST_BYTES + 1)
    except FileNotFoundError:
        raise
    except OSError as error:
        raise StoreError(f"{path.name} cannot be read: {words_of(error)}.") from error
    if len(raw) > MOST_BYTES:
        raise StoreError(f"{path.name} cannot be read: it is over {MOST_BYTES // 1_000_000} MB.")
    return raw


@contextmanager
def writing_own(path: Path, empty: bytes, *, folder: bool = False) -> Iterator[Callable[[bytes], None]]:
    """Hold a file, which is made with what is ``empty`` when it is not there, and give what writes it anew. Raises StoreError.

    One process at a time holds it. With ``folder`` its folder is made too.
    """
    try:
        if not path.exists():
            if folder:
                path.parent.mkdir(mode=OUR_FOLDER, parents=True, exist_ok=True)
            write_whole(path, empty, over=False, mode=OURS_ALONE)
    except FileExistsError:
        pass
    except OSError as error:
        raise _unwritten(path, error) from error
    try:
        with held(path):
            yield lambda raw: write_whole(path, raw, over=True, mode=OURS_ALONE)
    except OSError as error:
        raise _unwritten(path, error) from error


def _unwritten(path: Path, error: OSError) -> StoreError:
    return StoreError(f"{path.name} was not written: {words_of(error)}.")


def not_ours(told: os.stat_result, *, secret: bool) -> str:
    """Return in a sentence why a file is not this user's alone; empty when it is."""
    if not stat.S_ISREG(told.st_mode):
        return "it is not a plain file."
    if told.st_uid != os.geteuid():
        return "it is somebody else's file."
    if told.st_mode & (stat.S_IWGRP | stat.S_IWOTH):
        return f"others may write it. {MAKES_IT}"
    return f"others may read it. {MAKES_IT}" if secret and told.st_mode & (stat.S_IRWXG | stat.S_IRWXO) else ""
