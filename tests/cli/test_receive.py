"""``loopwright receive``, ``received`` and ``send``: a walk sent, printed, kept and listed, with no key in anybody's sight."""

from __future__ import annotations

import csv
import io
import re
import shutil
import socket
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from loopwright.cli import main, receive
from loopwright.receiver.running import Running
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.store.vault import create_vault, vault_path

Run = Callable[..., Any]
PASSPHRASE, TYPED = "correct horse battery", "000102030405060708090A0B0C0D0E0F"
WALK = """after_s,account,form,data
0,77F1,SIA-DCS,Nri1/BA004^Back door^
0,77F1,SIA-DCS,Nri1/BR004
0,77F1,ADM-CID,3130 01 007
0,77F1,NULL,
"""


@pytest.fixture
def job(tmp_path: Path, sample: str) -> Path:
    """Return a job file of its own, whose vault holds an account and its key."""
    path = tmp_path / "shop.yaml"
    shutil.copy(sample, path)
    vault = create_vault(vault_path(path), Secret(PASSPHRASE), note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1))
    vault.put("account/network", Secret("77f1"))
    vault.put("key/network", Secret(TYPED))
    for name, text in (("words", PASSPHRASE), ("key", TYPED), ("walk.csv", WALK)):
        (tmp_path / name).write_text(text, encoding="utf-8")
        (tmp_path / name).chmod(0o600)
    return path


class Sender(threading.Thread):
    """Sends a walk to the receiver as soon as its port is known, then stops it."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, *arguments: str) -> None:
        super().__init__(daemon=True)
        self.status: list[int] = []
        self._arguments = arguments
        self._running: Running | None = None
        begin = Running.__init__

        def begun(running: Running, *given: Any) -> None:
            begin(running, *given)
            self._running = running
            self.start()

        monkeypatch.setattr(Running, "__init__", begun)

    def run(self) -> None:
        assert self._running is not None
        for each in self._arguments:
            self.status.append(main(["send", f"127.0.0.1:{self._running.port}", *each.split(" "), "--at-once"]))
        self._running.stop()


def test_a_walk_is_received_printed_and_listed(run: Run, job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plain, hidden = f"{tmp_path}/walk.csv", f"{tmp_path}/walk.csv --udp --key-file {tmp_path}/key"
    sender = Sender(monkeypatch, hidden, plain)
    done = run("receive", str(job), "--port", "0", "--plain-too", "--passphrase-file", str(tmp_path / "words"))
    sender.join()
    assert (done.status, sender.status) == (0, [0, 0])
    assert "Account 77F1 (network); its key is in the vault as key/network." in done.out
    assert "nobody responds to an alarm" in done.out and "The test is over" in done.out
    assert "intrusion zone in alarm, zone 004, area 1, text: Back door." in done.out
    assert done.out.count("A repeat; it is stored once.") == 3
    assert "the account has a key, and the message came in plain" in done.out
    listed = run("received", str(job))
    assert listed.out.count("\n") == 3 and "[3] 77F1 by UDP 127.0.0.1: Restore: 130" in listed.out
    assert run("received", str(job), str(tmp_path / "events.csv")).status == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "events.csv").read_text(encoding="utf-8-sig"))))
    assert [(each["code"], each["zone"], each["restore"], each["key used"], each["repeats"]) for each in rows] == [
        ("BA", "004", "", "yes", "1"),
        ("BR", "004", "", "yes", "1"),
        ("130", "007", "yes", "yes", "1"),
    ]
    assert [each["number"] for each in run("received", str(job), "--since", "2", "--json").data()["events"]] == ["3"]
    seen = done.out + done.err + listed.out + (tmp_path / "events.csv").read_text(encoding="utf-8")
    assert TYPED not in seen + "".join(path.read_bytes().decode("latin-1") for path in tmp_path.glob("shop.yaml.*"))


def test_a_key_is_printed_on_a_terminal_alone(run: Run, job: Path, tmp_path: Path) -> None:
    done = run("receive", str(job), "--port", "0", "--show-key", "--passphrase-file", str(tmp_path / "words"))
    assert done.status == 2 and "on a terminal only" in done.err
    assert TYPED not in done.out + done.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--host", "0.0.0.0"), "one address of this machine"),
        (("--host", "centre.example"), "not an IP address"),
        (("--port", "70000"), "out of bounds"),
        (("--test-h", "13"), "out of bounds"),
        (("--host", "192.0.2.7"), "cannot be opened: this machine has no such address"),
        (("--port", "abc"), "abc"),
        (("--passphrase", "abc"), "not repeated"),
    ],
)
def test_where_nothing_can_be_received_is_said(run: Run, job: Path, arguments: tuple[str, ...], words: str) -> None:
    done = run("receive", str(job), "--no-vault", *arguments)
    assert done.status == 2 and words in done.err


@pytest.mark.parametrize("to", ["nowhere", "127.0.0.1", "127.0.0.1:0", ":8418", "127.0.0.1:x"])
def test_an_address_that_is_none_is_refused(run: Run, job: Path, tmp_path: Path, to: str) -> None:
    assert "an address and a port" in run("send", to, str(tmp_path / "walk.csv")).err


def test_where_nobody_listens_is_said(run: Run, job: Path, tmp_path: Path) -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        done = run("send", f"127.0.0.1:{held.getsockname()[1]}", str(tmp_path / "walk.csv"))
    assert done.status == 2 and "connection refused" in done.err


def test_nothing_received_yet_is_said(run: Run, job: Path) -> None:
    assert "nothing was received yet" in run("received", str(job)).err


def test_a_line_cannot_steer_the_terminal() -> None:
    from loopwright.signalling.received import Refused, Way

    refused = Refused(at=datetime(2026, 1, 15, tzinfo=UTC), way=Way.TCP, peer="192.0.2.7", reason="x\x1b[2J.", octets=b"\x1b]0;" * 40)
    line = receive.line_of(refused)
    assert "\x1b" not in line and line.endswith("...") and re.fullmatch(r"[\x20-\x7e]+", line)


def test_who_does_not_read_the_terminal_holds_up_nobody(run: Run, job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(receive, "MOST_WAITING", 1)
    monkeypatch.setattr(receive, "_follow", lambda running, _: running._thread.join())
    sender = Sender(monkeypatch, f"{tmp_path}/walk.csv")
    done = run("receive", str(job), "--port", "0", "--no-vault")
    sender.join()
    assert (done.status, sender.status) == (0, [0])
    assert "more were not printed" in done.out
    assert run("received", str(job)).out.count("\n") == 3
