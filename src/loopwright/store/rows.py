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
    """Keep a text, as a piece of the text ``base`` where that is worth it. Raises Damaged when it is kept already, but wrongly."""
    table = schema.texts
    if connection.execute(select(table.c.sha256).where(table.c.sha256 == key)).first() is not None:
        if sha256_of(kept(connection, key)) != key:
            raise Damaged("this very text is kept already, but is not what was put there.")
        return
    packed = _packed(connection, raw, base)
    values = {"raw": packed.raw, "base": packed.base, "head": packed.head, "tail": packed.tail, "row": packed.row}
    put_once(connection, table, sha256=key, **values)


def _packed(connection: Connection, raw: bytes, base: str) -> Packed:
    row = connection.execute(select(schema.texts.c.row).where(schema.texts.c.sha256 == base)).scalar_one_or_none()
    if row is None:
        return pack(raw)
    try:
        before = kept(connection, base)
    except Damaged:
        return pack(raw)
    # A damaged text must not become the ground of a sound one.
    return pack(raw, base=base, before=before, row=row) if sha256_of(before) == base else pack(raw)


def put_once(connection: Connection, table: Table, **values: Any) -> None:  # noqa: ANN401 - whatever a column holds
    """Put a row in unless its key is there: what is found by its hash is the same from whoever came first."""
    insert = postgresql.insert if connection.dialect.name == "postgresql" else sqlite.insert
    connection.execute(insert(table).values(**values).on_conflict_do_nothing())
