"""One connection, and the datagrams: bytes cut into frames, each taken in, each answered where it came from."""

from __future__ import annotations

import asyncio
import os
import socket
from datetime import datetime
from typing import Protocol, cast

from loopwright.receiver.foreign import foreign
from loopwright.receiver.intake import LISTED, REFUSED, Intake, Standing
from loopwright.receiver.limits import Limits
from loopwright.receiver.readiness import Readiness
from loopwright.receiver.tally import Tally
from loopwright.signalling.received import Way
from loopwright.signalling.stream import Cut, Splitter, datagram

MORE_WHEN_PROVEN = 100
SEND_BUFFER = 32_768
"""Bytes of answers the system keeps for a sender that does not take them."""
READ_AT_ONCE = 16_384
"""Bytes taken at once of what a connection brings; room for them is made anew each time."""
NO_FILE = -1
_LET_GO = "connections let go"
_TCP = Way.TCP
"""Looked up once, as every message comes by it."""


class House(Protocol):
    """What a connection asks of its receiver."""

    intake: Intake
    limits: Limits
    tally: Tally
    readiness: Readiness

    def moment(self) -> datetime:
        """Return the time."""

    def came(self, connection: Connection) -> None:
        """Count a connection that came."""

    def proven(self, connection: Connection) -> None:
        """Count a connection among those that are not let go for others."""

    def went(self, connection: Connection) -> None:
        """Forget a connection."""

    def refuse(self, kind: str, reason: str, *, way: Way, peer: str, octets: bytes = b"") -> None:
        """Tell and count what was refused."""


class Connection(asyncio.Protocol):
    """One sender by TCP. How long it may take for what, and how much is kept of it, is bounded.

    The loop makes the connection and ends it, and writes what the system does not take at once; all else is read and written here.
    """

    __slots__ = (
        "_begun_at", "_behind", "_came_at", "_clock", "_deaf_at", "_file", "_house", "_intake", "_limits", "_reads", "_refused",
        "_said_all", "_splitter", "_still", "_transport", "_under_way", "is_proven", "peer",
    )  # fmt: skip

    def __init__(self, house: House) -> None:
        """Wait for the connection."""
        self._house, self._intake, self._limits = house, house.intake, house.limits
        self._splitter = Splitter()
        self._transport: asyncio.Transport | None = None
        self._file = NO_FILE
        self._reads = False
        self._behind = False
        self._clock = asyncio.get_running_loop().time
        self._under_way = 0
        self._refused = 0
        self._begun_at: float | None = None
        self._deaf_at: float | None = None
        self._still = False
        self._said_all = False
        self._came_at = self._clock()
        self.peer = ""
        self.is_proven = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the connection."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        self.peer = _host(transport.get_extra_info("peername"))
        own = transport.get_extra_info("socket")
        own.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        # Answers nobody takes wait in the system's memory too; left alone it takes megabytes for each.
        own.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER)
        # The loop begins to read after this, in earlier versions of Python also where it was told not to before.
        asyncio.get_running_loop().call_soon(transport.pause_reading)
        self._file = own.fileno()
        self._reads = True
        self._house.readiness.begin(self._file, self)
        self._house.came(self)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection; a frame half sent is told."""
        self._let_go_of_file()
        for piece in self._splitter.close():
            self._no_frame(piece.cut, piece.octets)
        self._transport = None
        self._house.went(self)

    def read(self, at: datetime) -> None:
        """Take what is there."""
        try:
            data = os.read(self._file, READ_AT_ONCE)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            self.broken()
            return
        if not data:
            self._hear_the_end()
            return
        if not self.is_proven and self._begun_at is None and (spoken := foreign(data)):
            self.let_go(f"this is {spoken}, not a message of DC-09.", data)
            return
        if self._splitter.alone(data):
            self._take(data, at)
        else:
            self._feed(data, at)
        if self._still or self._under_way > self._limits.unanswered or self._intake.full:
            self._breathe()

    def broken(self) -> None:
        """End at once: the other side is gone, or what it sent could not be borne."""
        self._let_go_of_file()
        if self._transport is not None:
            self._transport.abort()

    def pause_writing(self) -> None:
        """Take nothing more of a sender that does not take its answers."""
        self._deaf_at = self._clock()
        self._breathe()

    def resume_writing(self) -> None:
        """Go on."""
        self._deaf_at = None
        self._breathe()

    def due(self, now: float) -> None:
        """Let the connection go if its time is over."""
        limits = self._limits
        if self._begun_at is not None and now - self._begun_at > limits.frame_s:
            self.let_go(f"a frame was begun and not ended in {limits.frame_s:g} s.")
        elif self._deaf_at is not None and now - self._deaf_at > limits.deaf_s:
            self.let_go(f"its answers were not taken in {limits.deaf_s:g} s.")
        elif not self.is_proven and not self._under_way and now - self._came_at > limits.silent_s:
            self.let_go(f"no message of a listed account in {limits.silent_s:g} s.")
        else:
            self._breathe()

    def let_go(self, reason: str, octets: bytes = b"") -> None:
        """End the connection at once, and say why."""
        if self._transport is None or self._transport.is_closing():
            return
        self._house.refuse(_LET_GO, reason, way=Way.TCP, peer=self.peer, octets=octets)
        self.broken()

    def end(self) -> None:
        """End the connection once what was answered is sent."""
        self._leave()
        if self._transport is not None:
            self._transport.close()

    def _leave(self) -> None:
        """Read no more."""
        if self._reads:
            self._reads = False
            self._house.readiness.leave(self._file)

    def _let_go_of_file(self) -> None:
        """Read no more, not even what is there already, and write no more."""
        self._leave()
        self._file = NO_FILE

    def _hear_the_end(self) -> None:
        """Hear that nothing more comes; what is under way is answered before the connection ends."""
        self._leave()
        self._said_all = True
        if not self._under_way:
            self.end()

    def _take(self, frame: bytes, at: datetime) -> None:
        self._under_way += 1
        self._intake.take(frame, at, _TCP, self.peer, self._answer)

    def _feed(self, data: bytes, at: datetime) -> None:
        """Take what is no frame by itself: parts of one, or several."""
        pieces = self._splitter.feed(data)
        for piece in pieces:
            if piece.cut is Cut.FRAME:
                self._take(piece.octets, at)
            else:
                self._no_frame(piece.cut, piece.octets)
        if not self._splitter.waiting:
            self._begun_at = None
        elif pieces or self._begun_at is None:
            self._begun_at = self._clock()

    def _no_frame(self, cut: Cut, octets: bytes) -> None:
        self._house.refuse(cut, f"{cut}.", way=Way.TCP, peer=self.peer, octets=octets)
        self._count_refusal()

    def _count_refusal(self) -> None:
        self._refused += 1
        if self._refused > self._limits.refusals * (MORE_WHEN_PROVEN if self.is_proven else 1):
            self.let_go(f"{self._refused} pieces without one that could be taken.")

    def _answer(self, octets: bytes | None, standing: Standing) -> None:
        self._under_way -= 1
        if octets is not None and self._file != NO_FILE:
            self._write(octets)
        if standing is REFUSED:
            self._count_refusal()
        else:
            self._refused = 0
            if not self.is_proven and standing is LISTED:
                self.is_proven = True
                self._house.proven(self)
        if self._still:
            self._breathe()
        if self._said_all and not self._under_way:
            self.end()

    def _write(self, octets: bytes) -> None:
        """Send an answer: by one call where the system takes it, else after what it did not take before."""
        assert self._transport is not None
        if not self._behind:
            try:
                octets = octets[os.write(self._file, octets) :]
            except (BlockingIOError, InterruptedError):
                pass
            except OSError:
                self.broken()
                return
            if not octets:
                return
        self._transport.write(octets)
        self._behind = self._transport.get_write_buffer_size() > 0

    def _breathe(self) -> None:
        """Stop reading while too much is under way, and go on when it is not."""
        still = self._deaf_at is not None or self._under_way > self._limits.unanswered or self._intake.full
        if still is not self._still and self._reads:
            self._still = still
            if still:
                self._house.readiness.leave(self._file)
            else:
                self._house.readiness.begin(self._file, self)


class Datagrams(asyncio.DatagramProtocol):
    """Every sender by UDP. Each datagram is whole by itself and is answered to where it came from."""

    def __init__(self, house: House) -> None:
        """Wait for the port."""
        self._house = house
        self._transport: asyncio.DatagramTransport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the port."""
        # The loop's own transport is none of this class by its ancestors, in this Python.
        self._transport = cast(asyncio.DatagramTransport, transport)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """Take a datagram."""
        peer, house = _host(addr), self._house
        if len(data) > house.limits.datagram:
            house.refuse("datagrams too long", f"a datagram of {len(data)} bytes.", way=Way.UDP, peer=peer, octets=data)
            return
        if house.intake.full:
            house.refuse("too much under way", "too much is under way; it is left to be sent again.", way=Way.UDP, peer=peer)
            return

        def answer(octets: bytes | None, standing: Standing) -> None:
            if octets is not None and self._transport is not None and not self._transport.is_closing():
                self._transport.sendto(octets, addr)

        at = house.moment()
        for piece in datagram(data):
            if piece.cut is Cut.FRAME:
                house.intake.take(piece.octets, at, Way.UDP, peer, answer)
            else:
                house.refuse(piece.cut, f"{piece.cut}.", way=Way.UDP, peer=peer, octets=piece.octets)
        house.intake.settle()


def _host(address: object) -> str:
    return str(address[0]) if isinstance(address, tuple) and address else ""
