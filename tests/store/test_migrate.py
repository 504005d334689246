"""Databases of earlier versions are brought up to date, those of later ones are left alone."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import event, text

from loopwright.store import migrate, schema
from loopwright.store.engine import open_engine, writing
from loopwright.store.file import StoreError
from loopwright.store.migrate import SCRIPTS, bring_up_to_date
from loopwright.store.packing import LONGEST_ROW
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import TooNew

Begin = Callable[..., SqlStore]


def test_the_versions_known_are_the_steps_there_are() -> None:
    steps = [each.revision for each in ScriptDirectory(str(SCRIPTS)).walk_revisions()]
    assert tuple(reversed(steps)) == schema.VERSIONS


def test_the_steps_make_the_tables_the_program_works_with(where: str) -> None:
    open_store(where).close()
    engine = open_engine(where)
    with writing(engine) as connection:
        assert compare_metadata(MigrationContext.configure(connection), schema.metadata) == []
    engine.dispose()


def first_version(where: str, begun: Begin) -> None:
    """Make a database of the first version with a job in it."""
    engine = open_engine(where)
    with writing(engine) as connection:
        bring_up_to_date(connection, to="0001")
    begun(SqlStore(engine, "old"), 5)
    engine.dispose()


def test_an_earlier_version_is_brought_up_to_date(where: str, begun: Begin) -> None:
    first_version(where, begun)
    with pytest.raises(StoreError, match="its tables are of version 0001; open it to be written once"):
        open_store(where, read_only=True)
    store = open_store(where)
    assert store.verify() == [] and store.head("shop").text == "text 5"
    assert store.get_file(store.put_file(b"plan")) == b"plan"
    store.close()
    if "://" not in where:
        copy = Path(f"{where}.version-0001")
        with sqlite3.connect(copy) as before:
            assert before.execute("SELECT version_num FROM alembic_version").fetchall() == [("0001",)]
            assert before.execute("SELECT count(*) FROM revisions").fetchone() == (5,)
        before.close()
        open_store(where).close()
        assert [each.name for each in Path(where).parent.iterdir() if ".version-" in each.name] == [copy.name], "copied once"


def test_a_step_that_fails_leaves_everything_as_it_was(where: str, begun: Begin, monkeypatch: pytest.MonkeyPatch) -> None:
    first_version(where, begun)

    def fails(connection: object) -> None:
        bring_up_to_date(connection)  # type: ignore[arg-type]
        raise StoreError("the step failed.")

    monkeypatch.setattr("loopwright.store.sql.bring_up_to_date", fails)
    with pytest.raises(StoreError, match="the step failed"):
        open_store(where)
    engine = open_engine(where)
    with writing(engine) as connection:
        assert migrate.version_of(connection) == "0001"
    engine.dispose()
    monkeypatch.undo()
    store = open_store(where)
    assert store.head("shop").text == "text 5" and store.verify() == []
    store.close()


def test_a_later_version_is_left_as_it_is(where: str) -> None:
    open_store(where).close()
    engine = open_engine(where)
    with writing(engine) as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0999'"))
    engine.dispose()
    before = b"" if "://" in where else Path(where).read_bytes()
    for read_only in (False, True):
        with pytest.raises(TooNew, match="made by a later Loopwright .version 0999 of the tables; this one knows up to"):
            open_store(where, read_only=read_only)
    assert "://" in where or Path(where).read_bytes() == before


def test_opening_what_is_up_to_date_does_not_load_the_migrations(tmp_path: Path) -> None:
    path = tmp_path / "jobs.db"
    open_store(path).close()
    code = "import sys; from loopwright.store.sql import open_store; open_store(sys.argv[1]).jobs(); print(*sorted(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True)
    assert "sqlalchemy" in done.stdout.split() and "alembic" not in done.stdout.split()


def test_opening_reads_the_head_only(tmp_path: Path, begun: Begin) -> None:
    """What opening reads does not grow with the number of revisions; how long it takes stands in bench/store.py."""
    asked: list[str] = []
    counted = []
    for revisions in (10, 400):
        path = tmp_path / f"{revisions}.db"
        begun(open_store(path), revisions).close()
        store = open_store(path)
        event.listen(store._engine, "before_cursor_execute", lambda *call: asked.append(call[2]))
        assert store.head("shop").number == revisions
        counted.append(len(asked))
        asked.clear()
        store.close()
    assert max(counted) <= 2 + LONGEST_ROW + 1, "the job, the revision, and the row of pieces its text is kept in"
