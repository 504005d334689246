"""What a receiver acknowledged: one database beside the job, each message in it once, readable by its owner alone.

It holds account numbers as they were sent, and no key. A message is committed before it is acknowledged. A commit survives that the
program is killed; with ``flushed`` it also waits for the disk, and so survives that the power goes, if the disk tells the truth.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path

from loopwright.signalling.frame import Content, Head
from loopwright.signalling.received import Arrival, Kept, Polled, Received, Way
from loopwright.signalling.received import received as events_in
from loopwright.signalling.repeats import REMEMBERED, Recent, Source, Stored, source_of
from loopwright.signalling.verdict import POLLS, Answer, Verdict
from loopwright.store.engine import plain, to_read, told
from loopwright.store.file import StoreError
from loopwright.store.received_tables import check_readable, open_to_write

SUFFIX = ".received.db"
MOST_MESSAGES = 5_000_000
MOST_POLLED = 10_000
NOTE_EVERY = 10_000
"""Messages after which it is noted which is the last of each source: with every batch it would cost as much as a quarter of the batch."""
# A named tuple takes half as long to make so as by its own name.
_made = tuple.__new__
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_PUT = (
    "INSERT INTO message (number, source, before, sequence, token, encrypted, at_us, said_us, way, peer, data, extended, warnings) "
    "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_REPEAT = "UPDATE message SET repeats = repeats + 1, repeated_us = ? WHERE number = ?"
_POLL = (
    "INSERT INTO polled VALUES (?, ?, ?, ?, ?, 1, 0) ON CONFLICT DO UPDATE SET polls = polls + 1, "
    "longest_us = max(longest_us, excluded.last_us - last_us), last_us = max(last_us, excluded.last_us)"
)
_GET = (
    "SELECT number, receiver, line, account, sequence, token, encrypted, at_us, said_us, way, peer, data, extended, warnings, repeats "
    "FROM message JOIN source ON source.id = source WHERE number > ? ORDER BY number LIMIT ?"
)
_SOURCE = "SELECT id, latest FROM source WHERE receiver = ? AND line = ? AND account = ?"
_CATCH_UP = (
    "UPDATE source SET latest = said.number FROM (SELECT source, max(number) AS number FROM message "
    "WHERE number > (SELECT coalesce(max(latest), 0) FROM source) GROUP BY source) AS said WHERE source.id = said.source"
)
"""Takes note of the last message of each source, whoever stored it, among those stored since that was done before."""
_LAST = (
    "WITH RECURSIVE back(number, nth) AS (VALUES (?, 1) UNION ALL "
    "SELECT before, nth + 1 FROM message JOIN back USING (number) WHERE before IS NOT NULL AND nth < ?) "
    "SELECT number, at_us, sequence, data FROM message JOIN back USING (number) ORDER BY number"
)
"""The last messages of a source: each names the one before it. An index would be written to at as many places as there are sources."""
_POLLED_ONLY = Kept(0)
_WAYS = {each: str(each) for each in Way}
_POLLED = "SELECT account, line, receiver, way, peer, first_us, last_us, polls, longest_us FROM polled JOIN source ON source.id = source"


def received_path(job: Path) -> Path:
    """Return where the events received for a job file are kept.

    >>> received_path(Path("/jobs/shop.yaml")).name
    'shop.yaml.received.db'
    """
    real = Path(os.path.realpath(job))
    return real.with_name(real.name + SUFFIX)


def look_through(path: Path) -> None:
    """Raise StoreError when a file of received events is not whole: pages, numbers without gaps, the source of each message."""
    with told(path.name, "cannot be read"), contextlib.closing(to_read(path)) as database:
        check_readable(database, path)
        odd = database.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok" or database.execute("PRAGMA foreign_key_check").fetchone()
        if odd or database.execute("SELECT coalesce(max(number), 0) <> count(*) FROM message").fetchone()[0]:
            raise StoreError(f"{path.name} is not what was put there.")


class ReceivedReader:
    """What was received, to be read while a receiver writes; from any thread, one at a time."""

    def __init__(self, path: Path) -> None:
        """Open the file. Raises StoreError, when there is none too."""
        self.path = path
        if not path.exists():
            raise StoreError(f"{path.name}: nothing was received yet.")
        with told(path.name, "cannot be read"):
            self._database = to_read(path)
            check_readable(self._database, path)

    def since(self, number: int, *, most: int = 1000) -> tuple[Received, ...]:
        """Return the events of the messages after this number, in their order, at most so many messages. Raises StoreError."""
        with told(self.path.name, "cannot be read"):
            rows = self._database.execute(_GET, (number, most)).fetchall()
        return tuple(event for row in rows for event in _events(row))

    def last(self) -> int:
        """Return the number of the last message stored, 0 where there is none. Raises StoreError."""
        with told(self.path.name, "cannot be read"):
            return int(self._database.execute("SELECT coalesce(max(number), 0) FROM message").fetchone()[0])

    def polls(self) -> tuple[Polled, ...]:
        """Return what is known of the polls, by account and path. Raises StoreError."""
        with told(self.path.name, "cannot be read"):
            rows = self._database.execute(_POLLED).fetchall()
        return tuple(
            Polled(
                account=account, line=line, receiver=receiver or None, way=Way(way), peer=peer,
                first_at=_moment(first), last_at=_moment(last), polls=polls, longest_s=longest / 1e6,
            )
            for account, line, receiver, way, peer, first, last, polls, longest in rows
        )  # fmt: skip

    def close(self) -> None:
        """Let go of the file."""
        self._database.close()


class ReceivedFile(ReceivedReader):
    """What was received, kept by a receiver: batches of messages, each batch whole or not at all."""

    def __init__(self, path: Path, *, flushed: bool = False, most: int = MOST_MESSAGES) -> None:
        """Open the file, made when it is not there. ``flushed``: a commit waits for the disk. Raises StoreError."""
        self.path = path
        self.flushed = flushed
        self._most = most
        with told(path.name, "cannot be written"):
            self._database = open_to_write(path, flushed=flushed)
        self._sources: dict[Source, _Known] = {}
        self._recent = Recent(self._last_of)
        self._number: int | None = None
        self._noted = 0

    def keep(self, arrivals: Sequence[Arrival]) -> list[Kept]:
        """Keep messages, all or none; a repeat is counted at what it repeats. When this returns they are safe. Raises sqlite3.Error."""
        try:
            return self._kept(arrivals)
        except sqlite3.IntegrityError:
            # Another program has written meanwhile, so a number was taken. What it wrote is taken in first.
            return self._kept(arrivals)

    def _kept(self, arrivals: Sequence[Arrival]) -> list[Kept]:
        run = self._database.execute
        run("BEGIN IMMEDIATE")
        try:
            if self._number is None:
                run(_CATCH_UP)
                self._number = self._noted = int(run("SELECT coalesce(max(number), 0) FROM message").fetchone()[0])
            kept = self._put(arrivals, self._number)
            run("COMMIT")
        except BaseException:
            with contextlib.suppress(sqlite3.Error):
                run("ROLLBACK")
            self._recent.clear()
            self._sources.clear()
            self._number = None
            raise
        return kept

    def trouble(self, error: Exception) -> str | None:
        """Return in a sentence why nothing was kept, None where the error is none of the store's."""
        if isinstance(error, StoreError):
            return str(error)
        return f"{self.path.name} was not written: {plain(error)}." if isinstance(error, sqlite3.Error | OSError) else None

    def _put(self, arrivals: Sequence[Arrival], number: int) -> list[Kept]:
        if number - self._noted >= NOTE_EVERY or len(self._sources) > MOST_POLLED:
            self._note(number)
        batch, kept, first, last_at, at_us = _Batch(), list[Kept](), self._recent.first, _EPOCH, 0
        for verdict, at, way, peer in arrivals:
            head, content = verdict.head, verdict.content
            if head is None or content is None:
                raise ValueError("what cannot be read is not kept.")
            if at is not last_at:
                # Those that were read together came at the same moment.
                last_at, at_us = at, _us(at)
            source = source_of(head)
            known = self._sources.get(source) or self._known(source)
            if head.token in POLLS:
                batch.polls.append((known.id, _WAYS[way], peer, at_us, at_us))
                kept.append(_POLLED_ONLY)
                continue
            repeated = first(source, number + 1, at, head.sequence, content.data)
            if repeated is not None:
                batch.repeats.append((at_us, repeated))
                kept.append(_made(Kept, (repeated, True)))
                continue
            number += 1
            batch.messages.append(_row(verdict, head, content, at_us, way, peer, number, known))
            known.latest = number
            kept.append(_made(Kept, (number, False)))
        self._number = number
        self._write(batch, number)
        return kept

    def _note(self, number: int) -> None:
        """Note in the file which is the last message of each source, up to this number, and forget the sources if they are many."""
        self._database.execute(_CATCH_UP)
        self._noted = number
        if len(self._sources) > MOST_POLLED:
            self._sources.clear()

    def _write(self, batch: _Batch, number: int) -> None:
        if number > self._most:
            raise StoreError(f"{self.path.name} holds {self._most} messages, and takes no more. Moved away, a new one begins.")
        if batch.messages:
            self._database.executemany(_PUT, batch.messages)
        if batch.repeats:
            self._database.executemany(_REPEAT, batch.repeats)
        if batch.polls and self._database.execute("SELECT count(*) FROM polled").fetchone()[0] < MOST_POLLED:
            self._database.executemany(_POLL, batch.polls)

    def _known(self, source: Source) -> _Known:
        """Return what the file knows of a source, which is put there where it is not; from now on it is known here too."""
        receiver, line, account = source
        named = (receiver or "", line, account)
        row = self._database.execute(_SOURCE, named).fetchone()
        if row is None:
            self._database.execute("INSERT INTO source (receiver, line, account) VALUES (?, ?, ?)", named)
            row = self._database.execute(_SOURCE, named).fetchone()
        known = self._sources[source] = _Known(*row)
        return known

    def _last_of(self, source: Source) -> Iterable[Stored]:
        """Return the last messages of a source, the oldest first."""
        known = self._sources.get(source) or self._known(source)
        rows = self._database.execute(_LAST, (known.latest, REMEMBERED))
        return [Stored(number, _moment(at_us), sequence, data) for number, at_us, sequence, data in rows]


@dataclass(slots=True)
class _Known:
    """A source as the file names it, and the number of its last message."""

    id: int
    latest: int | None


@dataclass(slots=True)
class _Batch:
    """What one transaction writes: values for the statements above."""

    messages: list[tuple[object, ...]] = field(default_factory=list)
    repeats: list[tuple[int, int]] = field(default_factory=list)
    polls: list[tuple[object, ...]] = field(default_factory=list)


def _row(
    verdict: Verdict, head: Head, content: Content, at_us: int, way: Way, peer: str, number: int, known: _Known
) -> tuple[object, ...]:  # fmt: skip
    # Whole numbers and text alone: anything else, a bool too, is first asked at length what it would be adapted to.
    return (
        number,
        known.id,
        known.latest,
        head.sequence,
        head.token,
        1 if head.encrypted else 0,
        at_us,
        None if content.at is None else _said_us(content.at),
        _WAYS[way],
        peer,
        content.data,
        json.dumps(content.extended) if content.extended else None,
        json.dumps(verdict.warnings) if verdict.warnings else None,
    )


def _events(row: tuple[object, ...]) -> Iterable[Received]:
    number, receiver, line, account, sequence, token, encrypted, at_us, said_us, way, peer, data, extended, warnings, repeats = row
    at, said_at = _moment(at_us), None if said_us is None else _moment(said_us)
    head = Head(
        token=str(token),
        encrypted=bool(encrypted),
        sequence=str(sequence),
        receiver=str(receiver) or None,
        line=str(line),
        account=str(account),
    )
    content = Content(data=str(data), extended=tuple((letter, text) for letter, text in json.loads(str(extended or "[]"))), at=said_at)
    verdict = Verdict(
        answer=Answer.ACK,
        reason="in order.",
        head=head,
        content=content,
        warnings=tuple(json.loads(str(warnings or "[]"))),
        skew_s=None if said_at is None else (said_at - at).total_seconds(),
    )
    return events_in(Arrival(verdict, at, Way(str(way)), str(peer)), Kept(_whole(number)), repeats=_whole(repeats))


# Many senders say the same second.
@lru_cache(maxsize=64)
def _said_us(at: datetime) -> int:
    return _us(at)


def _us(at: datetime) -> int:
    return (at - _EPOCH) // _MICROSECOND


def _whole(value: object) -> int:
    return value if isinstance(value, int) else 0


def _moment(at_us: object) -> datetime:
    return _EPOCH + timedelta(microseconds=_whole(at_us))
