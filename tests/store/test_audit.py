"""The trail: it only grows, and a line that is not what was put there shows."""

from __future__ import annotations

import json
import multiprocessing
import os
import stat
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.store.audit import Audit, next_line, parsed, troubles_of
from loopwright.store.file import StoreError

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


@pytest.fixture
def trail(tmp_path: Path) -> Audit:
    return Audit(tmp_path / "shop.yaml.vault.trail", by="Ada", clock=lambda: AT)


def lines(count: int) -> list[bytes]:
    made: list[bytes] = []
    for number in range(count):
        made.append(next_line(made[-1] if made else b"", at=AT + timedelta(minutes=number), by="Ada", act="read", subject=f"user/{number}"))
    return made


def test_a_line_says_when_who_what_and_to_what(trail: Audit) -> None:
    trail.note("read", "user/1")
    trail.note("put", "user/2")
    first, second = (json.loads(line) for line in trail.lines())
    assert (first["at"], first["by"], first["act"], first["subject"]) == ("2026-03-02T08:00:00.000000+00:00", "Ada", "read", "user/1")
    assert (first["number"], second["number"], first["previous_sha256"]) == (1, 2, "0" * 64)
    assert trail.verify() == []
    assert stat.S_IMODE(trail.path.stat().st_mode) == 0o600


def test_another_clock_zone_is_written_in_utc() -> None:
    line = next_line(b"", at=AT.astimezone(timezone(timedelta(hours=5))), by="Ada", act="read", subject="x")
    assert json.loads(line)["at"] == "2026-03-02T08:00:00.000000+00:00"


@given(st.integers(2, 6), st.data())
def test_a_line_changed_taken_out_or_moved_shows(count: int, data: st.DataObject) -> None:
    whole = lines(count)
    assert troubles_of(whole) == []
    at = data.draw(st.integers(0, count - 1))
    raw = whole[at]
    byte = data.draw(st.integers(0, len(raw) - 2))
    flipped = raw[:byte] + bytes([raw[byte] ^ data.draw(st.sampled_from([1, 2, 4, 8, 16, 32, 64]))]) + raw[byte + 1 :]
    assert troubles_of([*whole[:at], flipped, *whole[at + 1 :]])
    if at < count - 1:
        assert troubles_of([*whole[:at], *whole[at + 1 :]])
        assert troubles_of([*whole[:at], whole[at + 1], whole[at], *whole[at + 2 :]])


def test_a_line_changed_and_given_a_fitting_hash_shows_at_the_next() -> None:
    whole = lines(3)
    whole[1] = next_line(whole[0], at=AT, by="Mallory", act="read", subject="user/1")
    assert [each.number for each in troubles_of(whole)] == [3]


@given(st.text(max_size=200), st.text(max_size=200))
def test_no_text_makes_two_lines_of_one(by: str, subject: str) -> None:
    raw = next_line(b"", at=AT, by=by, act="read", subject=subject)
    assert raw.count(b"\n") == 1
    assert raw.endswith(b"\n")
    assert raw.isascii()
    read = parsed(raw)
    assert read is not None
    assert not any(each in raw[:-1] for each in (b"\r", b"\x1b", b"\0", b"\x7f"))


def test_a_piece_of_a_line_stays_and_shows(trail: Audit) -> None:
    trail.note("read", "user/1")
    with trail.path.open("ab") as out:
        out.write(b'{"act":"read","at":"2026')
    trail.note("read", "user/2")
    assert [each.number for each in trail.verify()] == [2]
    assert len(trail.lines()) == 3


def test_a_very_long_last_line_is_found_whole(trail: Audit) -> None:
    trail.note("read", "user/1")
    with trail.path.open("ab") as out:
        out.write(b"x" * 200_000 + b"\n")
    trail.note("read", "user/2")
    assert [each.number for each in trail.verify()] == [2]


def test_a_trail_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").write_bytes(b"")
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "none" / "trail", tmp_path, tmp_path / "link", tmp_path / "pipe"):
        with pytest.raises(StoreError, match="Nothing was done"):
            Audit(path, by="Ada", clock=lambda: AT).note("read", "user/1")
    assert (tmp_path / "elsewhere").read_bytes() == b""


def _note_many(path: str, who: str) -> None:
    trail = Audit(Path(path), by=who, clock=lambda: AT)
    for number in range(40):
        trail.note("read", f"user/{number}")


def test_two_processes_make_one_chain(trail: Audit) -> None:
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=_note_many, args=(str(trail.path), who)) for who in ("ada", "ben")]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [worker.exitcode for worker in workers] == [0, 0]
    assert len(trail.lines()) == 80
    assert trail.verify() == []
