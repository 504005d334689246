"""What was to be written stands in no error and no log, whatever goes wrong in the database."""

from __future__ import annotations

import logging
import traceback
from collections.abc import Callable

import pytest

from loopwright.store.engine import open_engine, writing
from loopwright.store.file import StoreError
from loopwright.store.sql import open_store
from loopwright.store.store import Change

PLANTED = "planted-739164820517724415"
Made = Callable[..., Change]


def test_an_error_of_either_database_tells_nothing_of_what_was_to_be_written(
    where: str, change: Made, caplog: pytest.LogCaptureFixture
) -> None:
    for name in ("sqlalchemy", "sqlalchemy.engine", "sqlalchemy.pool"):
        caplog.set_level(logging.INFO, name)
    store = open_store(where)
    store.create("shop", "text 1", change(by=PLANTED))
    engine = open_engine(where)
    with writing(engine) as connection:
        # The second revision in one name breaks this, with everything of it among the parameters, and the name in what the server adds.
        connection.exec_driver_sql('CREATE UNIQUE INDEX once ON revisions ("by")')
    engine.dispose()
    with pytest.raises(StoreError, match="was not written") as raised:
        store.append("shop", f"text {PLANTED}", change(1, by=PLANTED, summary=f"notes: {PLANTED}"), expected=1)
    assert PLANTED not in "".join(traceback.format_exception(raised.value))
    assert "INSERT INTO revisions" in caplog.text, "the log tells what is done"
    assert PLANTED not in caplog.text
    store.close()
