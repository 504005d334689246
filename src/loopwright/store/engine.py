"""The way to the database: SQLite in a file, or PostgreSQL by its address. What a driver says is put into plain words here."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sqlalchemy
from sqlalchemy import Connection, Engine, event
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError

from loopwright.store.address import is_address, shown_address
from loopwright.store.file import StoreError
from loopwright.store.store import Damaged

BUSY_MS = 5000
FRESH_S = 1800
"""So old a connection to a server is given up for a new one; what stands between may have forgotten it."""
WRITES = "loopwright_writes"
ONE_AT_A_TIME = 1_819_242_352
"""A number only this program locks by, so that two do not make the same tables at once."""

_WORDS = (
    ("database or disk is full", "the disk is full"),
    ("no space left", "the disk is full"),
    ("readonly database", "the file or its disk can only be read"),
    ("unable to open database file", "its folder is not there, there is no permission, or the disk can only be read"),
    ("lock timeout", f"another program has been writing for over {BUSY_MS // 1000} s"),
    ("locked", f"another program has been writing for over {BUSY_MS // 1000} s"),
    ("disk i/o error", "the disk does not answer as it should, or is full"),
    ("too big", "it is larger than the database can hold"),
)
_FROM = "PGPASSWORD, ~/.pgpass or a service"
_SERVER_WORDS = (
    ("no password supplied", f"no password was found; it is taken from {_FROM}"),
    ("password authentication failed", f"the server does not take this person with this password; it is taken from {_FROM}"),
    ("connection refused", "no database server answers there"),
    ("timeout expired", "the database server does not answer"),
    ("name or service not known", "there is no server of that name"),
    ("failed to resolve host", "there is no server of that name"),
)
_BROKEN = ("malformed", "not a database", "no such table", "no such column", "database corruption", "malformed database schema")


def shown(where: str) -> str:
    """Return how a database is called in a message: the file's name, or the address without its password."""
    return shown_address(where) if is_address(where) else Path(where).name


def open_engine(where: str, *, read_only: bool = False) -> Engine:
    """Return the engine for a file or an address. Nothing is read yet."""
    return _postgresql(where) if is_address(where) else _sqlite(Path(where), read_only=read_only)


def _postgresql(where: str) -> Engine:
    try:
        url = sqlalchemy.make_url(where).set(drivername="postgresql+psycopg")
    except (ArgumentError, ValueError):
        # What cannot be read is not repeated: a password may stand in it.
        raise StoreError(f"{shown(where)} is not an address: write postgresql://person@server/database.") from None
    waits = {"connect_timeout": BUSY_MS // 1000, "application_name": "loopwright"}
    if "options" not in url.query:
        waits["options"] = f"-c lock_timeout={BUSY_MS} -c idle_in_transaction_session_timeout={BUSY_MS * 6}"
    try:
        return sqlalchemy.create_engine(url, pool_pre_ping=True, pool_recycle=FRESH_S, connect_args=waits, hide_parameters=True)
    except ModuleNotFoundError as error:
        raise StoreError("PostgreSQL needs one more library: pip install 'loopwright[postgresql]'.") from error


def _sqlite(path: Path, *, read_only: bool) -> Engine:
    connect = (lambda: to_read(path)) if read_only else (lambda: _to_write(path))
    engine = sqlalchemy.create_engine("sqlite+pysqlite://", creator=connect, poolclass=sqlalchemy.QueuePool, hide_parameters=True)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        """Take the right to write at the beginning: a reader that turns writer can be refused at once when two do it."""
        connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get(WRITES) else "BEGIN")

    return engine


def _connected(path: Path, way: str, *pragmas: str) -> sqlite3.Connection:
    made = sqlite3.connect(
        f"{path.absolute().as_uri()}?{way}", uri=True, timeout=BUSY_MS / 1000, isolation_level=None, check_same_thread=False
    )
    try:
        for pragma in ("foreign_keys=ON", *pragmas):
            made.execute(f"PRAGMA {pragma}")
    except BaseException:
        made.close()
        raise
    return made


def _to_write(path: Path) -> sqlite3.Connection:
    return _connected(path, "mode=rwc", "journal_mode=WAL", "synchronous=FULL")


def to_read(path: Path) -> sqlite3.Connection:
    """Return a connection that only reads, from a disk that can only be read too."""
    # One that may write clears away, when it is the last to leave, the log that readers need beside the file; it is told not to write.
    ways = ("mode=rw", "mode=ro") if os.access(path, os.W_OK) and os.access(path.parent, os.W_OK) else ("mode=ro",)
    # Where no log can be made nobody writes, unless one stands there.
    alone = not os.access(path.parent, os.W_OK) and not path.with_name(f"{path.name}-wal").exists()
    for way in ways + (("mode=ro&immutable=1",) if alone else ()):
        try:
            return _connected(path, way, "query_only=ON", "schema_version")
        except sqlite3.OperationalError as error:
            refused = error
    raise refused


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """Return a connection on which everything is read as of one moment."""
    with engine.connect() as connection:
        if engine.dialect.name == "postgresql":
            connection = connection.execution_options(isolation_level="REPEATABLE READ")
        with connection.begin():
            yield connection


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """Return a connection inside a transaction that writes; it counts when the block ends without an error."""
    with engine.connect().execution_options(**{WRITES: True}) as connection, connection.begin():
        yield connection


@contextmanager
def rebuilding(engine: Engine) -> Iterator[Connection]:
    """Return a connection inside a transaction that changes tables, one program at a time."""
    with writing(engine) as connection:
        if engine.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({ONE_AT_A_TIME})")
        yield connection


@contextmanager
def told(name: str, doing: str) -> Iterator[None]:
    """Put what a database says into a StoreError: ``NAME DOING: WORDS.``"""
    try:
        yield
    except Damaged as error:
        raise Damaged(f"{name} {doing}: {error}") from error
    except (SQLAlchemyError, sqlite3.Error, OSError) as error:
        words = plain(error)
        kind = Damaged if is_broken(error) else StoreError
        # Not from the error: what a server says in detail repeats what was to be written.
        raise kind(f"{name} {doing}: {words}.") from None


def is_broken(error: BaseException) -> bool:
    """Return whether an error says that the database itself is damaged."""
    said = str(_origin(error)).lower()
    return any(words in said for words in _BROKEN)


def plain(error: BaseException) -> str:
    """Return what a database says in plain words."""
    origin = _origin(error)
    said = str(origin).strip().lower()
    if is_broken(error):
        return "the database is damaged"
    for words, ours in _WORDS + _SERVER_WORDS:
        if words in said:
            return ours
    return (said.splitlines() or [type(origin).__name__])[0].rstrip(".")


def _origin(error: BaseException) -> BaseException:
    return error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
