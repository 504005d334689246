"""Slow and silent connections, by real sockets: each is ended after its time, holds nothing, and keeps nobody else waiting."""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from starlette.responses import Response

from loopwright.web.patience import MOST_COUNTED, Patience, Patient
from loopwright.web.serve import server_config

LIMITS = Patience(head_s=0.4, body_s=0.6, taken_s=0.6, least_bytes_per_s=50_000_000, look_s=0.05)
LONG_S = 60
"""No test waits for the clock: so long after it, on the slowest machine, something is wrong."""
BIG = 40_000_000


class Quick(Patient):
    """A server of little patience."""

    patience = LIMITS


class Served:
    """The application of a bench on a port of its own, with an address of much to read."""

    def __init__(self, app: Any, protocol: type[Patient] = Quick) -> None:
        app.router.routes.insert(0, _big())
        self.server = uvicorn.Server(server_config(app, protocol))
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.thread = threading.Thread(target=self.server.run, kwargs={"sockets": [self.listening]}, daemon=True)
        self.thread.start()
        _until(lambda: self.server.started)

    def connect(self) -> socket.socket:
        made = socket.socket()
        made.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        made.settimeout(LONG_S)
        made.connect(self.listening.getsockname())
        return made

    def connections(self) -> int:
        return len(self.server.server_state.connections)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(LONG_S)


def _big() -> Any:
    from starlette.routing import Route

    return Route("/static/big", lambda _: Response(b"x" * BIG))


def _until(true: Any) -> None:
    end_s = time.monotonic() + LONG_S
    while not true():
        assert time.monotonic() < end_s, "it did not come to that"
        time.sleep(0.01)


def _head(method: str = "POST", path: str = "/sign-in", **more: str) -> bytes:
    fields = {"Host": "127.0.0.1:8417", "Origin": "https://127.0.0.1:8417", **{name.replace("_", "-"): text for name, text in more.items()}}
    return "\r\n".join([f"{method} {path} HTTP/1.1", *(f"{name}: {text}" for name, text in fields.items()), "", ""]).encode()


def _trickles_till_shut(client: socket.socket, first: bytes) -> bytes:
    """Send, and go on a byte at a time until the other side has ended it; return what it said."""
    client.sendall(first)
    client.settimeout(0.02)
    said, end_s = b"", time.monotonic() + LONG_S
    while time.monotonic() < end_s:
        try:
            client.sendall(b"x")
            heard = client.recv(65_536)
            if not heard:
                return said
            said += heard
        except TimeoutError:
            continue
        except OSError:
            return said
    raise AssertionError("it was waited for without end")


@pytest.fixture
def served(bench: Any) -> Iterator[Served]:
    made = Served(bench.app)
    yield made
    made.stop()


def test_who_says_nothing_or_trickles_a_head_or_a_body_is_waited_for_so_long(served: Served, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR):
        silent = served.connect()
        assert silent.recv(1) == b""
        for first in (b"", b"GET / HTTP/1.1\r\nX-A: ", _head(Content_Length="200000", Content_Type="application/x-www-form-urlencoded")):
            with served.connect() as client:
                _trickles_till_shut(client, first)
        _until(lambda: not served.connections())
    assert caplog.text == "", "whoever goes is no fault of the program"


def test_who_was_answered_before_their_body_came_does_not_stay_by_it(served: Served) -> None:
    with served.connect() as client:
        said = _trickles_till_shut(client, _head(path="/lists/cables/take", Content_Length="4000000"))
    assert said.startswith((b"HTTP/1.1 401", b"HTTP/1.1 303"))
    _until(lambda: not served.connections())


def test_who_does_not_take_the_answer_is_let_go_with_what_lay_there_for_them(served: Served) -> None:
    with served.connect() as client:
        client.sendall(_head("GET", "/static/big"))
        # One byte tells that the answer has begun; nothing more is taken of it until the other side has gone.
        taken = len(client.recv(1))
        assert taken
        _until(lambda: not served.connections())
        try:
            while more := client.recv(1 << 20):
                taken += len(more)
        except OSError:
            pass
    assert taken < BIG


def test_who_is_slow_within_reason_is_served_while_others_say_nothing(bench: Any) -> None:
    served, body = Served(bench.app, Patient), b"name=Ada&password=" + b"x" * 40
    idle = [served.connect() for _ in range(20)]
    with served.connect() as client:
        head = _head(Content_Length=str(len(body)), Content_Type="application/x-www-form-urlencoded", Connection="close")
        client.sendall(head[:30])
        time.sleep(0.05)
        client.sendall(head[30:] + body[:10])
        time.sleep(0.05)
        client.sendall(body[10:])
        assert client.recv(65_536).startswith(b"HTTP/1.1 401")
    assert served.connections() >= len(idle)
    for each in idle:
        each.close()
    served.stop()


def test_the_usual_limits_leave_a_slow_line_its_time_and_nobody_hours() -> None:
    usual = Patience()
    assert Patient.patience == usual
    # A long list over 256 kbit/s, and a page of 300 kB read at the pace of 56 kbit/s, get through.
    assert usual.body_s + MOST_COUNTED / usual.least_bytes_per_s > MOST_COUNTED / 32_000
    assert usual.taken_s > 300_000 / 7_000
    assert usual.body_s + MOST_COUNTED / usual.least_bytes_per_s < 600
