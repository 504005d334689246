"""The port of a test from the room Prove: opened at one address, heard by the board, left open longer, shut, and refused in a sentence."""

from __future__ import annotations

import json
import re
import socket
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from loopwright.store.person import RIGHTS, Role
from loopwright.store.secret import Secret
from loopwright.store.vault import create_vault, vault_path
from loopwright.web.port_asked import VAULT_SHUT
from loopwright.web.receiving import PORTS
from receiving import message
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


def test_whoever_only_enters_readings_opens_nothing(tmp_path: Path) -> None:
    mate = Van(tmp_path, rights=RIGHTS[Role.MATE])
    answer = mate.client.post("/prove/port", json={"do": "open", "port": "0"}, headers={"Origin": BASE})
    assert answer.status_code == 403
    assert PORTS.standing(mate.path) is None


def test_none_is_left_when_the_program_ends(van: Van) -> None:
    port = port_of(ask(van, "open", port="0")[1])
    PORTS.close_all()
    with pytest.raises(OSError, match="refused"):
        socket.create_connection(("127.0.0.1", port), PATIENCE_S)
