"""The store in SQLite or PostgreSQL, by one layer for both."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Row, func, insert, select, update
from sqlalchemy.exc import IntegrityError, OperationalError, SQLAlchemyError

from loopwright.store import check, rows, schema
from loopwright.store.address import is_address
from loopwright.store.backup import beside
from loopwright.store.engine import ONE_AT_A_TIME, open_engine, reading, rebuilding, shown, told, writing
from loopwright.store.file import StoreError
from loopwright.store.migrate import bring_up_to_date, check_version, version_of
from loopwright.store.store import (
    PAGE,
    Change,
    Conflict,
    Damaged,
    Head,
    Mark,
    NotThere,
    Revision,
    Trouble,
    Unfit,
    next_revision,
    plain_words,
    sha256_of,
)

MOST_TEXT_BYTES, MOST_FILE_BYTES = 16_000_000, 256_000_000


class SqlStore:
    """A store in a database; ``open_store`` makes one."""

    def __init__(self, engine: Engine, name: str, *, read_only: bool = False, why_read_only: str = "it was opened to be read only") -> None:
        """Take an engine whose tables are up to date."""
        self.name = name
        self._engine = engine
        self._read_only = read_only
        self._why_read_only = why_read_only

    @property
    def read_only(self) -> bool:
        """Return whether nothing can be put into it."""
        return self._read_only

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def jobs(self) -> tuple[str, ...]:
        """Return the names of the jobs, in order. Raises StoreError."""
        with self._reading() as connection:
            return tuple(connection.execute(select(schema.jobs.c.name).order_by(schema.jobs.c.id)).scalars())

    def create(self, job: str, text: str, change: Change) -> Revision:
        """Begin a job with its first text. Raises StoreError, also when there is one of that name."""
        name = plain_words(job)
        with self._writing() as connection:
            if connection.execute(select(schema.jobs.c.id).where(schema.jobs.c.name == name)).first() is not None:
                raise StoreError(f"{self.name} already keeps a job called {name}.")
            raw = _bytes(text)
            made = next_revision(name, sha256_of(raw), change, last=None)
            try:
                begun = insert(schema.jobs).values(name=name, head=1, head_sha256=made.sha256).returning(schema.jobs.c.id)
                job_id = connection.execute(begun).scalar_one()
            except IntegrityError:
                raise StoreError(f"{self.name} already keeps a job called {name}.") from None
            rows.put_text(connection, raw, made.text_sha256, "")
            connection.execute(insert(schema.revisions).values(job_id=job_id, **rows.columns(made)))
        return made

    def head(self, job: str) -> Head:
        """Return the last revision and its text. Raises StoreError."""
        with self._reading() as connection:
            return self._head(connection, self._job(connection, job))

    def number(self, job: str) -> int:
        """Return the number of the last revision. Raises StoreError."""
        with self._reading() as connection:
            return int(self._job(connection, job).head)

    @contextmanager
    def alone(self, job: str) -> Iterator[None]:
        """Have other servers that ask for the same wait until the block ends, or until that takes too long."""
        with ExitStack() as held:
            if self._engine.dialect.name == "postgresql":
                # Whatever goes wrong here is told by what is done next, if it still goes wrong then.
                with suppress(SQLAlchemyError):
                    connection = self._engine.connect()
                    held.callback(_let_go, connection)
                    connection.execute(select(func.pg_advisory_xact_lock(ONE_AT_A_TIME, func.hashtext(plain_words(job)))))
            yield

    def append(
        self, job: str, text: str, change: Change, *, expected: int, alongside: Callable[[], None] | None = None
    ) -> Revision | Conflict:
        """Append a text to revision ``expected``; when that is no longer the last, nothing is appended. Raises StoreError.

        ``alongside`` is done when everything is written but does not count yet; when it raises, nothing is appended.
        """
        raw = _bytes(text)
        with self._writing() as connection:
            row = self._job(connection, job, to_write=True)
            if row.head != expected:
                return Conflict(ours=text, theirs=self._head(connection, row))
            last = self._revision(connection, row.id, row.head)
            own = last if last.by == plain_words(change.by) else self._last_by(connection, row.id, change.by)
            back = self._revision(connection, row.id, change.back_to) if change.back_to else None
            made = next_revision(row.name, sha256_of(raw), change, last=last, own=own, back=back)
            rows.put_text(connection, raw, made.text_sha256, last.text_sha256)
            connection.execute(insert(schema.revisions).values(job_id=row.id, **rows.columns(made)))
            changed = update(schema.jobs).where(schema.jobs.c.id == row.id).values(head=made.number, head_sha256=made.sha256)
            connection.execute(changed)
            if alongside is not None:
                alongside()
        return made

    def revisions(self, job: str, *, before: int | None = None, most: int = PAGE) -> tuple[Revision, ...]:
        """Return a page of revisions, the latest first, ``before`` a number where one is given. Raises StoreError."""
        table = schema.revisions
        with self._reading() as connection:
            wanted = select(table).where(table.c.job_id == self._job(connection, job).id).order_by(table.c.number.desc()).limit(most)
            if before is not None:
                wanted = wanted.where(table.c.number < before)
            return tuple(rows.revision_of(row) for row in connection.execute(wanted))

    def revision(self, job: str, number: int) -> Revision:
        """Return one revision. Raises StoreError."""
        with self._reading() as connection:
            return self._revision(connection, self._job(connection, job).id, number)

    def last_by(self, job: str, by: str, *, up_to: int | None = None) -> Revision | None:
        """Return the last revision a person made, up to a number where one is given. Raises StoreError."""
        with self._reading() as connection:
            return self._last_by(connection, self._job(connection, job).id, by, up_to)

    def text_at(self, job: str, number: int) -> str:
        """Return the text of a revision. Raises StoreError, also when it is not the text that was put there."""
        with self._reading() as connection:
            found = self._revision(connection, self._job(connection, job).id, number)
            return self._text(connection, found)

    def mark(self, job: str, name: str, number: int) -> Mark:
        """Give a revision a name. Raises StoreError, also when the name stands on another revision."""
        made = Mark(plain_words(name).strip(), number)
        if not made.name:
            raise StoreError("a mark needs a name.")
        with self._writing() as connection:
            row = self._job(connection, job, to_write=True)
            self._revision(connection, row.id, number)
            table = schema.marks
            there = select(table.c.revision).where(table.c.job_id == row.id, table.c.name == made.name)
            held = connection.execute(there).scalar_one_or_none()
            if held is not None and held != number:
                raise StoreError(f"{made.name} already stands on revision {held}; a mark stays where it was put.")
            if held is None:
                connection.execute(insert(table).values(job_id=row.id, name=made.name, revision=number))
        return made

    def marks(self, job: str) -> tuple[Mark, ...]:
        """Return the marks of a job, by revision. Raises StoreError."""
        table = schema.marks
        with self._reading() as connection:
            wanted = select(table.c.name, table.c.revision).where(table.c.job_id == self._job(connection, job).id)
            return tuple(sorted((Mark(*row) for row in connection.execute(wanted)), key=lambda each: (each.revision, each.name)))

    def put_file(self, content: bytes) -> str:
        """Keep a file and return its SHA-256, by which it is found again. Raises StoreError."""
        if len(content) > MOST_FILE_BYTES:
            raise StoreError(f"a file of over {MOST_FILE_BYTES // 1_000_000} MB is not kept.")
        key = sha256_of(content)
        with self._writing() as connection:
            rows.put(connection, schema.files, sha256=key, content=content)
        return key

    def get_file(self, sha256: str) -> bytes:
        """Return a kept file. Raises StoreError, also when it is not what was put there."""
        with self._reading() as connection:
            found = connection.execute(select(schema.files.c.content).where(schema.files.c.sha256 == sha256)).scalar_one_or_none()
        if found is None:
            raise NotThere(f"{self.name} keeps no file {plain_words(sha256)[:64]}.")
        if sha256_of(bytes(found)) != sha256:
            raise Damaged(f"{self.name}: the file {sha256} is not what was put there.")
        return bytes(found)

    def verify(self, job: str | None = None) -> list[Trouble]:
        """Return everything in one job, or in all and their files, that is not as it was put there. Raises StoreError."""
        with self._reading() as connection:
            if job is not None:
                return check.job_troubles(connection, self._job(connection, job))
            return check.all_troubles(connection)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        with told(self.name, "cannot be read"), reading(self._engine) as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[Connection]:
        if self._read_only:
            raise StoreError(f"nothing was added to {self.name}: {self._why_read_only}.")
        with told(self.name, "was not written"), writing(self._engine) as connection:
            yield connection

    def _job(self, connection: Connection, job: str, *, to_write: bool = False) -> Row[Any]:
        """Return the row of a job; ``to_write`` keeps other writers waiting (SQLite does so for the whole database anyway)."""
        wanted = select(schema.jobs).where(schema.jobs.c.name == plain_words(job))
        found = connection.execute(wanted.with_for_update() if to_write else wanted).first()
        if found is None:
            raise NotThere(f"{self.name} keeps no job called {plain_words(job)}.")
        return found

    def _head(self, connection: Connection, row: Row[Any]) -> Head:
        last = self._revision(connection, row.id, row.head)
        return Head(revision=last, text=self._text(connection, last))

    def _revision(self, connection: Connection, job_id: int, number: int) -> Revision:
        table = schema.revisions
        found = connection.execute(select(table).where(table.c.job_id == job_id, table.c.number == number)).first()
        if found is None:
            raise NotThere(f"{self.name} has no revision {number}.")
        return rows.revision_of(found)

    def _last_by(self, connection: Connection, job_id: int, by: str, up_to: int | None = None) -> Revision | None:
        table = schema.revisions
        wanted = select(table).where(table.c.job_id == job_id, table.c.by == plain_words(by)).order_by(table.c.number.desc()).limit(1)
        found = connection.execute(wanted if up_to is None else wanted.where(table.c.number <= up_to)).first()
        return None if found is None else rows.revision_of(found)

    def _text(self, connection: Connection, revision: Revision) -> str:
        raw = rows.kept(connection, revision.text_sha256)
        if sha256_of(raw) != revision.text_sha256:
            raise Damaged(f"the text of revision {revision.number} is not what was put there.")
        return raw.decode("utf-8")


def _let_go(connection: Connection) -> None:
    with suppress(SQLAlchemyError):
        connection.close()


def open_store(where: str | Path, *, read_only: bool = False, name: str = "") -> SqlStore:
    """Open the database in a file, or at a ``postgresql://`` address, making its tables when there are none.

    ``name`` is what it is called in messages, when that is not the file's own name.
    Raises Damaged when it is broken or somebody else's, TooNew when a later program made it, StoreError when it cannot be opened.
    """
    place = str(where)
    name = name or shown(place)
    if not is_address(place) and read_only and not Path(place).is_file():
        raise StoreError(f"{name} cannot be opened: there is no such file.")
    engine = open_engine(place, read_only=read_only)
    try:
        with told(name, "cannot be opened"):
            if not is_address(place) and not read_only and Path(place).is_file():
                _look(Path(place))
            _prepare(engine, None if is_address(place) else Path(place), read_only=read_only)
    except Unfit as error:
        engine.dispose()
        raise type(error)(f"{name} cannot be opened: {error} It is left as it is.") from error
    except BaseException:
        engine.dispose()
        raise
    return SqlStore(engine, name, read_only=read_only)


def _look(path: Path) -> None:
    """Raise Unfit when a file is not for this program, before anything of it is changed: the journal's kind stands in it."""
    engine = open_engine(str(path), read_only=True)
    try:
        with reading(engine) as connection:
            check_version(version_of(connection))
    except OperationalError:
        # What a reader alone cannot open, a writer may: one that was stopped half way is put right first.
        return
    finally:
        engine.dispose()


def _prepare(engine: Engine, path: Path | None, *, read_only: bool) -> None:
    """See that the database is whole and of a version that is known; take the steps that are missing."""
    with reading(engine) as connection:
        version = version_of(connection)
        check_version(version)
        if path is not None:
            check.whole(connection)
    if version == schema.VERSIONS[-1]:
        return
    if read_only:
        raise Unfit(f"its tables are of version {version or 'none'}; open it to be written once, so that they are brought up to date.")
    if path is not None and version:
        beside(path, f"version-{version}")
    with rebuilding(engine) as connection:
        # Another program may have been quicker.
        if version_of(connection) != schema.VERSIONS[-1]:
            bring_up_to_date(connection)


def _bytes(text: str) -> bytes:
    try:
        raw = text.encode("utf-8")
    except UnicodeEncodeError as error:
        raise StoreError(f"character {error.start + 1} of the text is half of one, and cannot be kept.") from error
    if len(raw) > MOST_TEXT_BYTES:
        raise StoreError(f"a text of over {MOST_TEXT_BYTES // 1_000_000} MB is not kept.")
    return raw
