"""Looking whether what is kept is what was put there, link by link along the chain."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Row, select, text

from loopwright.store import schema
from loopwright.store.rows import kept, revision_of
from loopwright.store.store import NOTHING_BEFORE, Damaged, Revision, Trouble, link, sha256_of

AT_A_TIME = 500


def whole(connection: Connection) -> None:
    """Raise Damaged when the pages of a SQLite file do not fit together."""
    said = [str(row[0]) for row in connection.execute(text("PRAGMA integrity_check(1)"))]
    if said != ["ok"]:
        raise Damaged("the database is damaged.")


@dataclass
class Walk:
    """A walk along the chain of one job: what is expected next, and what was found wrong."""

    job: str
    next_number: int = 1
    previous_sha256: str = NOTHING_BEFORE
    last_at: Any = None
    troubles: list[Trouble] = field(default_factory=list)
    texts: dict[str, str] = field(default_factory=dict)

    def say(self, number: int | None, sentence: str) -> None:
        """Note a trouble."""
        self.troubles.append(Trouble(self.job, number, sentence))

    def past(self, revision: Revision) -> None:
        """Look at the next revision there is."""
        for missing in range(self.next_number, revision.number):
            self.say(missing, "is missing.")
        after_gap = revision.number != self.next_number
        if link(revision, self.job) != revision.sha256:
            self.say(revision.number, "what is recorded of it (time, person, reason, place) is not what was put there.")
        elif not after_gap and revision.previous_sha256 != self.previous_sha256:
            self.say(revision.number, "does not follow from the one before; one of them was exchanged.")
        elif self.last_at is not None and revision.at < self.last_at:
            self.say(revision.number, "is earlier than the one before.")
        self.next_number, self.previous_sha256, self.last_at = revision.number + 1, revision.sha256, revision.at


def job_troubles(connection: Connection, row: Row[Any]) -> list[Trouble]:
    """Return what is wrong with one job: its revisions, their texts, its end, its marks."""
    walk = Walk(row.name)
    for found in _revision_rows(connection, row.id):
        try:
            revision = revision_of(found)
        except Damaged:
            walk.say(found.number, "what is recorded of it (time, person, reason, place) is not what was put there.")
            walk.next_number, walk.previous_sha256 = found.number + 1, found.sha256
            continue
        walk.past(revision)
        sentence = _text_trouble(connection, walk, revision.text_sha256)
        if sentence:
            walk.say(revision.number, sentence)
    for missing in range(walk.next_number, row.head + 1):
        walk.say(missing, "is missing.")
    if walk.next_number > row.head + 1:
        walk.say(None, f"goes on to revision {walk.next_number - 1}, but its last one is noted as {row.head}.")
    elif walk.next_number == row.head + 1 and row.head_sha256 != walk.previous_sha256:
        walk.say(row.head, "is not the last revision that was noted.")
    for name, number in connection.execute(select(schema.marks.c.name, schema.marks.c.revision).where(schema.marks.c.job_id == row.id)):
        if not 1 <= number < walk.next_number:
            walk.say(number, f"is missing, and the mark {name} stands on it.")
    return walk.troubles


def _revision_rows(connection: Connection, job_id: int) -> Iterator[Row[Any]]:
    table, after = schema.revisions, -1
    wanted = select(table).where(table.c.job_id == job_id).order_by(table.c.number).limit(AT_A_TIME)
    while found := connection.execute(wanted.where(table.c.number > after)).all():
        yield from found
        after = found[-1].number


def _text_trouble(connection: Connection, walk: Walk, key: str) -> str:
    """Return what is wrong with a text, nothing when it is sound. Each text is looked at once."""
    if key not in walk.texts:
        try:
            walk.texts[key] = "" if sha256_of(kept(connection, key)) == key else "its text is not what was put there."
        except Damaged:
            walk.texts[key] = "its text, or one it is kept as a piece of, is missing or cannot be unpacked."
    return walk.texts[key]


def all_troubles(connection: Connection) -> list[Trouble]:
    """Return what is wrong with every job and every kept file, and revisions of jobs that are not there."""
    troubles: list[Trouble] = []
    ids = []
    for row in connection.execute(select(schema.jobs).order_by(schema.jobs.c.id)).all():
        ids.append(row.id)
        troubles += job_troubles(connection, row)
    stray = select(schema.revisions.c.job_id).where(schema.revisions.c.job_id.not_in(ids)).distinct()
    for job_id in connection.execute(stray).scalars():
        troubles.append(Trouble("", None, f"there are revisions of a job number {job_id}, which is missing."))
    for key in connection.execute(select(schema.files.c.sha256)).scalars().all():
        content = connection.execute(select(schema.files.c.content).where(schema.files.c.sha256 == key)).scalar_one()
        if sha256_of(bytes(content)) != key:
            troubles.append(Trouble("", None, f"the file {key} is not what was put there."))
    return troubles
