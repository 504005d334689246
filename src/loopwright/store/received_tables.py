"""The tables of a file of received events: made, brought to the form of today, and opened for writing with a log of the right length."""

from __future__ import annotations

import contextlib
import os
import secrets
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from loopwright.store.engine import BUSY_MS
from loopwright.store.file import StoreError
from loopwright.store.whole import take_name

FORMAT, FIRST_FORMAT = 2, 1
OURS_ALONE = 0o600
LOG_PAGES = 4000
"""Pages of the log (16 MB) after which it is taken over into the database, which waits for the disk."""
FLUSHED_LOG_PAGES = 1000
"""The same where every commit waits for the disk; so many are made room for at the beginning."""
PAGE_BYTES = 4096
_TABLES = """
CREATE TABLE source (
    id INTEGER PRIMARY KEY, receiver TEXT NOT NULL, line TEXT NOT NULL, account TEXT NOT NULL, latest INTEGER,
    UNIQUE (receiver, line, account)
);
CREATE TABLE message (
    number INTEGER PRIMARY KEY, source INTEGER NOT NULL REFERENCES source, sequence TEXT NOT NULL, token TEXT NOT NULL,
    encrypted INTEGER NOT NULL, at_us INTEGER NOT NULL, said_us INTEGER, way TEXT NOT NULL, peer TEXT NOT NULL,
    data TEXT NOT NULL, extended TEXT, warnings TEXT, before INTEGER, repeats INTEGER NOT NULL DEFAULT 0, repeated_us INTEGER
);
CREATE TABLE polled (
    source INTEGER NOT NULL REFERENCES source, way TEXT NOT NULL, peer TEXT NOT NULL, first_us INTEGER NOT NULL, last_us INTEGER NOT NULL,
    polls INTEGER NOT NULL, longest_us INTEGER NOT NULL, PRIMARY KEY (source, way, peer)
) WITHOUT ROWID;
"""
_TO_FORMAT_2 = (
    "ALTER TABLE source ADD COLUMN latest INTEGER",
    "ALTER TABLE message ADD COLUMN before INTEGER",
    "UPDATE message SET before = one.before FROM "
    "(SELECT number, lag(number) OVER (PARTITION BY source ORDER BY number) AS before FROM message) AS one "
    "WHERE one.number = message.number",
    "UPDATE source SET latest = (SELECT max(number) FROM message WHERE source = source.id)",
    "DROP INDEX of_source",
    f"PRAGMA user_version={FORMAT}",
)
"""Format 1 found the last messages of a source by an index."""


def open_to_write(path: Path, *, flushed: bool) -> sqlite3.Connection:
    """Return a connection that writes, to a file that is made where there is none and brought to the form of today where it is older.

    ``flushed``: a commit waits for the disk. Raises StoreError for a file of a later version, sqlite3.Error and OSError.
    """
    if not path.exists():
        _make(path)
    # One that was put back out of a copy has no log yet.
    log = ("journal_mode=WAL", f"wal_autocheckpoint={FLUSHED_LOG_PAGES if flushed else LOG_PAGES}")
    database = _written(path)
    try:
        check_readable(database, path)
        for pragma in (*log, f"synchronous={'FULL' if flushed else 'NORMAL'}", "foreign_keys=ON"):
            database.execute(f"PRAGMA {pragma}")
        _bring_up(database)
        if flushed:
            _make_room(database)
    except BaseException:
        database.close()
        raise
    return database


def check_readable(database: sqlite3.Connection, path: Path) -> None:
    """Raise StoreError, and close the database, where its form is none that can be read here."""
    found = _format_of(database)
    if not FIRST_FORMAT <= found <= FORMAT:
        database.close()
        raise StoreError(f"{path.name} was written by {'a later' if found > FORMAT else 'an earlier'} version; it is left as it is.")


def _format_of(database: sqlite3.Connection) -> int:
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def _bring_up(database: sqlite3.Connection) -> None:
    """Bring an older file to the form of today, in one transaction: stopped at any moment it is as it was, or done."""
    if _format_of(database) == FORMAT:
        return
    with _transaction(database):
        # Another program may have done it since.
        if _format_of(database) != FORMAT:
            for statement in _TO_FORMAT_2:
                database.execute(statement)
        database.execute("COMMIT")


def _make_room(database: sqlite3.Connection) -> None:
    """Have the log as long at the beginning as it is let grow: a commit then writes over what is there.

    A disk takes twice as long or longer to flush a file that has grown, since its length must be flushed too. What is too large for the
    cache goes into the log before it is committed, and stays there when it is taken back, without counting.
    """
    usual = database.execute("PRAGMA cache_size").fetchone()[0]
    database.execute("PRAGMA cache_size=16")
    with _transaction(database):
        database.execute("CREATE TABLE room (filler BLOB)")
        database.execute("INSERT INTO room VALUES (zeroblob(?))", (FLUSHED_LOG_PAGES * PAGE_BYTES,))
    database.execute(f"PRAGMA cache_size={usual}")


@contextlib.contextmanager
def _transaction(database: sqlite3.Connection) -> Iterator[None]:
    """Begin to write; what is not committed inside is taken back."""
    database.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        if database.in_transaction:
            database.execute("ROLLBACK")


def _make(path: Path) -> None:
    """Make the empty database under another name first: who looks for it meanwhile finds none, or a whole one."""
    draft = path.parent / f".loopwright-{secrets.token_hex(8)}"
    os.close(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OURS_ALONE))
    try:
        # A database takes its log only before its first table.
        with contextlib.closing(_written(draft, "journal_mode=WAL")) as database:
            database.executescript(f"BEGIN;{_TABLES}PRAGMA user_version={FORMAT};COMMIT;")
        with contextlib.suppress(FileExistsError):
            take_name(draft, path, over=False)
    finally:
        draft.unlink(missing_ok=True)


def _written(path: Path, *pragmas: str) -> sqlite3.Connection:
    database = sqlite3.connect(path, timeout=BUSY_MS / 1000, isolation_level=None, check_same_thread=False)
    try:
        for pragma in pragmas:
            database.execute(f"PRAGMA {pragma}")
    except BaseException:
        database.close()
        raise
    return database
