"""The key counts only on connections of this user: the kernel's own table says whose they are."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
import uvicorn

from loopwright import demo
from loopwright.store.file import JobFile
from loopwright.web import neighbour
from loopwright.web.app import create_app
from loopwright.web.guard import Guard
from loopwright.web.neighbour import is_own, owner_of
from loopwright.web.session import Session
from loopwright.web.visitor import SOMEBODY

LINUX = pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="the kernel's table of connections is Linux's")
NOBODY = 65534
TOKEN = "a-key-of-this-start"


@LINUX
@pytest.mark.parametrize(("family", "host"), [(socket.AF_INET, "127.0.0.1"), (socket.AF_INET6, "::1")])
def test_a_connection_of_our_own_is_found_in_the_table(family: socket.AddressFamily, host: str) -> None:
    with socket.socket(family, socket.SOCK_STREAM) as listening, socket.socket(family, socket.SOCK_STREAM) as calling:
        try:
            listening.bind((host, 0))
        except OSError:
            pytest.skip(f"this machine has no {host}")
        listening.listen()
        calling.connect(listening.getsockname()[:2])
        client, server = calling.getsockname()[:2], listening.getsockname()[:2]
        assert owner_of(client, server) == os.getuid()
        assert is_own(client, server)
        assert owner_of((host, 1), server) is None


@pytest.mark.parametrize("client", [None, ("testclient", 50000), ("", 0), ("127.0.0.1", 0)])
def test_where_nothing_is_told_the_key_decides(client: tuple[str, int] | None) -> None:
    assert is_own(client, ("127.0.0.1", 1))


@pytest.fixture
def served(tmp_path: Path) -> Iterator[str]:
    file = tmp_path / "shop.yaml"
    file.write_text(demo.text("dwelling"), encoding="utf-8")
    server = uvicorn.Server(uvicorn.Config(create_app(Session(JobFile(file)), token=TOKEN), log_level="error"))
    listening = socket.create_server(("127.0.0.1", 0))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    server.should_exit = True
    thread.join(20)
    listening.close()


COOKIE = Guard(token=TOKEN, visitor=SOMEBODY).cookie


@LINUX
@pytest.mark.skipif(os.getuid() != 0, reason="only the administrator can play another user")
def test_another_user_with_the_key_gets_nothing(served: str) -> None:
    """The real thing: a process of the user nobody, with cookie and key, beside one of our own."""
    # Everything is imported before the user changes, who may not be allowed to read the library.
    ask = (
        "import os, sys, socket; os.setgroups([]); os.setgid({0}); os.setuid({0}); "
        "s = socket.socket(); s.connect(('127.0.0.1', int(sys.argv[1]))); "
        "s.sendall(f'GET {{sys.argv[2]}} HTTP/1.0\\r\\nHost: 127.0.0.1\\r\\nCookie: {{sys.argv[3]}}\\r\\n\\r\\n'.encode()); "
        "print(s.makefile('rb').readline().split()[1].decode())"
    )
    port = served.rpartition(":")[2]
    for path in ("/", "/wiring", f"/?key={TOKEN}"):
        told = {
            user: subprocess.run(
                [sys.executable, "-c", ask.format(user), port, path, f"{COOKIE}={TOKEN}"], capture_output=True, text=True, check=True
            ).stdout.strip()
            for user in (NOBODY, os.getuid())
        }
        assert told[NOBODY] == "403", path
        assert told[os.getuid()] == "200", path


def test_a_connection_the_table_gives_to_somebody_else_is_shut(served: str, monkeypatch: pytest.MonkeyPatch) -> None:
    cookies = {COOKIE: TOKEN}
    assert httpx.get(f"{served}/wiring", cookies=cookies).status_code == 200
    monkeypatch.setattr(neighbour, "owner_of", lambda client, server: os.getuid() + 1)
    shut = httpx.get(f"{served}/wiring", cookies=cookies)
    assert shut.status_code == 403 and "Open the address" in shut.text
