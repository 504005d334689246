"""``loopwright decode``: frames of a log in words, damage told and counted, keys in nobody's sight."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from loopwright.signalling.frame import Content, Head, build, framed
from loopwright.signalling.key import keys_of
from loopwright.store.aes import ChainedAes

Run = Callable[..., Any]
# A printed frame of a public library's tests.
PRINTED = b'\nB2220037"SIA-DCS"0001L0#1234[#1234|NFA0001]_03:04:05,01-02-2024\r'
TYPED = "000102030405060708090A0B0C0D0E0F"


@pytest.mark.parametrize(
    "line",
    [
        PRINTED,
        PRINTED.strip(),
        b"12:00 rx " + repr(PRINTED).encode(),
        PRINTED.replace(b"\n", b"<LF>").replace(b"\r", b"<CR>"),
        b"rx: " + PRINTED.hex().encode(),
        b"rx: " + PRINTED.hex(" ").upper().encode(),
    ],
)
def test_a_frame_is_found_however_it_is_printed(run: Run, line: bytes) -> None:
    done = run("decode", stdin=b"started\n" + line + b"\nended\n")
    assert done.status == 0
    assert "account 1234" in done.out and "FA " in done.out and "zone 0001" in done.out and "2024-01-02 03:04:05 UTC" in done.out


def test_a_restore_and_its_zone_are_told(run: Run) -> None:
    out = run("decode", stdin=b'4630003B"ADM-CID"0002L0#1234[#1234|3130 01 001]_11:59:53,01-15-2026').out
    assert "Restore: 130" in out and "zone 001" in out and "group 01" in out


def test_a_damaged_frame_is_told_what_it_should_be(run: Run) -> None:
    done = run("decode", stdin=PRINTED.replace(b"B222", b"B223"))
    assert done.status == 1
    assert "B223 and should be B222" in done.out


@pytest.mark.parametrize("which", [0, 1])
def test_a_key_is_tried_both_ways_and_never_printed(run: Run, tmp_path: Path, which: int) -> None:
    key = keys_of(TYPED)[which]
    head = Head(token="SIA-DCS", encrypted=True, sequence="0001", receiver=None, line="0", account="AAA1")
    content = Content(data="#AAA1|Nri1/BA05", at=datetime(2026, 1, 15, 12, tzinfo=UTC))
    log = build(head, content, key=key, cipher=ChainedAes(), draw=os.urandom)
    file = tmp_path / "key"
    file.write_text(TYPED + "\n")
    file.chmod(0o600)
    assert "needs the key" in run("decode", stdin=log).out
    done = run("decode", "--key-file", str(file), stdin=log)
    assert done.status == 0
    assert key.form in done.out and "zone 05" in done.out
    assert TYPED not in done.out + done.err
    file.write_text("F" * 32)
    assert "does not fit" in run("decode", "--key-file", str(file), stdin=log).out


def test_a_key_on_the_line_is_refused_and_not_repeated(run: Run) -> None:
    for wrong in (("--key", TYPED), ("-", TYPED)):
        done = run("decode", *wrong, stdin=PRINTED)
        assert done.status == 2
        assert TYPED not in done.out + done.err


def test_hidden_text_that_begins_like_a_dump_of_bytes_is_left_alone(run: Run) -> None:
    hidden = framed(b'"*SIA-DCS"0001L0#AAA1[' + b"0A" * 48)
    assert "needs the key" in run("decode", stdin=hidden).out


def test_a_log_without_a_frame_is_refused(run: Run) -> None:
    assert run("decode", stdin=b"nothing of the kind\n").status == 2
