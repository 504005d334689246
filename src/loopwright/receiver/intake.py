"""The way of a message: judged, kept with others in one transaction, and answered when that is safe."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from enum import Enum, auto

from loopwright.receiver.limits import Limits
from loopwright.receiver.tally import Tally
from loopwright.signalling.received import Arrival, Keeper, Kept, Listener, Matter, Notice, Way, received
from loopwright.signalling.verdict import NOT_LISTED, Answer, Desk, Verdict, judge
from loopwright.signalling.watch import Watch


class Standing(Enum):
    """What a message says of who sent it."""

    LISTED = auto()
    TAKEN = auto()
    REFUSED = auto()


# Looked up once: Python 3.11 takes ten times as long to find a member of an enum as a name, and every message comes by here.
LISTED, TAKEN, REFUSED = Standing

Reply = Callable[[bytes | None, Standing], None]
"""Sends an answer, or hears that none is sent."""
Waiting = tuple[Arrival | None, Reply, bytes | None]
"""A message to be kept, who is answered, and what; without a message an answer that waits for its turn."""
Clock = Callable[[], datetime]
LOOK_AGAIN_S = 0.001
"""How often it is looked at the end whether all is kept."""
_KINDS = {Answer.NAK: "wrong time", Answer.DUH: "not to be processed", Answer.SILENCE: "damaged, or no message"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Bench:
    """What a receiver works with: who is known, where is kept, who is told, what time it is.

    ``slow``: keeping waits for a disk. ``each``: events are told too; who reads what is kept does not need it.
    """

    desk: Desk
    keeper: Keeper
    tell: Listener
    clock: Clock
    slow: bool = False
    each: bool = True


class Intake:
    """Messages under way. Nothing is answered before what it says is kept; those that come close together are kept together."""

    def __init__(self, bench: Bench, limits: Limits, tally: Tally, watch: Watch) -> None:
        """Take what is worked with. A loop must be running."""
        self._bench, self._limits, self._tally, self._watch = bench, limits, tally, watch
        self._loop = asyncio.get_running_loop()
        self._pending: deque[Waiting] = deque()
        self._asked = False
        self._closing = False
        self._unlisted = 0
        self._aside = ThreadPoolExecutor(1, "keeps received messages") if bench.slow else None
        self.acknowledged = 0

    @property
    def full(self) -> bool:
        """Whether so much is under way that no more is taken for a while."""
        return self._closing or len(self._pending) >= self._limits.pending

    def take(self, octets: bytes, now: datetime, way: Way, peer: str, reply: Reply) -> None:
        """Take the bytes of one frame that came at a moment; the answer follows, at once or when it is safe, which `settle` sees to."""
        verdict = judge(octets, now, self._bench.desk)
        if not verdict.record:
            if self._pending or self._asked:
                # Not before the answers to what came before it.
                self._pending.append((None, reply, verdict.reply))
            else:
                reply(verdict.reply, REFUSED)
            self._refused(verdict, octets, now, way, peer)
            return
        if verdict.warnings and NOT_LISTED in verdict.warnings:
            self._unlisted += 1
            if self._unlisted > self._limits.unlisted:
                reply(None, REFUSED)
                reason = f"{self._limits.unlisted} messages of accounts that are not listed are kept, and no more."
                self._tally.refuse("accounts not listed", reason, at=now, way=way, peer=peer)
                return
        # Field by field: by its own name a named tuple takes twice as long to make, and this is done for each message.
        self._pending.append((tuple.__new__(Arrival, (verdict, now, way, peer)), reply, verdict.reply))

    def settle(self, *, at_once: bool = False) -> None:
        """Keep what was taken, ``at_once`` or once no more comes. At once the loop itself waits for a slow disk: there is nobody else."""
        if self._asked or not self._pending:
            return
        self._asked = True
        if at_once:
            self._keep(None)
        else:
            # After what this turn of the loop has still to read.
            self._loop.call_soon(self._gather, len(self._pending))

    async def close(self) -> None:
        """Keep and answer what is under way, and take nothing more: who goes on sending would never let it end."""
        self._closing = True
        while self._pending or self._asked:
            await asyncio.sleep(LOOK_AGAIN_S)
        if self._aside:
            self._aside.shutdown()

    def _refused(self, verdict: Verdict, octets: bytes, now: datetime, way: Way, peer: str) -> None:
        account = verdict.head.account if verdict.head else ""
        self._tally.refuse(
            _KINDS[verdict.answer], verdict.reason, at=now, way=way, peer=peer, octets=octets, answer=verdict.answer, account=account,
            why=verdict.why,
        )  # fmt: skip

    def _gather(self, before: int) -> None:
        """Wait as long as each turn of the loop brings more, and keep what there is when it does not."""
        now = len(self._pending)
        if before < now < self._limits.together:
            self._loop.call_soon(self._gather, now)
        else:
            self._keep(self._aside)

    def _keep(self, aside: ThreadPoolExecutor | None) -> None:
        pending = self._pending
        batch = [pending.popleft() for _ in range(min(len(pending), self._limits.batch))]
        arrivals = [arrival for arrival, _, _ in batch if arrival is not None]
        if aside is None:
            self._kept(batch, self._tried(arrivals))
            return
        done = self._loop.run_in_executor(aside, self._tried, arrivals)
        done.add_done_callback(lambda done: self._kept(batch, done.result()))

    def _tried(self, arrivals: Sequence[Arrival]) -> Sequence[Kept | str]:
        """Return under which number each was kept, or why it was not. One that breaks the keeping does not take the others with it."""
        keeper = self._bench.keeper
        try:
            return keeper.keep(arrivals)
        except Exception as error:
            words = keeper.trouble(error)
            if words is None and len(arrivals) > 1:
                return [each for arrival in arrivals for each in self._tried([arrival])]
            return [words or f"a fault in the program: {type(error).__name__}."] * len(arrivals)

    def _kept(self, batch: Sequence[Waiting], kept: Sequence[Kept | str]) -> None:
        """Answer a batch in its order, and then tell of it: whoever is told holds up no answer."""
        self._asked = False
        self.settle()
        numbers = iter(kept)
        safe: list[tuple[Arrival, Kept]] = []
        for arrival, reply, octets in batch:
            if arrival is None:
                reply(octets, REFUSED)
            elif isinstance(number := next(numbers), str):
                reply(None, TAKEN)
            else:
                reply(octets, TAKEN if NOT_LISTED in arrival.verdict.warnings else LISTED)
                safe.append((arrival, number))
        self.acknowledged += len(safe)
        self._hand_on(safe)
        for words in dict.fromkeys(each for each in kept if isinstance(each, str)):
            at = self._bench.clock()
            self._bench.tell(Notice(at=at, matter=Matter.STORE, words=f"{words} What came is not acknowledged, so that it is sent again."))

    def _hand_on(self, safe: Sequence[tuple[Arrival, Kept]]) -> None:
        each, tell, heard = self._bench.each, self._bench.tell, self._watch.heard
        for arrival, number in safe:
            if each:
                for event in received(arrival, number):
                    tell(event)
            for notice in heard(arrival):
                tell(notice)
