"""Copies of a SQLite database, taken while it is in use, and put back only when they are sound."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from loopwright.store.engine import is_broken, plain, to_read, told
from loopwright.store.file import StoreError
from loopwright.store.whole import settle, take_name

LOGS = ("-wal", "-shm", "-journal")
MOST_COPIES = 1000


def backed_up(path: Path, to: Path, look: Callable[[Path], None], *, over: bool = False) -> None:
    """Write a copy of a database that ``look`` did not raise at. Raises StoreError; ``to`` is then as it was."""
    with told(to.name, "was not written"), _copy(path, to, over=over) as draft:
        look(draft)
        take_name(draft, to, over=over)


def restored(path: Path, to: Path, look: Callable[[Path], None], *, over: bool = False) -> Path | None:
    """Put back a copy that ``look`` did not raise at. What was there is kept beside, and its path returned.

    Raises StoreError; ``to`` is then as it was.
    """
    with told(to.name, "was not put back"), _copy(path, to, over=over) as draft:
        look(draft)
        aside = set_aside(to) if to.exists() else None
        try:
            take_name(draft, to, over=False)
        except OSError:
            if aside is not None:
                os.rename(aside, to)
            raise
    return aside


def beside(path: Path, why: str) -> Path:
    """Copy a database beside itself under a name that is free, and return it: ``shop.db`` becomes ``shop.db.WHY``."""
    to = free_name(path, why)
    backed_up(path, to, lambda draft: None)
    return to


def free_name(path: Path, why: str) -> Path:
    """Return a name beside a file that nothing has yet. Raises StoreError."""
    for number in range(1, MOST_COPIES):
        to = path.with_name(f"{path.name}.{why}" if number == 1 else f"{path.name}.{why}-{number}")
        if not os.path.lexists(to):
            return to
    raise StoreError(f"there are {MOST_COPIES} copies beside {path.name} already.")


def set_aside(path: Path) -> Path:
    """Give a database another name, its log with it, and return that. Raises StoreError when another program has it open."""
    _nobody_else(path)
    aside = free_name(path, "replaced")
    os.rename(path, aside)
    for ending in LOGS:
        # Only a damaged database leaves one here; it may hold what is worth reading.
        with contextlib.suppress(FileNotFoundError):
            os.rename(f"{path}{ending}", f"{aside}{ending}")
    return aside


def _nobody_else(path: Path) -> None:
    """Write what stands in the log into the database. Raises StoreError when another program has it open."""
    try:
        with contextlib.closing(sqlite3.connect(path, timeout=0, isolation_level=None)) as alone:
            alone.execute("PRAGMA locking_mode=EXCLUSIVE")
            alone.execute("BEGIN EXCLUSIVE")
            alone.execute("ROLLBACK")
    except sqlite3.Error as error:
        if not is_broken(error):
            words = "another program has it open" if "locked" in str(error) else plain(error)
            raise StoreError(f"{path.name} was left as it is: {words}.") from error


@contextmanager
def _copy(path: Path, to: Path, *, over: bool) -> Iterator[Path]:
    """Return a copy of a database as it is at one moment, down on the disk, in the folder it is to get a name in."""
    if not over and os.path.lexists(to):
        raise StoreError(f"{to.name} is there already, and is left as it is. --force writes over it.")
    if os.path.lexists(to) and (not to.is_file() or to.is_symlink()):
        raise StoreError(f"{to.name} is not a file that can be written over.")
    if to.exists() and to.samefile(path):
        raise StoreError(f"{to.name} cannot be its own copy.")
    handle, made = tempfile.mkstemp(prefix=f".{to.name}.", suffix=".new", dir=to.parent)
    draft = Path(made)
    try:
        os.fchmod(handle, path.stat().st_mode & 0o666)
        _copy_pages(path, draft)
        os.fsync(handle)
        yield draft
        settle(to.parent)
    except FileExistsError:
        raise StoreError(f"{to.name} is there already, and is left as it is. --force writes over it.") from None
    finally:
        os.close(handle)
        for ending in ("", *LOGS):
            Path(f"{made}{ending}").unlink(missing_ok=True)


def _copy_pages(path: Path, draft: Path) -> None:
    with (
        told(path.name, "cannot be copied"),
        contextlib.closing(to_read(path)) as source,
        contextlib.closing(sqlite3.connect(draft, isolation_level=None)) as target,
    ):
        source.backup(target)
        # The copy is one file by itself: no log beside it that could be left behind.
        target.execute("PRAGMA journal_mode=DELETE")
