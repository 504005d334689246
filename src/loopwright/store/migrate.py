"""From the version a database has to the one this program works with."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, inspect, text

from loopwright.store.schema import VERSIONS
from loopwright.store.store import Damaged, TooNew, Unfit

SCRIPTS = Path(__file__).parent / "migrations"


def version_of(connection: Connection) -> str:
    """Return the version of the database's tables, empty when it has none. Raises Unfit when it is not of this program."""
    tables = inspect(connection).get_table_names()
    if "alembic_version" not in tables:
        if tables:
            raise Unfit("it is a database, but not one of this program.")
        return ""
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalars().all()
    if len(found) != 1:
        raise Damaged("it does not say which version it is.")
    return str(found[0])


def check_version(version: str) -> None:
    """Raise TooNew when a later program made the tables."""
    if version and version not in VERSIONS:
        raise TooNew(f"it was made by a later Loopwright (version {version} of the tables; this one knows up to {VERSIONS[-1]}).")


def bring_up_to_date(connection: Connection, *, to: str = VERSIONS[-1]) -> None:
    """Take the steps that are missing, in the transaction of the connection."""
    # Only when there is a step to take: the library is 0.1 s of start-up.
    from alembic.config import Config
    from alembic.runtime.environment import EnvironmentContext
    from alembic.script import ScriptDirectory

    scripts = ScriptDirectory(str(SCRIPTS))

    def steps(version: Any, context: Any) -> Any:  # noqa: ANN401 - the library's own signature
        return scripts._upgrade_revs(to, version)

    taken: Callable[[Any, Any], Any] = steps
    with EnvironmentContext(Config(), scripts, fn=taken, destination_rev=to) as environment:
        environment.configure(connection=connection)
        environment.run_migrations()
