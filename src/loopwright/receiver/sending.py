"""Sending a walk to a receiver: one message at a time over TCP or UDP, its answer waited for, repeated where none comes."""

from __future__ import annotations

import socket
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from loopwright.signalling.frame import Content
from loopwright.signalling.key import Cipher, Draw, Key
from loopwright.signalling.received import Way
from loopwright.signalling.sender import WAIT_S, Fate, Line, Sending, next_number
from loopwright.signalling.stream import Cut, Splitter
from loopwright.signalling.verdict import POLLS
from loopwright.signalling.walk import Step


class NotReached(Exception):
    """Nobody answers there; the message is one plain sentence."""


class Wire:
    """A way to a receiver. A connection that is lost is made again with the next message."""

    def __init__(self, host: str, port: int, way: Way) -> None:
        """Take where it goes; nothing is sent yet."""
        self._to, self._way = (host, port), way
        self._socket: socket.socket | None = None
        self._splitter = Splitter()

    def send(self, octets: bytes) -> None:
        """Send bytes. Raises NotReached."""
        try:
            self._open().sendall(octets)
        except OSError as error:
            self.close()
            raise NotReached(f"{self._to[0]} port {self._to[1]}: {(error.strerror or str(error)).lower()}.") from None

    def answer(self, wait_s: float) -> list[bytes]:
        """Return the frames that come within a time [s]; none where nothing does, and where the connection is lost."""
        if self._socket is None:
            # Nothing can come, and whoever waits for it would else ask again at once, and again.
            time.sleep(wait_s)
            return []
        self._socket.settimeout(max(0.001, wait_s))
        try:
            octets = self._socket.recv(65_536)
        except TimeoutError:
            return []
        except OSError:
            octets = b""
        if not octets:
            self.close()
        return [piece.octets for piece in self._splitter.feed(octets) if piece.cut is Cut.FRAME]

    def close(self) -> None:
        """End the connection."""
        if self._socket is not None:
            self._socket.close()
        self._socket, self._splitter = None, Splitter()

    def _open(self) -> socket.socket:
        if self._socket is None:
            if self._way is Way.TCP:
                self._socket = socket.create_connection(self._to, timeout=WAIT_S)
            else:
                family, kind, protocol, _, address = socket.getaddrinfo(*self._to, type=socket.SOCK_DGRAM)[0]
                self._socket = socket.socket(family, kind, protocol)
                self._socket.connect(address)
        return self._socket


@dataclass(frozen=True, kw_only=True, slots=True)
class Sent:
    """What became of a step: its fate, how often it was sent, and how long its answer took [s]."""

    step: Step
    number: str
    fate: Fate
    tries: int
    took_s: float
    ahead_s: float


def send_walk(
    steps: Iterable[Step], wire: Wire, *, key: Key | None, cipher: Cipher, draw: Draw, sleep: Callable[[float], None] = time.sleep
) -> Iterator[Sent]:
    """Send each step after its time, and yield what became of it. Raises NotReached where there is nobody."""
    number, ahead = 0, timedelta()
    for step in steps:
        sleep(step.after_s)
        if step.form not in POLLS:
            number = next_number(number)
        line = Line(account=step.account, line=step.line, receiver=step.receiver, key=key, cipher=cipher, draw=draw)
        sending = Sending(line=line, head=line.head(step.form, number), content=Content(data=step.data), ahead=ahead)
        begun = time.monotonic()
        sending = _through(sending, wire)
        ahead = sending.ahead
        yield Sent(
            step=step,
            number=sending.head.sequence,
            fate=sending.fate,
            tries=sending.tries,
            took_s=time.monotonic() - begun,
            ahead_s=ahead.total_seconds(),
        )


def _through(sending: Sending, wire: Wire) -> Sending:
    while sending.fate is Fate.WAITING:
        now = datetime.now(UTC)
        sending, octets = sending.due(now)
        if octets is not None:
            wire.send(octets)
        if sending.fate is Fate.WAITING:
            left_s = WAIT_S if sending.sent_at is None else WAIT_S - (now - sending.sent_at).total_seconds()
            for frame in wire.answer(min(left_s, 1.0)):
                sending = sending.answered(frame, datetime.now(UTC))
    return sending
