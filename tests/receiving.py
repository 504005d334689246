"""A receiver on a free port of this machine, and senders that talk to it, all in one loop."""

from __future__ import annotations

import asyncio
import contextlib
import os
import time
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from loopwright.receiver.intake import Bench
from loopwright.receiver.server import Place, Receiver, opened
from loopwright.signalling.frame import Content, Head, build
from loopwright.signalling.key import Key, keys_of
from loopwright.signalling.received import Arrival, Happening, Kept, Notice, Received, Refused
from loopwright.signalling.verdict import Account, Desk
from loopwright.store.aes import ChainedAes
from loopwright.store.received import ReceivedFile

TYPED = "A1B2C3D4E5F60718293A4B5C6D7E8F90"
KEY, MISREAD = keys_of(TYPED)
CIPHER = ChainedAes()
PATIENCE_S = 30.0


class Keeper(ReceivedFile):
    """The store, with faults that can be put into it."""

    trouble_next: Exception | None = None
    batches = 0
    takes_s = 0.0

    def keep(self, arrivals: Sequence[Arrival]) -> list[Kept]:
        self.batches += 1
        time.sleep(self.takes_s)
        if self.trouble_next is not None:
            error, self.trouble_next = self.trouble_next, None
            raise error
        return super().keep(arrivals)


@dataclass
class Site:
    """A receiver under test, with what it told and what it keeps."""

    receiver: Receiver = field(init=False)
    keeper: Keeper
    told: list[Happening] = field(default_factory=list)
    breaks_at: str = ""
    """The number of a message at which whoever is told breaks."""

    def hear(self, happening: Happening) -> None:
        self.told.append(happening)
        if isinstance(happening, Received) and happening.sequence == self.breaks_at:
            raise RuntimeError("whoever is told breaks")

    @property
    def received(self) -> list[Received]:
        return [each for each in self.told if isinstance(each, Received)]

    @property
    def refused(self) -> list[Refused]:
        return [each for each in self.told if isinstance(each, Refused)]

    @property
    def notices(self) -> list[Notice]:
        return [each for each in self.told if isinstance(each, Notice)]

    async def connect(self) -> Wire:
        return Wire(*await asyncio.open_connection("127.0.0.1", self.receiver.port))


class Wire:
    """A sender's end of a connection."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    def send(self, octets: bytes) -> None:
        self.writer.write(octets)

    def say_all(self) -> None:
        """Say that nothing more comes, and go on listening."""
        self.writer.write_eof()

    async def answer(self) -> bytes:
        """Return one frame, or nothing where the connection ended."""
        async with asyncio.timeout(PATIENCE_S):
            with contextlib.suppress(ConnectionError):
                return await self._frame()
        return b""

    async def _frame(self) -> bytes:
        try:
            return await self.reader.readuntil(b"\r")
        except asyncio.IncompleteReadError as error:
            return error.partial

    async def closed(self) -> bool:
        """Wait until the other end lets go."""
        async with asyncio.timeout(PATIENCE_S):
            try:
                while await self.reader.read(4096):
                    pass
            except ConnectionError:
                pass
        return True


def now() -> datetime:
    """Return the moment."""
    return datetime.now(UTC)


async def until(holds: Callable[[], object]) -> None:
    """Wait until something holds, however slow the machine is."""
    async with asyncio.timeout(PATIENCE_S):
        while not holds():
            await asyncio.sleep(0.005)


def message(number: int, *, account: str = "1234", data: str = "", key: Key | None = None, token: str = "SIA-DCS") -> bytes:
    """Return a message that is in time."""
    head = Head(token=token, encrypted=key is not None, sequence=f"{number:04d}", receiver=None, line="0", account=account)
    content = Content(data="" if token == "NULL" else data or f"#{account}|Nri1/BA{number:03d}", at=datetime.now(UTC))
    return build(head, content, key=key, cipher=CIPHER, draw=os.urandom)


Run = Callable[..., None]


@contextlib.asynccontextmanager
async def site_at(path: Path, place: Place, *, slow: bool = False) -> AsyncIterator[Site]:
    """Open a receiver with the accounts 1234 in plain and AAA1 with a key."""
    keeper = Keeper(path, flushed=slow)
    site = Site(keeper=keeper)
    desk = Desk(accounts={"1234": Account(), "AAA1": Account(keys=(KEY,), misread=(MISREAD,))}, cipher=CIPHER, draw=os.urandom)
    bench = Bench(desk=desk, keeper=keeper, tell=site.hear, clock=now, slow=slow)
    try:
        async with opened(place, bench) as site.receiver:
            yield site
    finally:
        keeper.close()
