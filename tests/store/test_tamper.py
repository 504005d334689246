"""Whatever is changed behind the store's back, verify names the revision."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import text

from loopwright.store import rows, schema
from loopwright.store.engine import open_engine, writing
from loopwright.store.file import StoreError
from loopwright.store.packing import pack
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, Damaged, sealed, sha256_of

Begin = Callable[..., SqlStore]
FORGED = "title: Forged\n"


def tamper(where: str, *statements: str, **values: object) -> None:
    """Change rows behind the store's back, foreign keys off."""
    engine = open_engine(where)
    off = "PRAGMA foreign_keys=OFF" if engine.dialect.name == "sqlite" else "SET session_replication_role = replica"
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            connection.connection.driver_connection.execute(off)  # type: ignore[union-attr]
        with connection.begin():
            if engine.dialect.name != "sqlite":
                connection.execute(text(off))
            for statement in statements:
                names = {name: value for name, value in values.items() if f":{name}" in statement}
                assert connection.execute(text(statement), names).rowcount > 0
    engine.dispose()


def named(store: SqlStore) -> set[int | None]:
    """Return the revisions verify names."""
    return {each.revision for each in store.verify()}


@pytest.fixture(scope="module")
def forty(begun: Begin) -> Callable[[SqlStore], object]:
    """Return what fills a store with forty revisions, a mark and a file."""

    def fill(store: SqlStore) -> None:
        begun(store, 40).mark("shop", "installed", 12)
        store.put_file(b"a plan")

    return fill


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, cast: Callable[..., str], forty: Callable[[SqlStore], object]) -> str:
    return cast(request, forty)


@pytest.fixture
def kept(store: SqlStore) -> SqlStore:
    return store


def test_sound_before(kept: SqlStore) -> None:
    assert kept.verify() == []


@pytest.mark.parametrize("number", [1, 7, 16, 17, 40])
@pytest.mark.parametrize("at", [0, 5, -1])
def test_a_byte_of_a_text_is_flipped(kept: SqlStore, where: str, number: int, at: int) -> None:
    key = kept.revision("shop", number).text_sha256
    engine = open_engine(where)
    with writing(engine) as connection:
        raw = bytearray(connection.execute(schema.texts.select().where(schema.texts.c.sha256 == key)).one().raw)
        raw[at] ^= 0x40
        connection.execute(schema.texts.update().where(schema.texts.c.sha256 == key).values(raw=bytes(raw)))
    engine.dispose()
    found = kept.verify()
    assert number in {each.revision for each in found}
    assert all("text" in each.sentence for each in found)
    with pytest.raises(Damaged):
        kept.text_at("shop", number)


def test_damage_to_one_text_reaches_no_further_than_its_row(kept: SqlStore, where: str) -> None:
    tamper(where, "UPDATE texts SET raw = :raw WHERE sha256 = :key", raw=b"x", key=kept.revision("shop", 17).text_sha256)
    assert named(kept) <= set(range(17, 33)) and 17 in named(kept)


def test_a_text_is_put_in_place_of_another(kept: SqlStore, where: str) -> None:
    raw = pack(FORGED.encode()).raw
    key = kept.revision("shop", 40).text_sha256
    tamper(where, "UPDATE texts SET raw = :raw, base = '', head = 0, tail = 0 WHERE sha256 = :key", raw=raw, key=key)
    assert named(kept) == {40}
    with pytest.raises(Damaged, match="revision 40 is not what was put there"):
        kept.head("shop")


@pytest.mark.parametrize("number", [1, 2, 20, 39, 40])
def test_a_revision_is_taken_out(kept: SqlStore, where: str, number: int) -> None:
    tamper(where, f"DELETE FROM revisions WHERE number = {number}")
    assert number in named(kept) and named(kept) <= {number, number + 1}
    assert "is missing." in " ".join(str(each) for each in kept.verify())


def test_the_last_revisions_are_cut_off_and_the_job_told_so(kept: SqlStore, where: str) -> None:
    earlier = kept.revision("shop", 38)
    tamper(where, "DELETE FROM revisions WHERE number > 38", "UPDATE jobs SET head = 38")
    assert named(kept) == {38}
    assert "not the last revision that was noted" in str(kept.verify()[0])
    # Whoever writes every hash again is not found out by hashes: docs/store.md says what helps against that.
    tamper(where, "UPDATE jobs SET head_sha256 = :sha", sha=earlier.sha256)
    assert kept.verify() == []


def test_two_revisions_are_swapped(kept: SqlStore, where: str) -> None:
    tamper(
        where,
        "UPDATE revisions SET number = 1000 WHERE number = 5",
        "UPDATE revisions SET number = 5 WHERE number = 9",
        "UPDATE revisions SET number = 9 WHERE number = 1000",
    )
    assert {5, 9} <= named(kept)


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("at", "2026-03-02T08:09:00.000001+00:00"),
        ("at", "yesterday"),
        ("by", "Bo"),
        ("why", "another reason"),
        ("summary", "x"),
        ("note", "x"),
        ("previous_sha256", "f" * 64),
        ("sha256", "f" * 64),
        ("tip", 3),
        ("before", 3),
    ],
)
def test_what_is_recorded_of_a_revision_is_changed(kept: SqlStore, where: str, column: str, value: object) -> None:
    tamper(where, f'UPDATE revisions SET "{column}" = :value WHERE number = 20', value=value)
    assert 20 in named(kept) and named(kept) <= {20, 21}


def test_a_revision_is_forged_with_a_hash_of_its_own(kept: SqlStore, where: str) -> None:
    made = sealed(replace(kept.revision("shop", 20), by="Bo"), "shop")
    engine = open_engine(where)
    with writing(engine) as connection:
        connection.execute(schema.revisions.update().where(schema.revisions.c.number == 20).values(rows.columns(made)))
    engine.dispose()
    assert [str(each) for each in kept.verify()] == ["shop: revision 21: does not follow from the one before; one of them was exchanged."]


def test_a_revision_is_put_on_top(kept: SqlStore, where: str) -> None:
    columns = ", ".join(f'"{each.name}"' for each in schema.revisions.columns if each.name not in ("number", "job_id"))
    tamper(where, f"INSERT INTO revisions (job_id, number, {columns}) SELECT job_id, 41, {columns} FROM revisions WHERE number = 40")
    assert {41, None} <= named(kept)


def test_the_job_gets_another_name(kept: SqlStore, where: str) -> None:
    tamper(where, "UPDATE jobs SET name = 'other'")
    assert 1 in named(kept)


def test_a_file_is_changed(kept: SqlStore, where: str) -> None:
    tamper(where, "UPDATE files SET content = :raw", raw=b"another plan")
    assert "is not what was put there" in str(kept.verify()[0])
    with pytest.raises(Damaged):
        kept.get_file(sha256_of(b"a plan"))
    kept.put_file(b"a plan")
    assert kept.get_file(sha256_of(b"a plan")) == b"a plan" and kept.verify() == []


def test_a_damaged_text_is_mended_when_it_comes_again(kept: SqlStore, where: str) -> None:
    tamper(where, "UPDATE texts SET raw = :raw WHERE sha256 = :key", raw=b"x", key=kept.revision("shop", 12).text_sha256)
    assert 12 in named(kept)
    kept.append("shop", "text 12", Change(by="Ada", at=kept.revision("shop", 40).at), expected=40)
    assert kept.verify() == []


def test_a_job_is_taken_out(kept: SqlStore, where: str) -> None:
    tamper(where, "DELETE FROM jobs")
    assert "which is missing" in str(kept.verify()[0])


def test_a_damaged_text_is_no_ground_for_the_next(kept: SqlStore, where: str) -> None:
    tamper(where, "UPDATE texts SET raw = :raw WHERE sha256 = :key", raw=b"x", key=kept.revision("shop", 40).text_sha256)
    kept.append("shop", "text 41", Change(by="Ada", at=kept.revision("shop", 40).at), expected=40)
    assert kept.text_at("shop", 41) == "text 41" and named(kept) == {40}


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as made:
        made.execute("CREATE TABLE notes (a)")
    made.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="other.db cannot be opened: it is a database, but not one of this program"):
        open_store(path)
    assert path.read_bytes() == before
