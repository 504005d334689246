"""What can still be read from a damaged SQLite file: every page is looked at by itself, whatever leads to it or not.

The rows found go into a database in memory that can only be read; the file is left as it is. The format is the one published at
sqlite.org ("Database File Format"): pages of a tree's leaves begin with 13 and list their cells, a cell holds a row, and what does
not fit into the page goes on in a chain of others. Each table here has a number of columns of its own, which tells whose a row is.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import sqlalchemy
from sqlalchemy import Connection, Engine, Table, func, select, update
from sqlalchemy.dialects.sqlite import insert
from sqlalchemy.exc import SQLAlchemyError

from loopwright.store import schema
from loopwright.store.engine import told
from loopwright.store.file import StoreError
from loopwright.store.rows import kept
from loopwright.store.sql import SqlStore
from loopwright.store.store import Damaged, sha256_of

LEAF = 13
FILE_HEADER, WAL_HEADER, FRAME_HEADER = 100, 32, 24
DEFAULT_PAGE = 4096
SIZES = {size for size in (1 << power for power in range(9, 17))}
WHOLE_NUMBERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
"""Bytes of a whole number by its serial type."""

Value = int | float | bytes | str | None


class Salvaged(NamedTuple):
    """A store of what could be read, to be read only, and a sentence on how much that is."""

    store: SqlStore
    sentence: str


def salvage(path: Path) -> Salvaged:
    """Return what can be read from a damaged file. Raises StoreError when that is nothing."""
    with told(path.name, "cannot be read"):
        rows = list(_rows(_pages(path)))
    engine = sqlalchemy.create_engine("sqlite://", poolclass=sqlalchemy.StaticPool, connect_args={"check_same_thread": False})
    schema.metadata.create_all(engine)
    with engine.begin() as connection:
        for number, values in rows:
            _put(connection, number, values)
        most = _name_jobs(connection)
        good = _sound(connection)
    if not most:
        engine.dispose()
        raise StoreError(f"Nothing of {path.name} could be read.")
    why = f"{path.name} is damaged, and this is what could be read of it"
    sentence = f"{good} of {most} revisions can still be read from it, and it is left as it is."
    return Salvaged(_store(engine, path.name, why), sentence)


def _store(engine: Engine, name: str, why: str) -> SqlStore:
    return SqlStore(engine, name, read_only=True, why_read_only=why)


def _pages(path: Path) -> dict[int, bytes]:
    """Return the pages by number, those in the log beside the file in place of older ones."""
    raw = path.read_bytes()
    size = int.from_bytes(raw[16:18], "big")
    size = 65536 if size == 1 else size
    if size not in SIZES:
        size = DEFAULT_PAGE
    pages = {number + 1: raw[at : at + size] for number, at in enumerate(range(0, len(raw), size))}
    log = path.with_name(f"{path.name}-wal")
    if log.is_file():
        pages |= _logged(log.read_bytes(), size)
    return {number: page for number, page in pages.items() if len(page) == size}


def _logged(log: bytes, size: int) -> dict[int, bytes]:
    """Return the pages of the log that had been acknowledged."""
    counted: dict[int, bytes] = {}
    waiting: dict[int, bytes] = {}
    for at in range(WAL_HEADER, len(log) - FRAME_HEADER - size + 1, FRAME_HEADER + size):
        number, end = struct.unpack(">II", log[at : at + 8])
        if log[at + 8 : at + 16] != log[16:24]:
            break
        waiting[number] = log[at + FRAME_HEADER : at + FRAME_HEADER + size]
        if end:
            counted |= waiting
            waiting = {}
    return counted


def _rows(pages: dict[int, bytes]) -> Iterator[tuple[int, list[Value]]]:
    """Yield row number and values of every row that can be made out."""
    for number, page in sorted(pages.items()):
        at = FILE_HEADER if number == 1 else 0
        if page[at] != LEAF:
            continue
        count = int.from_bytes(page[at + 3 : at + 5], "big")
        for cell in range(count):
            place = at + 8 + 2 * cell
            try:
                yield _row(pages, page, int.from_bytes(page[place : place + 2], "big"))
            except (IndexError, KeyError, ValueError, struct.error):
                continue


def _row(pages: dict[int, bytes], page: bytes, at: int) -> tuple[int, list[Value]]:
    length, at = _number(page, at)
    row, at = _number(page, at)
    usable = len(page)
    most, least = usable - 35, (usable - 12) * 32 // 255 - 23
    here = length
    if length > most:
        here = least + (length - least) % (usable - 4)
        here = here if here <= most else least
    load = page[at : at + here]
    following = int.from_bytes(page[at + here : at + here + 4], "big") if length > here else 0
    seen = set()
    while len(load) < length:
        if following in seen:
            raise ValueError("a chain that goes round")
        seen.add(following)
        next_page = pages[following]
        load += next_page[4 : 4 + min(usable - 4, length - len(load))]
        following = int.from_bytes(next_page[:4], "big")
    return row, list(_values(load))


def _number(raw: bytes, at: int) -> tuple[int, int]:
    """Return a number of one to nine bytes, and where it ends."""
    value = 0
    for count in range(8):
        byte = raw[at + count]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + count + 1
    return value << 8 | raw[at + 8], at + 9


def _values(load: bytes) -> Iterator[Value]:
    end, at = _number(load, 0)
    body = end
    while at < end:
        kind, at = _number(load, at)
        value, body = _value(load, kind, body)
        yield value


def _value(load: bytes, kind: int, at: int) -> tuple[Value, int]:
    if kind in (0, 8, 9):
        return {0: None, 8: 0, 9: 1}[kind], at
    if kind == 7:
        return struct.unpack(">d", load[at : at + 8])[0], at + 8
    size = WHOLE_NUMBERS[kind] if kind in WHOLE_NUMBERS else (kind - 12) // 2
    part = load[at : at + size]
    if len(part) != size or kind in (10, 11):
        raise ValueError("a value that is cut off")
    if kind in WHOLE_NUMBERS:
        return int.from_bytes(part, "big", signed=True), at + size
    return (part.decode("utf-8") if kind % 2 else part), at + size


_TABLES: dict[int, Table] = {len(table.columns): table for table in schema.metadata.sorted_tables}


def _put(connection: Connection, number: int, values: list[Value]) -> None:
    """Put a row into the table it is of, when it can be of one. Of two rows of a job the later one counts."""
    table = _TABLES.get(len(values))
    if table is None:
        return
    named: dict[str, Any] = dict(zip((column.name for column in table.columns), values, strict=True))
    if table is schema.jobs:
        named["id"] = number
    if any(not isinstance(named[column.name], column.type.python_type) for column in table.columns):
        return
    try:
        if table is schema.jobs:
            later = insert(table).values(named)
            later = later.on_conflict_do_update(index_elements=["id"], set_=named, where=table.c.head < named["head"])
            connection.execute(later)
        else:
            connection.execute(insert(table).values(named).on_conflict_do_nothing())
    except SQLAlchemyError:
        return


def _name_jobs(connection: Connection) -> int:
    """Have every revision found belong to a job, and every job end with the last revision whose text can be read.

    Returns how many revisions there were, as far as can be seen.
    """
    table, there = schema.revisions, 0
    noted: dict[int, int] = {row.id: row.head for row in connection.execute(select(schema.jobs))}
    for job_id, most in connection.execute(select(table.c.job_id, func.max(table.c.number)).group_by(table.c.job_id)).all():
        there += max(most, noted.pop(job_id, 0))
        lost = {"id": job_id, "name": f"job {job_id}", "head": most, "head_sha256": ""}
        connection.execute(insert(schema.jobs).values(lost).on_conflict_do_nothing())
        rows = select(table.c.number, table.c.text_sha256, table.c.sha256).where(table.c.job_id == job_id).order_by(table.c.number.desc())
        for number, key, sha256 in connection.execute(rows).all():
            if _readable(connection, key):
                connection.execute(update(schema.jobs).where(schema.jobs.c.id == job_id).values(head=number, head_sha256=sha256))
                break
    return there + sum(noted.values())


def _readable(connection: Connection, key: str) -> bool:
    try:
        return sha256_of(kept(connection, key)) == key
    except Damaged:
        return False


def _sound(connection: Connection) -> int:
    """Return how many revisions can be read with their text."""
    keys = connection.execute(select(schema.revisions.c.text_sha256)).scalars().all()
    sound = {key: _readable(connection, key) for key in set(keys)}
    return sum(sound[key] for key in keys)
