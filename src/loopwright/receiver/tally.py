"""What was refused: told one by one as long as it is little, and counted when it is much."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from datetime import datetime

from loopwright.signalling.received import Listener, Matter, Notice, Refused, Way
from loopwright.signalling.verdict import Answer, Why

SHOWN_BYTES = 256


class Tally:
    """Refusals by kind. A kind is one of a few words; what is counted is bounded by them, whatever arrives."""

    def __init__(self, tell: Listener, *, a_second: int) -> None:
        """Take who is told, and how often at most."""
        self._tell = tell
        self._most = a_second
        self._left = a_second
        self._untold: Counter[str] = Counter()
        self.counts: Counter[str] = Counter()

    def refuse(
        self, kind: str, reason: str, *, at: datetime, way: Way, peer: str, octets: bytes = b"",
        answer: Answer = Answer.SILENCE, account: str = "", why: Why | None = None,
    ) -> None:  # fmt: skip
        """Count what was refused, and tell it where that was not done too often of late."""
        self.counts[kind] += 1
        if self._left <= 0:
            self._untold[kind] += 1
            return
        self._left -= 1
        self._tell(
            Refused(at=at, way=way, peer=peer, reason=reason, answer=answer, account=account, octets=octets[:SHOWN_BYTES], why=why)
        )  # fmt: skip

    def second(self, now: datetime) -> None:
        """Begin another second; what was only counted in the last one is told as a number."""
        self._left = self._most
        for words in self._numbers():
            self._tell(Notice(at=now, matter=Matter.BOUND, words=words))
        self._untold.clear()

    def _numbers(self) -> Iterator[str]:
        for kind, count in sorted(self._untold.items()):
            yield f"{count} more of these were refused and not told one by one: {kind}."
