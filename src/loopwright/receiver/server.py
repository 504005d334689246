"""A receiver from its start to its end: the port it opens, the hour it is there for, and what it lets go."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from ipaddress import ip_address

from loopwright.receiver.connection import Connection, Datagrams
from loopwright.receiver.intake import Bench, Intake
from loopwright.receiver.limits import Limits, room_for
from loopwright.receiver.readiness import Readiness
from loopwright.receiver.tally import Tally
from loopwright.signalling.received import Matter, Notice, Way
from loopwright.signalling.watch import Watch

USUAL_TEST_H, MOST_TEST_H = 1.0, 12.0
REMIND_MIN = (10, 1)
"""Minutes before the end at which it is told once more."""
NOBODY_RESPONDS = (
    "While it is on test nobody responds to an alarm: what the control unit reports goes to this machine and to no receiving centre."
)
AFTERWARDS = "Put the receiving centre's own address, account and key back at the control unit, and send a test event there."
BACKLOG = 256
_WHY = {
    errno.EADDRNOTAVAIL: "this machine has no such address",
    errno.EADDRINUSE: "another program has it; take another port, or 0 for one that is free",
    errno.EACCES: "ports below 1024 need more rights",
}
TICK_S = 1.0


class NotOpened(Exception):
    """The port could not be opened; the message is one plain sentence."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Place:
    """Where a receiver listens, and for how long [h]. ``poll_s`` [s] is how often a poll is due, None to learn it."""

    host: str
    port: int
    test_h: float = USUAL_TEST_H
    poll_s: float | None = None
    limits: Limits = field(default_factory=Limits)

    @property
    def is_loopback(self) -> bool:
        """Whether this machine alone reaches it."""
        return ip_address(self.host).is_loopback

    def checked(self) -> Place:
        """Return the place if it is one address of this machine and one test of a few hours. Raises NotOpened."""
        try:
            address = ip_address(self.host)
        except ValueError:
            raise NotOpened(f"{self.host}: not an IP address.") from None
        if address.is_unspecified or address.is_multicast:
            raise NotOpened(f"{self.host}: a receiver listens at one address of this machine; name it.")
        if not 0 <= self.port <= 65535:
            raise NotOpened(f"port {self.port}: out of bounds. Accepted: 0 to 65535.")
        _check_hours(self.test_h)
        return self


class Receiver:
    """A receiver that is open. Everything here happens in one loop."""

    def __init__(self, place: Place, bench: Bench) -> None:
        """Take where to listen and what to work with; ``opened`` makes this."""
        self._bench = bench
        self.place = place
        self.limits = place.limits
        self._most = room_for(place.limits.connections)
        self.tally = Tally(bench.tell, a_second=place.limits.told_a_second)
        self._watch = Watch(poll_s=place.poll_s)
        self.intake = Intake(bench, place.limits, self.tally, self._watch)
        self.readiness = Readiness(bench.clock, self._taken)
        self._unproven: dict[Connection, None] = {}
        self._proven: dict[Connection, None] = {}
        self._over = asyncio.Event()
        self._reminded = 0
        self._ends_at = 0.0
        self.until = bench.clock()
        self.port = 0
        self.connections = 0
        """How many are connected."""

    def extend(self, hours: float) -> datetime:
        """Stay on test for so many hours [h] from now, and return until when. Raises NotOpened out of bounds."""
        _check_hours(hours)
        self.begin(hours)
        return self.until

    def stop(self) -> None:
        """Ask for the end."""
        self._over.set()

    async def over(self) -> None:
        """Wait for the end of the test, or until somebody asks for the end."""
        while not self._over.is_set() and self._left_s() > 0:
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._over.wait(), min(TICK_S, max(0.0, self._left_s())))
            self._tick()

    def moment(self) -> datetime:
        """Return the time."""
        return self._bench.clock()

    def came(self, connection: Connection) -> None:
        """Count a connection; the oldest that said nothing that counts goes where there are too many."""
        if self.connections >= self._most:
            oldest = next(iter(self._unproven or self._proven))
            among = "of those with no message of a listed account" if self._unproven else "all with a message of a listed account;"
            oldest.let_go(f"{self._most} are connected, and {among} this is the oldest.")
            self.went(oldest)
        self._unproven[connection] = None
        self._count()

    def proven(self, connection: Connection) -> None:
        """Count a connection among those that are kept."""
        if self._unproven.pop(connection, self) is None:
            self._proven[connection] = None

    def went(self, connection: Connection) -> None:
        """Forget a connection."""
        self._unproven.pop(connection, None)
        self._proven.pop(connection, None)
        self._count()

    def refuse(self, kind: str, reason: str, *, way: Way, peer: str, octets: bytes = b"") -> None:
        """Tell and count what was refused."""
        self.tally.refuse(kind, reason, at=self.moment(), way=way, peer=peer, octets=octets)

    def begin(self, hours: float) -> None:
        """Begin a test of so many hours [h], and say so."""
        self._ends_at = asyncio.get_running_loop().time() + hours * 3600
        self.until = self._bench.clock() + timedelta(hours=hours)
        self._reminded = self._reminders_left()
        self._tell(Matter.ON_TEST, f"On test until {self.until:%H:%M} UTC. {NOBODY_RESPONDS}")

    def _count(self) -> None:
        self.connections = len(self._unproven) + len(self._proven)

    def _taken(self) -> None:
        # Where one alone is connected there is nobody whose messages could be kept together with its own.
        self.intake.settle(at_once=self.connections == 1)

    def _tick(self) -> None:
        loop_now, now = asyncio.get_running_loop().time(), self._bench.clock()
        for connection in (*self._unproven, *self._proven):
            connection.due(loop_now)
        self.tally.second(now)
        for notice in self._watch.tick(now):
            self._bench.tell(notice)
        due = self._reminders_left()
        if due < self._reminded:
            self._tell(Matter.ON_TEST, f"On test for {max(1, round(self._left_s() / 60))} min more. {NOBODY_RESPONDS}")
        self._reminded = due

    def _left_s(self) -> float:
        """Return how long [s] the test still lasts; a clock that is set changes nothing of it."""
        return self._ends_at - asyncio.get_running_loop().time()

    def _reminders_left(self) -> int:
        return sum(self._left_s() > each * 60 for each in REMIND_MIN)

    def _tell(self, matter: Matter, words: str) -> None:
        self._bench.tell(Notice(at=self._bench.clock(), matter=matter, words=words))

    async def end(self) -> None:
        """Keep and answer what is under way, and let everybody go."""
        await self.intake.close()
        for connection in (*self._unproven, *self._proven):
            connection.end()
        self._bench.tell(
            Notice(at=self._bench.clock(), matter=Matter.TEST_OVER, words=f"The test is over and the port is shut. {AFTERWARDS}")
        )


@contextlib.asynccontextmanager
async def opened(place: Place, bench: Bench) -> AsyncIterator[Receiver]:
    """Open the port by TCP and UDP at one address, and shut it at the end. Raises NotOpened."""
    loop = asyncio.get_running_loop()
    receiver = Receiver(place.checked(), bench)
    with contextlib.closing(receiver.readiness):
        try:
            server = await loop.create_server(lambda: Connection(receiver), place.host, place.port, backlog=BACKLOG)
            receiver.port = int(server.sockets[0].getsockname()[1])
        except OSError as error:
            raise NotOpened(_words(place, place.port, "TCP", error)) from None
        try:
            datagrams, _ = await loop.create_datagram_endpoint(lambda: Datagrams(receiver), local_addr=(place.host, receiver.port))
        except OSError as error:
            server.close()
            raise NotOpened(_words(place, receiver.port, "UDP", error)) from None
        receiver.begin(place.test_h)
        try:
            yield receiver
        finally:
            server.close()
            await receiver.end()
            datagrams.close()


def _check_hours(hours: float) -> None:
    if not 0 < hours <= MOST_TEST_H:
        raise NotOpened(f"{hours:g} h on test: out of bounds. Accepted: more than 0 and up to {MOST_TEST_H:g}.")


def _words(place: Place, port: int, way: str, error: OSError) -> str:
    why = _WHY.get(error.errno or 0, os.strerror(error.errno or 0).lower())
    return f"{place.host} port {port} ({way}) cannot be opened: {why}."
