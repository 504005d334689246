"""What a receiver keeps: each message once, whole batches or nothing, read back as it came."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.signalling.frame import Content, Head, build
from loopwright.signalling.key import Key
from loopwright.signalling.received import Arrival, Kept, Received, Way
from loopwright.signalling.received import received as events_in
from loopwright.signalling.repeats import REMEMBERED, Recent
from loopwright.signalling.verdict import Account, Answer, Desk, judge
from loopwright.store import received, received_tables
from loopwright.store.aes import ChainedAes
from loopwright.store.file import StoreError
from loopwright.store.received import ReceivedFile, ReceivedReader, look_through, received_path
from often import often

NOW = datetime(2026, 1, 15, 12, tzinfo=UTC)
KEY, CIPHER = Key(bytes(range(16))), ChainedAes()
DESK = Desk(accounts={"AAA1": Account(keys=(KEY,)), "1234": Account()}, cipher=CIPHER, draw=os.urandom)

data = st.sampled_from(("Nri1/BA004^Back door^", "Nri1/BA4/TA5|Atext", "NRP", "Nid3ri2/CL", "NXX7"))
arrivals = st.builds(
    lambda account, sequence, data, later_s, peer: arrival(account, sequence, f"#{account}|{data}", NOW + timedelta(seconds=later_s), peer),
    st.sampled_from(("1234", "AAA1", "77FF")),
    st.integers(1, 9999),
    data,
    st.floats(0, 1e6).map(lambda value: round(value, 3)),
    st.sampled_from(("192.0.2.7", "2001:db8::1")),
)


def arrival(account: str, sequence: int, data: str, at: datetime = NOW, peer: str = "192.0.2.7", token: str = "SIA-DCS") -> Arrival:
    hidden = account == "AAA1"
    head = Head(token=token, encrypted=hidden, sequence=f"{sequence:04d}", receiver="2", line="F", account=account)
    content = Content(data=data, extended=(("I", "Küche"),), at=at.replace(microsecond=0))
    verdict = judge(build(head, content, key=KEY if hidden else None, cipher=CIPHER, draw=os.urandom), at, DESK)
    assert verdict.answer is Answer.ACK
    return Arrival(verdict, at, Way.UDP, peer)


def _message(came: Arrival) -> tuple[str, str]:
    assert came.verdict.head is not None
    return came.verdict.head.account, came.verdict.head.sequence


# Each message once: one that comes again days later, by the same number, is a new one.
@given(st.lists(arrivals, min_size=1, max_size=12, unique_by=_message))
@settings(max_examples=often(25))
def test_what_is_kept_reads_back_as_it_came(tmp_path_factory: pytest.TempPathFactory, came: list[Arrival]) -> None:
    path = tmp_path_factory.mktemp("kept") / "received.db"
    file = ReceivedFile(path)
    kept = file.keep(came)
    # Half of it again, as senders do.
    assert [each.number for each in file.keep(came[::2])] == [each.number for each in kept[::2]]
    expected: dict[int, tuple[Received, ...]] = {}
    for each, under in zip(came, kept, strict=True):
        expected.setdefault(under.number, events_in(each, Kept(under.number)))
    found = file.since(0)
    assert [each.number for each in found] == sorted(each.number for each in found)
    for number, events in expected.items():
        mine = [each for each in found if each.number == number]
        repeats = sum(under.number == number for under in (*kept, *kept[::2])) - 1
        assert {each.repeats for each in mine} == {repeats}
        assert [replace(each, repeats=0) for each in mine] == list(events)
    assert file.last() == max(expected)
    file.close()


def test_only_its_owner_reads_the_file_and_the_job_leads_to_it(tmp_path: Path) -> None:
    path = received_path(tmp_path / "shop.yaml")
    ReceivedFile(path).close()
    assert path.name == "shop.yaml.received.db"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_batch_is_kept_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = ReceivedFile(tmp_path / "received.db")
    first = arrival("1234", 1, "#1234|NRP")
    broken = Arrival(judge(b"\nno frame\r", NOW, DESK), NOW, Way.TCP, "192.0.2.7")
    with pytest.raises(ValueError):
        file.keep([first, broken])
    assert file.last() == 0
    # Nothing of the lost batch is taken for stored.
    assert file.keep([first]) == [Kept(1)]
    file.close()


def test_two_programs_on_one_file_store_each_message_once(tmp_path: Path) -> None:
    one, other = (ReceivedFile(tmp_path / "received.db") for _ in range(2))
    came = [arrival("1234", number, f"#1234|NBA{number}") for number in range(1, 9)]
    assert one.keep(came[:2]) == [Kept(1), Kept(2)]
    assert other.keep(came[2:4]) == [Kept(3), Kept(4)]
    assert one.keep(came[1:6]) == [Kept(2, True), Kept(3, True), Kept(4, True), Kept(5), Kept(6)]
    assert other.keep(came) == [*(Kept(number, True) for number in range(1, 7)), Kept(7), Kept(8)]
    assert [each.number for each in one.since(0)] == list(range(1, 9))
    one.close()
    other.close()


@pytest.mark.parametrize("every", [10, 130, 10_000])
def test_a_repeat_is_known_again_by_a_program_that_was_started_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, every: int) -> None:
    """Messages of several accounts by turns: each account's last 64 are found in the file, and no other's."""
    monkeypatch.setattr(received, "NOTE_EVERY", every)
    path, numbers = tmp_path / "received.db", range(1, REMEMBERED + 11)
    came = [arrival(account, number, f"#{account}|NBA{number}") for number in numbers for account in ("1234", "77FF", "9999")]
    file = ReceivedFile(path)
    for begin in range(0, len(came), 50):
        file.keep(came[begin : begin + 50])
    file.close()
    again = ReceivedFile(path)
    remembered = came[-3 * REMEMBERED :]
    assert again.keep(remembered) == [Kept(len(came) - len(remembered) + nth, True) for nth in range(1, len(remembered) + 1)]
    # What was said before them is too long ago, and no repeat any more.
    assert again.keep(came[:3]) == [Kept(len(came) + nth) for nth in (1, 2, 3)]
    again.close()


def test_sources_that_are_too_many_to_be_held_keep_their_repeats(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(received, "MOST_POLLED", 2)
    file = ReceivedFile(tmp_path / "received.db")
    file._recent = Recent(file._last_of, most_accounts=1)
    came = [arrival(account, number, f"#{account}|NRP") for number in (1, 2, 3) for account in ("1234", "77FF", "9999", "AAA1")]
    for each in came:
        file.keep([each])
    assert [file.keep([each]) for each in came] == [[Kept(nth, True)] for nth in range(1, len(came) + 1)]
    file.close()


def test_a_full_file_takes_no_more_and_says_so(tmp_path: Path) -> None:
    file = ReceivedFile(tmp_path / "received.db", most=2)
    file.keep([arrival("1234", number, "#1234|NRP") for number in (1, 2)])
    with pytest.raises(StoreError, match="holds 2 messages") as caught:
        file.keep([arrival("1234", 3, "#1234|NRP")])
    assert file.trouble(caught.value) == str(caught.value)
    assert file.trouble(sqlite3.OperationalError("database or disk is full")) == "received.db was not written: the disk is full."
    assert file.trouble(KeyError("x")) is None
    file.close()


@pytest.mark.parametrize(("version", "words"), [(99, "a later version"), (0, "an earlier version")])
def test_a_file_of_another_version_is_left_as_it_is(tmp_path: Path, version: int, words: str) -> None:
    path = tmp_path / "received.db"
    ReceivedFile(path).close()
    with sqlite3.connect(path) as database:
        database.execute(f"PRAGMA user_version={version}")
    database.close()
    for opened in (ReceivedFile, ReceivedReader):
        with pytest.raises(StoreError, match=words):
            opened(path)
    with pytest.raises(StoreError, match="nothing was received"):
        ReceivedReader(tmp_path / "none.db")


def format_1(path: Path, came: list[Arrival]) -> None:
    """Make a file as the first format had it: no message names the one before it, an index finds them."""
    file = ReceivedFile(path)
    file.keep(came)
    file.close()
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.executescript(
            "BEGIN; ALTER TABLE source DROP COLUMN latest; ALTER TABLE message DROP COLUMN before; "
            "CREATE INDEX of_source ON message (source, number); PRAGMA user_version=1; COMMIT;"
        )


def test_a_file_of_the_first_format_is_read_and_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "received.db"
    came = [arrival(account, number, f"#{account}|NBA{number}") for number in range(1, 90) for account in ("1234", "77FF")]
    format_1(path, came)
    reader = ReceivedReader(path)
    before = reader.since(0)
    assert len(before) == len(came)
    reader.close()
    look_through(path)
    file = ReceivedFile(path)
    assert file.since(0) == before
    # What was said before is known again, one of another start too; what is new follows.
    assert file.keep(came[-2 * REMEMBERED :]) == [Kept(len(came) - 2 * REMEMBERED + nth, True) for nth in range(1, 2 * REMEMBERED + 1)]
    assert file.keep([arrival("1234", 90, "#1234|NBA90")]) == [Kept(len(came) + 1)]
    file.close()
    look_through(path)
    ReceivedFile(tmp_path / "new.db").close()
    with contextlib.closing(sqlite3.connect(path)) as database, contextlib.closing(sqlite3.connect(tmp_path / "new.db")) as new:
        columns = "SELECT tables.name, columns.name FROM sqlite_schema AS tables, pragma_table_info(tables.name) AS columns"
        assert set(database.execute(columns)) == set(new.execute(columns))


def test_a_file_that_cannot_be_brought_up_stays_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "received.db"
    format_1(path, [arrival("1234", number, f"#1234|NBA{number}") for number in range(1, 9)])
    for stopped_at in range(1, len(received_tables._TO_FORMAT_2) + 1):
        with monkeypatch.context() as patch:
            patch.setattr(received_tables, "_TO_FORMAT_2", (*received_tables._TO_FORMAT_2[:stopped_at], "no statement at all"))
            with pytest.raises(StoreError, match="cannot be written"):
                ReceivedFile(path)
        with contextlib.closing(sqlite3.connect(path)) as database:
            assert database.execute("PRAGMA user_version").fetchone() == (1,)
            assert "before" not in {name for _, name, *_ in database.execute("PRAGMA table_info(message)")}
    file = ReceivedFile(path)
    assert len(file.since(0)) == 8
    file.close()


def test_the_log_is_as_long_at_first_as_it_grows_where_each_commit_waits_for_the_disk(tmp_path: Path) -> None:
    path = tmp_path / "received.db"
    file = ReceivedFile(path, flushed=True)
    log = path.with_name(f"{path.name}-wal")
    at_first = log.stat().st_size
    assert at_first > 0.9 * received_tables.FLUSHED_LOG_PAGES * received_tables.PAGE_BYTES
    for number in range(1, 60):
        file.keep([arrival("1234", number, f"#1234|NBA{number}")])
    assert log.stat().st_size == at_first
    assert path.stat().st_size < 100_000
    file.close()
    look_through(path)
    with contextlib.closing(sqlite3.connect(path)) as database:
        assert {name for (name,) in database.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")} == {
            "source",
            "message",
            "polled",
        }


def test_who_looks_while_it_is_made_finds_none_or_a_whole_one(tmp_path: Path) -> None:
    made: list[bool] = []

    def look(path: Path) -> None:
        while not made:
            if path.exists():
                reader = ReceivedReader(path)
                assert reader.last() == 0
                reader.close()

    for number in range(20):
        path = tmp_path / f"{number}.received.db"
        made.clear()
        with ThreadPoolExecutor(3) as looking:
            looks = [looking.submit(look, path) for _ in range(2)]
            opened = looking.submit(ReceivedFile, path)
            ReceivedFile(path).close()
            opened.result().close()
            made.append(True)
            for each in looks:
                each.result()
        # Two that close in the same moment each leave the log to the other: whoever is the next to close clears it away.
        ReceivedFile(path).close()
        assert sorted(each.name for each in tmp_path.glob(f"*{number}.received.db*")) == [path.name]
        path.unlink()
    assert not list(tmp_path.iterdir())


def test_polls_are_counted_by_path(tmp_path: Path) -> None:
    file = ReceivedFile(tmp_path / "received.db")
    for later_s in (0, 30, 95):
        assert file.keep([arrival("1234", 0, "", NOW + timedelta(seconds=later_s), token="NULL")]) == [Kept(0)]
    (polled,) = file.polls()
    assert (polled.polls, polled.longest_s, polled.receiver, polled.line) == (3, 65.0, "2", "F")
    assert (polled.first_at, polled.last_at) == (NOW, NOW + timedelta(seconds=95))
    file.close()
