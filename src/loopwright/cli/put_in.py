"""``loopwright put-in``: a job document put into a database server."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from loopwright.cli.refusal import DONE, Refusal
from loopwright.cli.server import JobName
from loopwright.cli.words import File, Flag

if TYPE_CHECKING:
    from loopwright.store.sql import SqlStore
    from loopwright.store.store import Change


def put_in(file: File, to: File, /, *, job: JobName = None, force: Flag = False) -> int:
    """Put a job document into a PostgreSQL server, where several people and several servers work on it at once.

    The document goes in as it stands, comments and all, and `loopwright restore ADDRESS shop.yaml` writes it out again.
    Its revisions begin anew there; keep the history beside the file. The password is never written on the command line: it is taken
    from PGPASSWORD, from ~/.pgpass (or the file PGPASSFILE names), or from the service PGSERVICE names.

    For example:

        loopwright put-in shop.yaml postgresql://ada@db.example/office
        loopwright put-in shop.yaml postgresql://ada@db.example/office --job "Fennimarch Bindery"
        loopwright serve postgresql://ada@db.example/office --job shop

    Parameters
    ----------
    file
        The job document; - reads it from standard input.
    to
        The address of the server and its database: postgresql://person@server/database.
    job
        What the job is to be called there; the file's own name, without .yaml, unless said.
    force
        Where there is a job of that name, make the document its next revision.
    """
    from loopwright.cli.file import STDIN, job_in, read_source
    from loopwright.cli.server import on_server, opened
    from loopwright.cli.terminal import plain, say
    from loopwright.job.tree import as_text
    from loopwright.store.address import shown_address
    from loopwright.store.file import StoreError
    from loopwright.store.user import who

    if not on_server(to):
        raise Refusal("put-in: TO is the address of a server. Accepted: postgresql://person@server/database.")
    if file == STDIN and job is None:
        raise Refusal("--job: what is read from standard input needs a name.")
    source = read_source(file)
    job_in(source, file)
    name = Path(file).name.removesuffix(".yaml").removesuffix(".yml") if job is None else job
    store = opened(to)
    try:
        number = _put(store, name, as_text(source), who(), force=force)
    except StoreError as error:
        raise Refusal(str(error)) from None
    finally:
        store.close()
    say(plain(f"{name} is on {shown_address(to)}, revision {number}."))
    return DONE


def _put(store: SqlStore, name: str, text: str, by: str, *, force: bool) -> int:
    """Make the text the first revision of a job or, by force, the next one; return its number. Raises StoreError."""
    from datetime import UTC, datetime

    from loopwright.store.store import Change, Revision
    from loopwright.store.stored import PUT_IN

    change: Change = Change(by=by, at=datetime.now(UTC), why=PUT_IN)
    if name not in store.jobs():
        return store.create(name, text, change).number
    if not force:
        raise Refusal(f"there is a job called {name} already. --job NAME takes another name; --force makes this its next revision.")
    done = store.append(name, text, change, expected=store.number(name))
    if not isinstance(done, Revision):
        raise Refusal(f"{name} was changed just now; nothing was put in. Look at it, and try again.")
    return done.number
