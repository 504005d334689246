"""The port of a test from the room Prove: opened at one address, heard by the board, left open longer, shut, and refused in a sentence."""

from __future__ import annotations

import json
import os
import re
import socket
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from loopwright.signalling.frame import Content, Head, build
from loopwright.signalling.key import Key
from loopwright.signalling.received import Refused, Way
from loopwright.signalling.verdict import Why
from loopwright.store.person import RIGHTS, Role
from loopwright.store.secret import Secret
from loopwright.store.vault import create_vault, vault_path
from loopwright.web.port_asked import VAULT_SHUT
from loopwright.web.receiving import PORTS
from loopwright.web.refused import _DO, MOST, Turnings
from receiving import CIPHER, message
from web.test_prove import BASE, Van

PATIENCE_S = 30.0
KEY = "00112233445566778899AABBCCDDEEFF"
PASSPHRASE = "seven brass hinges under a wet quay"


@pytest.fixture
def van(tmp_path: Path) -> Iterator[Van]:
    made = Van(tmp_path)
    yield made
    PORTS.close(made.path)


def ask(van: Van, do: str, **more: Any) -> tuple[str, str]:
    """Ask for something of the port; return what was refused, and the page."""
    answer = van.client.post("/prove/port", json={"do": do, **more}, headers={"Origin": BASE})
    assert answer.status_code == 200, answer.text
    return " ".join(each["message"] for each in answer.json()["problems"]), answer.json()["page"]


def port_of(page: str) -> int:
    found = re.search(r"Listening at <b>127\.0\.0\.1</b> port <b>(\d+)</b>", page)
    assert found
    return int(found[1])


def tagged(page: str) -> str:
    found = re.search(r'data-tag="([^"]+)"', page)
    assert found
    return found[1]


def test_a_frame_is_acknowledged_and_stands_on_the_board(van: Van) -> None:
    refused, page = ask(van, "open", port="0")
    assert not refused
    assert "nobody responds to an alarm" in page
    assert "<b>60 min</b> more" in page
    with socket.create_connection(("127.0.0.1", port_of(page)), PATIENCE_S) as wire:
        wire.sendall(message(1))
        assert b'"ACK"' in wire.recv(4096)
    assert van.path.with_name("job.yaml.received.db").exists()
    assert "Last of 1" in van.page()


def test_it_is_left_open_longer_and_shut(van: Van) -> None:
    port = port_of(ask(van, "open", port="0", test_h="11,5")[1])
    assert "already" in ask(van, "open", port="0")[0], "one a job"
    assert "<b>720 min</b> more" in ask(van, "more")[1]
    assert "out of bounds" in ask(van, "more")[0]
    van.now += timedelta(minutes=700)
    assert "<b>20 min</b> more" in van.page()
    assert "Open a port" in ask(van, "close")[1]
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", port), PATIENCE_S)
    assert "shut" in ask(van, "more")[0]


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"host": "192.0.2.9"}, "this machine has no such address"),
        ({"host": "0.0.0.0"}, "this machine has no such address"),
        ({"port": "many"}, "as numbers"),
        ({"port": "70000"}, "out of bounds"),
        ({"test_h": "13"}, "out of bounds"),
        ({"test_h": "nan"}, "out of bounds"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(van: Van, said: dict[str, str], words: str) -> None:
    assert words in ask(van, "open", **said)[0]
    assert PORTS.standing(van.path) is None


def test_a_port_that_is_taken_is_refused_in_a_sentence(van: Van) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        assert "another program has it" in ask(van, "open", port=str(taken.getsockname()[1]))[0]


def test_accounts_come_out_of_an_open_vault_and_no_key_is_shown(van: Van) -> None:
    vault = create_vault(vault_path(van.path), Secret(PASSPHRASE), note=lambda *_, **__: None)
    vault.put("account/site", Secret("1234"))
    vault.put("key/site", Secret(KEY))
    assert ask(van, "open", port="0")[0] == VAULT_SHUT
    opened = van.client.post("/secrets/open", json={"passphrase": PASSPHRASE}, headers={"Origin": BASE})
    assert opened.status_code == 200, opened.text
    refused, page = ask(van, "open", port="0")
    assert not refused
    assert "Account 1234: its key is in the vault as key/site" in page
    assert KEY not in json.dumps([page, van.page()])


def test_what_is_refused_stands_on_the_page_with_what_to_do(van: Van) -> None:
    vault = create_vault(vault_path(van.path), Secret(PASSPHRASE), note=lambda *_, **__: None)
    for name, said in (("account/site", "AAA1"), ("key/site", KEY), ("account/other", "77F0")):
        vault.put(name, Secret(said))
    van.client.post("/secrets/open", json={"passphrase": PASSPHRASE}, headers={"Origin": BASE})
    page = ask(van, "open", port="0")[1]
    assert "what it sends in plain is refused" in page and "Not taken" not in page
    tag, key = page, Key(bytes.fromhex(KEY))

    def hidden(number: int, *, account: str = "AAA1", under: Key = key, late: timedelta = timedelta()) -> bytes:
        head = Head(token="SIA-DCS", encrypted=True, sequence=f"{number:04d}", receiver=None, line="0", account=account)
        at = van.now.astimezone(UTC) - late
        return build(head, Content(data=f"#{account}|NBA1", at=at), key=under, cipher=CIPHER, draw=os.urandom)

    whole = hidden(1)
    with socket.create_connection(("127.0.0.1", port_of(page)), PATIENCE_S) as wire:
        for octets, answer in (
            (whole, b"*ACK"), (message(2, account="AAA1"), b'"DUH"'), (hidden(3, under=Key(bytes(16))), b'"DUH"'),
            (hidden(4, account="BAD4"), b'"DUH"'), (hidden(6, late=timedelta(minutes=9)), b'"NAK"'), (message(5, account="BAD5"), b'"ACK"'),
            (whole[:1] + b"0000" + whole[5:] + message(7, account="77F0"), b'"ACK"0007'),
        ):  # fmt: skip
            wire.sendall(octets)
            assert answer in wire.recv(4096)
    page = van.page()
    told = " ".join(re.sub(r"<[^>]+>", " ", page[page.index("Not taken") :]).split())
    for words in (
        "account AAA1, TCP 127.0.0.1: the account has a key, and the message came in plain. Turn encryption on there",
        "account AAA1, TCP 127.0.0.1: no key held for the account fits. Enter the key there again",
        "account BAD4, TCP 127.0.0.1: no key is held for the account. Put account/NAME and key/NAME in Secrets",
        "encrypted and outside the time test", "It was told the right time",
        "account BAD5: the account is not listed here. It is kept",
        "its check sum is 0000", "Nothing was answered, so a control unit sends it again",
    ):  # fmt: skip
        assert words in told, told
    assert KEY not in page and tagged(page) != tagged(tag)
    ask(van, "close")
    page = ask(van, "open", port="0", plain_too="yes")[1]
    assert "plain messages are taken too" in page
    with socket.create_connection(("127.0.0.1", port_of(page)), PATIENCE_S) as wire:
        wire.sendall(message(2, account="AAA1"))
        assert b'"ACK"' in wire.recv(4096)


def test_what_is_refused_is_bounded_and_counted() -> None:
    turnings = Turnings()
    for number in range(300):
        for _ in range(2):
            turnings.hear(Refused(at=datetime.now(UTC), way=Way.TCP, peer=f"192.0.2.{number % 256}", reason="damaged.", why=Why.DAMAGED))
    latest = turnings.latest()
    assert (len(latest), turnings.count, latest[0].times) == (MOST, 600, 2)
    assert {"", "not listed", *Why} == set(_DO)


def test_whoever_only_enters_readings_opens_nothing(tmp_path: Path) -> None:
    mate = Van(tmp_path, rights=RIGHTS[Role.MATE])
    answer = mate.client.post("/prove/port", json={"do": "open", "port": "0"}, headers={"Origin": BASE})
    assert answer.status_code == 403
    assert "data-port" not in mate.page()
    assert PORTS.standing(mate.path) is None


def test_none_is_left_when_the_program_ends(van: Van) -> None:
    port = port_of(ask(van, "open", port="0")[1])
    PORTS.close_all()
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", port), PATIENCE_S)
