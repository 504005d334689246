"""Rows of the database and the records they hold."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, Table, select
from sqlalchemy.dialects import postgresql, sqlite

from loopwright.store import schema
from loopwright.store.packing import Packed, pack, unpack
from loopwright.store.store import Damaged, Place, Revision, sha256_of, stamp

LONGEST_WAY = 1000
_PLAIN = ("number", "by", "why", "summary", "note", "text_sha256", "previous_sha256", "sha256")
_PLACE = ("step", "before", "depth", "tip")


def columns(revision: Revision) -> dict[str, Any]:
    """Return the values of a revision's row."""
    plain = {name: getattr(revision, name) for name in _PLAIN}
    return plain | {"at": stamp(revision.at)} | {name: getattr(revision.place, name) for name in _PLACE}


def revision_of(row: Row[Any]) -> Revision:
    """Return the revision in a row. Raises Damaged when the row cannot hold one."""
    values = row._mapping
    try:
        at = datetime.fromisoformat(values["at"])
        if at.tzinfo is None:
            raise ValueError("no time zone")
    except (TypeError, ValueError) as error:
        raise Damaged(f"revision {values['number']} has no time that can be read.") from error
    place = Place(**{name: values[name] for name in _PLACE})
    return Revision(**{name: values[name] for name in _PLAIN}, at=at, place=place)


def kept(connection: Connection, key: str) -> bytes:
    """Return a text as it unpacks, without looking whether it is the one that was put there. Raises Damaged."""
    way: list[Packed] = []
    while key:
        found = connection.execute(select(schema.texts).where(schema.texts.c.sha256 == key)).first()
        if found is None or len(way) > LONGEST_WAY:
            raise Damaged("a kept text, or one it is a piece of, is missing.")
        way.append(Packed(bytes(found.raw), found.base, found.head, found.tail, found.row))
        key = found.base
    text = b""
    for packed in reversed(way):
        text = unpack(packed, text)
    return text


def put_text(connection: Connection, raw: bytes, key: str, base: str) -> None:
    """Keep a text, as a piece of the text ``base`` where that is worth it."""
    there = select(schema.texts.c.sha256).where(schema.texts.c.sha256 == key)
    if connection.execute(there).first() is not None and _sound(connection, key):
        return
    packed = _packed(connection, raw, base)
    values = {"raw": packed.raw, "base": packed.base, "head": packed.head, "tail": packed.tail, "row": packed.row}
    put(connection, schema.texts, sha256=key, **values)


def _packed(connection: Connection, raw: bytes, base: str) -> Packed:
    row = connection.execute(select(schema.texts.c.row).where(schema.texts.c.sha256 == base)).scalar_one_or_none()
    # A damaged text must not become the ground of a sound one.
    if row is None or not _sound(connection, base):
        return pack(raw)
    return pack(raw, base=base, before=kept(connection, base), row=row)


def _sound(connection: Connection, key: str) -> bool:
    try:
        return sha256_of(kept(connection, key)) == key
    except Damaged:
        return False


def put(connection: Connection, table: Table, *, sha256: str, **values: Any) -> None:  # noqa: ANN401 - whatever a column holds
    """Put a row in under its hash; a row that is there is what was put there, or is put right so."""
    insert = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    connection.execute(insert(table).values(sha256=sha256, **values).on_conflict_do_update(index_elements=["sha256"], set_=values))
