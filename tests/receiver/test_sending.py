"""A sender whose receiver goes away."""

from __future__ import annotations

import socket
import time

from loopwright.receiver.sending import Wire
from loopwright.signalling.received import Way


def test_who_waits_on_a_lost_connection_waits_and_does_not_ask_again_at_once() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        wire = Wire(*server.getsockname(), Way.TCP)
        wire.send(b"\n")
        server.accept()[0].close()
    assert wire.answer(30) == []
    since = time.monotonic()
    assert wire.answer(0.2) == []
    assert time.monotonic() - since >= 0.2
