"""Messages acknowledged a second, and what is kept of them: ours beside a public receiver library, which stores nothing, in one harness.

Every sender waits for the answer to a message before it sends the next. Senders are one process, the receiver is another; both are on this
machine, by TCP. Each message is another one: number, zone and time differ. Ours commits each message before it is acknowledged.

    python bench/receive.py [rate|killed|crowd|memory] [--messages N] [--kills N]

Without a word all four run. The library is the one that ``tests/oracles`` compares frames with; without it only ours is measured.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import gc
import importlib.util
import multiprocessing
import os
import random
import resource
import selectors
import signal
import socket
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path
from statistics import median, quantiles

from loopwright.receiver.intake import Bench
from loopwright.receiver.limits import Limits
from loopwright.receiver.server import Place, opened
from loopwright.signalling import moment
from loopwright.signalling.frame import Content, Head, build, framed
from loopwright.signalling.key import Key
from loopwright.signalling.verdict import Account, Desk
from loopwright.store.aes import ChainedAes
from loopwright.store.received import ReceivedFile, ReceivedReader

FORK = multiprocessing.get_context("fork")
MANY = 200
ROUND = 2000
"""Messages made ready at a time."""
ROUNDS = 12
"""Turns each receiver has in a measurement."""
ALONE = 4
"""How many times fewer messages one sender alone sends: he waits for each answer, and his turns begin and end at once."""
TYPED = "0123456789ABCDEF"
KEY, CIPHER = Key(TYPED.encode("ascii")), ChainedAes()
ACCOUNTS = [f"{number:04X}" for number in range(0x1000, 0x1000 + MANY)]
Serve = Callable[[Connection, Path, bool], None]


def message(account: str, number: int, *, hidden: bool) -> bytes:
    """Return a message of an account, another one for each number."""
    at = datetime.now(UTC)
    data = f"#{account}|Nri1/BA{number % 997:03d}^{number}^"
    if hidden:
        # The library takes no answer without a receiver's number for whole.
        head = Head(token="SIA-DCS", encrypted=True, sequence=f"{number % 9999 + 1:04d}", receiver="1", line="0", account=account)
        return build(head, Content(data=data, at=at), key=KEY, cipher=CIPHER, draw=os.urandom)
    return framed(b'"SIA-DCS"%04dR1L0#%b[%b]%b' % (number % 9999 + 1, account.encode(), data.encode(), moment.written(at)))


def ours(tell: Connection, folder: Path, hidden: bool, *, flushed: bool = False, most: int = MANY * 2, each: bool = False) -> None:
    """Serve with our receiver until killed. ``each``: a function is called with each event too, as the library does."""

    async def serve() -> None:
        file = ReceivedFile(folder / "received.db", flushed=flushed)
        desk = Desk(accounts={each: Account(keys=(KEY,) if hidden else ()) for each in ACCOUNTS}, cipher=CIPHER, draw=os.urandom)
        bench = Bench(desk=desk, keeper=file, tell=lambda _: None, clock=lambda: datetime.now(UTC), slow=flushed, each=each)
        async with opened(Place(host="127.0.0.1", port=0, test_h=12, limits=Limits(connections=most)), bench) as receiver:
            gc.freeze()
            tell.send(receiver.port)
            await receiver.over()

    asyncio.run(serve())


def flushed(tell: Connection, folder: Path, hidden: bool) -> None:
    """Serve with our receiver, every commit flushed to the disk."""
    ours(tell, folder, hidden, flushed=True)


def told(tell: Connection, folder: Path, hidden: bool) -> None:
    """Serve with our receiver, each event handed to a function once it is stored."""
    ours(tell, folder, hidden, each=True)


def library(tell: Connection, folder: Path, hidden: bool) -> None:
    """Serve with the public library, which calls a function with each event and stores nothing."""
    import logging

    from pysiaalarm import CommunicationsProtocol, SIAAccount
    from pysiaalarm.aio import SIAClient

    logging.disable(logging.CRITICAL)

    async def serve() -> None:
        async def heard(event: object) -> None:
            """Take an event and leave it."""

        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            port = free.getsockname()[1]
        accounts = [SIAAccount(each, TYPED if hidden else None) for each in ACCOUNTS]
        client = SIAClient("127.0.0.1", port, accounts, function=heard, protocol=CommunicationsProtocol.TCP)
        await client.async_start()
        gc.freeze()
        tell.send(port)
        await asyncio.Event().wait()

    asyncio.run(serve())


@contextlib.contextmanager
def serving(serve: Serve, *, hidden: bool, folder: Path | None = None) -> Iterator[tuple[int, int, Path]]:
    """Start a receiver in a process of its own; give its port, its process and its folder."""
    with tempfile.TemporaryDirectory(dir=None if folder is None else folder, prefix="receive-") as made:
        place = folder or Path(made)
        here, there = FORK.Pipe(duplex=False)
        child = FORK.Process(target=serve, args=(there, place, hidden), daemon=True)
        child.start()
        there.close()
        try:
            port = int(here.recv())
            assert child.pid is not None
            yield port, child.pid, place
        finally:
            child.kill()
            child.join()


@dataclass(frozen=True, kw_only=True, slots=True)
class Round:
    """One round of messages: answers a second, the processor time [µs] the receiver used for each, and how long each waited [s]."""

    a_second: float
    processor_us: float
    waits_s: list[float]


def processor_s(process: int) -> float:
    """Return the processor time [s] a process has used, all its threads together."""
    # The clock of another process, as clock_getcpuclockid(3) of Linux numbers it.
    return time.clock_gettime((~process << 3) | 2)


def busy_s() -> float:
    """Return the time [s] all cores together were busy since the machine was started."""
    fields = [int(each) for each in Path("/proc/stat").read_text(encoding="ascii").split("\n", 1)[0].split()[1:9]]
    idle = fields[3] + fields[4]
    return (sum(fields) - idle) / os.sysconf("SC_CLK_TCK")


class Senders:
    """So many senders to one receiver, each on a connection of its own."""

    def __init__(self, port: int, senders: int, *, hidden: bool) -> None:
        self._there = [socket.create_connection(("127.0.0.1", port)) for _ in range(senders)]
        self._hidden = hidden
        self._number = 0
        for sender in self._there:
            sender.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, messages: int) -> tuple[float, list[float]]:
        """Send messages, each sender waiting for its answers; return the time of it all [s], and of each [s].

        They are made ready some at a time, outside the time that counts, since what is encrypted is refused when it is older than 40 s.
        """
        waits, took_s, many = list[float](), 0.0, len(self._there)
        end, at_once = self._number + -(-messages // many), max(1, ROUND // many)
        while self._number < end:
            numbers = range(self._number, min(end, self._number + at_once))
            self._number = numbers.stop
            with selectors.DefaultSelector() as selector:
                for at, sender in enumerate(self._there):
                    ready = iter([message(ACCOUNTS[at], number, hidden=self._hidden) for number in numbers])
                    selector.register(sender, selectors.EVENT_READ, ready)
                took_s += spoken(selector, waits)
        return took_s, waits

    def close(self) -> None:
        """Let go of the receiver."""
        for sender in self._there:
            sender.close()


def measured(receivers: Sequence[Serve], *, senders: int, messages: int, hidden: bool) -> tuple[list[list[Round]], float]:
    """Return the rounds of each receiver, and how many cores others kept busy meanwhile.

    All are there at once and are spoken to by turns, a little each time: what else the machine does falls on all of them alike. The first
    round of each, in which accounts become known, does not count.
    """
    rounds: list[list[Round]] = [[] for _ in receivers]
    with contextlib.ExitStack() as stack:
        there = [stack.enter_context(serving(serve, hidden=hidden)) for serve in receivers]
        spoken_to = [stack.enter_context(contextlib.closing(Senders(port, senders, hidden=hidden))) for port, _, _ in there]
        begun, since_s, receivers_s = time.perf_counter(), busy_s() - time.process_time(), 0.0
        for number in range(ROUNDS + 1):
            for mine, (_, process, _), here in zip(rounds, there, spoken_to, strict=True):
                before_s = processor_s(process)
                took_s, waits_s = here.send(-(-messages // ROUNDS))
                used_s = processor_s(process) - before_s
                receivers_s += used_s
                if number:
                    mine.append(Round(a_second=len(waits_s) / took_s, processor_us=used_s / len(waits_s) * 1e6, waits_s=waits_s))
        others_s = busy_s() - time.process_time() - since_s - receivers_s
    return rounds, max(0.0, others_s / (time.perf_counter() - begun))


def spread(values: Iterable[float], form: str = ".2f") -> str:
    """Return the middle of some values, and between what the middle half of them lies."""
    low, middle, high = quantiles(values, n=4, method="inclusive")
    return f"{middle:{form}} ({low:{form}} to {high:{form}})"


def flushes_a_second(times: int = 200) -> float:
    """Return how often a second a page is written at the end of a file and waited for until the disk has it.

    That bounds a receiver that flushes each commit and hears one sender, who waits for his answers.
    """
    with tempfile.NamedTemporaryFile(prefix="receive-") as file:
        begun = time.perf_counter()
        for _ in range(times):
            os.write(file.fileno(), bytes(4096))
            os.fdatasync(file.fileno())
        return times / (time.perf_counter() - begun)


def spoken(selector: selectors.BaseSelector, waits: list[float]) -> float:
    """Send what each sender has ready; add how long each answer took [s], and return how long all did [s]."""
    since: dict[int, float] = {}
    begun = time.perf_counter()
    for key in list(selector.get_map().values()):
        since[key.fd] = time.perf_counter()
        key.fileobj.send(next(key.data))  # type: ignore[union-attr]
    while selector.get_map():
        for key, _ in selector.select():
            sender = key.fileobj
            assert isinstance(sender, socket.socket)
            answer = sender.recv(4096)
            now = time.perf_counter()
            assert b'ACK"' in answer, answer
            waits.append(now - since[key.fd])
            following = next(key.data, None)
            if following is None:
                selector.unregister(sender)
            else:
                since[key.fd] = now
                sender.send(following)
    return time.perf_counter() - begun


def rates(messages: int) -> None:
    """Print the rates side by side."""
    receivers: dict[str, Serve] = {"library, stores nothing": library} if importlib.util.find_spec("pysiaalarm") else {}
    receivers |= {"ours, survives a kill": ours, "the same, each told": told, "ours, flushed to the disk": flushed}
    for hidden in (False, True):
        for senders in (1, MANY):
            rounds, others = measured(
                list(receivers.values()), senders=senders, messages=messages // (1 if senders > 1 else ALONE), hidden=hidden
            )
            print(f"{'AES-128' if hidden else 'plain'}, {senders} at once; others kept {others:.1f} cores busy; ", end="")
            print(f"the disk flushes a page {flushes_a_second():.0f} times a second")
            for name, mine in zip(receivers, rounds, strict=True):
                print(f"  {name:26}{_in_words(mine)}{_beside(rounds[0], mine) if library in receivers.values() else ''}")


def _in_words(mine: list[Round]) -> str:
    waits_s = sorted(wait for each in mine for wait in each.waits_s)
    a_second, processor_us = median(each.a_second for each in mine), median(each.processor_us for each in mine)
    return f"{a_second:7.0f}/s, p99 {waits_s[len(waits_s) * 99 // 100] * 1e3:6.2f} ms, {processor_us:4.0f} µs of processor time each"


def _beside(library: list[Round], mine: list[Round]) -> str:
    """Return how many times the library's rate that is, round by round."""
    if mine is library:
        return ""
    pairs = list(zip(library, mine, strict=True))
    by_processor = spread(its.processor_us / our.processor_us for its, our in pairs)
    return f"; {spread(our.a_second / its.a_second for its, our in pairs)} times the library, {by_processor} by processor"


def killed(kills: int, folder: Path, *, senders: int = 20) -> tuple[int, int, int]:
    """Kill a receiver at random moments while messages come; return how many were acknowledged, how many of those are lost, and doubled.

    A sender that has no answer sends the same message again once the receiver is there again, as a control unit does.
    """
    moments, acknowledged = random.Random(11), 0
    numbers = dict.fromkeys(ACCOUNTS[:senders], 0)
    for _ in range(kills):
        with serving(ours, hidden=False, folder=folder) as (port, process, _place):
            acknowledged += until_killed(port, process, numbers, moments.uniform(0.05, 0.6))
    file = ReceivedReader(folder / "received.db")
    found: dict[tuple[str, str], int] = {}
    number = 0
    while events := file.since(number):
        number = events[-1].number
        for each in events:
            found[each.account, each.text] = found.get((each.account, each.text), 0) + 1
    file.close()
    lost = sum((account, str(number)) not in found for account, last in numbers.items() for number in range(last))
    return acknowledged, lost, sum(count > 1 for count in found.values())


def until_killed(port: int, process: int, numbers: dict[str, int], after_s: float) -> int:
    """Send the next messages of each account until the receiver is killed; count in ``numbers`` what was acknowledged."""
    selector, acknowledged = selectors.DefaultSelector(), 0
    for account, number in numbers.items():
        sender = socket.create_connection(("127.0.0.1", port))
        sender.send(message(account, number, hidden=False))
        selector.register(sender, selectors.EVENT_READ, account)
    end = time.monotonic() + after_s
    alive = True
    while selector.get_map():
        if alive and time.monotonic() > end:
            os.kill(process, signal.SIGKILL)
            alive = False
        for key, _ in selector.select(0.02):
            sender, account = key.fileobj, key.data
            assert isinstance(sender, socket.socket)
            with contextlib.suppress(ConnectionError):
                answer = sender.recv(4096)
                if answer:
                    # What was answered before the end counts, though nothing more can be sent.
                    assert b'"ACK"' in answer
                    numbers[account] += 1
                    acknowledged += 1
                    sender.send(message(account, numbers[account], hidden=False))
                    continue
            selector.unregister(sender)
            sender.close()
    return acknowledged


@dataclass(frozen=True, kw_only=True, slots=True)
class Crowd:
    """What a crowd did to a receiver: messages of a good account asked for and acknowledged while it stood there, and memory [MB]."""

    asked: int
    served: int
    grown_mb: float
    slowest_ms: float


def crowd(many: int, *, most: int = 2000) -> Crowd:
    """Open so many connections that say nothing, or begin a frame; a good sender speaks, on an old connection and on new ones."""
    resource.setrlimit(resource.RLIMIT_NOFILE, (resource.getrlimit(resource.RLIMIT_NOFILE)[1],) * 2)
    with serving(lambda tell, folder, hidden: ours(tell, folder, hidden, most=most), hidden=False) as (port, process, _):
        at_first_mb = held_mb(process)
        old = socket.create_connection(("127.0.0.1", port))
        there, served, asked, slowest_s = [], 0, 0, 0.0
        for number in range(many):
            with contextlib.suppress(OSError):
                there.append(socket.create_connection(("127.0.0.1", port)))
                there[-1].send(b"\n" if number % 2 else b"\nB2220037")
            if number % (many // 20) == 0:
                for sender in (old, socket.create_connection(("127.0.0.1", port))):
                    since = time.perf_counter()
                    sender.settimeout(60)
                    sender.send(message(ACCOUNTS[0], asked, hidden=False))
                    asked += 1
                    served += b'"ACK"' in sender.recv(4096)
                    slowest_s = max(slowest_s, time.perf_counter() - since)
        grown_mb = held_mb(process) - at_first_mb
        for each in there:
            each.close()
    return Crowd(asked=asked, served=served, grown_mb=grown_mb, slowest_ms=slowest_s * 1e3)


def memory(messages: int) -> None:
    """Print how much memory a receiver holds while messages come."""
    with serving(ours, hidden=False) as (port, process, _):
        step = max(MANY, messages // 10)
        senders = Senders(port, MANY, hidden=False)
        for begin in range(0, messages, step):
            senders.send(step)
            print(f"after {begin + step:8} messages: {held_mb(process):.1f} MB")


def held_mb(process: int) -> float:
    """Return the memory a process holds [MB], without what it shares with a file."""
    text = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return int(text.partition("RssAnon:")[2].split()[0]) / 1024


def main() -> None:
    """Measure what was asked for."""
    parser = argparse.ArgumentParser(description="Messages acknowledged a second, kills, memory.")
    parser.add_argument("what", nargs="?", choices=("rate", "killed", "crowd", "memory"))
    parser.add_argument("--messages", type=int, default=0)
    parser.add_argument("--kills", type=int, default=20)
    asked = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_NOFILE, (4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
    if asked.what in (None, "rate"):
        rates(asked.messages or 24_000)
    if asked.what in (None, "killed"):
        with tempfile.TemporaryDirectory(prefix="receive-") as folder:
            acknowledged, lost, doubled = killed(asked.kills, Path(folder))
        print(f"killed {asked.kills} times: {acknowledged} acknowledged, {lost} lost, {doubled} doubled")
    if asked.what in (None, "crowd"):
        found = crowd(10_000)
        print(
            f"10000 connections that say nothing: {found.served} of {found.asked} messages of a good account acknowledged, "
            f"the slowest in {found.slowest_ms:.0f} ms; {found.grown_mb:.1f} MB more held"
        )
    if asked.what in (None, "memory"):
        memory(asked.messages or 100_000)


if __name__ == "__main__":
    main()
