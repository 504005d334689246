"""A sender: one message under way at a time, its number, its repeats and what an answer means. No port, no clock: both are handed in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum

from loopwright.signalling import moment
from loopwright.signalling.frame import Content, Damaged, Head, Unreadable, build, parse, revealed
from loopwright.signalling.key import Cipher, Draw, Key
from loopwright.signalling.verdict import POLLS, wrong_time

LAST_NUMBER = 9999
WAIT_S = 10.0
"""How long an answer is waited for [s]; 2007 C.1.3.15 asks for 5 to 60."""
TRIES = 3
"""How often a message is sent at most; 2007 C.1.3.15 asks for one repeat at least, how many more is our choice."""


class Fate(StrEnum):
    """What has become of a message."""

    WAITING = "waiting for an answer"
    ACKNOWLEDGED = "acknowledged"
    DECLINED = "declined: it is not sent again"
    GIVEN_UP = "given up: nobody answered"


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """Whose messages are sent: the head's fixed fields, and for encrypted ones the key, the cipher and random bytes."""

    account: str
    line: str = "0"
    receiver: str | None = None
    key: Key | None = None
    cipher: Cipher | None = None
    draw: Draw | None = None

    def head(self, token: str, number: int) -> Head:
        """Return the head of a message; a poll bears the number 0."""
        sequence = "0000" if token in POLLS else f"{number:04d}"
        return Head(
            token=token, encrypted=self.key is not None, sequence=sequence, receiver=self.receiver, line=self.line, account=self.account
        )


def next_number(number: int) -> int:
    """Return the number after this one: 1 follows 9999, and a poll takes none.

    >>> next_number(9999)
    1
    """
    return number % LAST_NUMBER + 1


@dataclass(frozen=True, kw_only=True, slots=True)
class Sending:
    """One message under way. Every step returns what it is then; ``ahead`` is what the receiver's clock was found ahead of ours."""

    line: Line
    head: Head
    content: Content
    tries: int = 0
    sent_at: datetime | None = None
    ahead: timedelta = timedelta()
    fate: Fate = Fate.WAITING

    def due(self, now: datetime) -> tuple[Sending, bytes | None]:
        """Return the message after this moment, and the frame to send at it, or None. Raises ValueError for content that cannot be sent."""
        if self.fate is not Fate.WAITING or (self.sent_at is not None and now - self.sent_at < timedelta(seconds=WAIT_S)):
            return self, None
        if self.tries >= TRIES:
            return replace(self, fate=Fate.GIVEN_UP), None
        content = self.content._replace(at=now + self.ahead) if self.line.key else self.content
        octets = build(self.head, content, key=self.line.key, cipher=self.line.cipher, draw=self.line.draw)
        return replace(self, tries=self.tries + 1, sent_at=now), octets

    def answered(self, octets: bytes, now: datetime) -> Sending:
        """Return the message after an answer. One that is damaged, of another message or not enciphered as asked changes nothing."""
        if self.fate is not Fate.WAITING:
            return self
        if octets[9:14] == b'"NAK"':
            return self._set_clock(octets, now)
        try:
            answer = parse(octets)
        except (Damaged, Unreadable):
            return self
        same = answer.head._replace(token=self.head.token, encrypted=self.head.encrypted) == self.head
        if same and answer.head.token == "DUH":
            return replace(self, fate=Fate.DECLINED)
        if not same or answer.head.token != "ACK" or answer.head.encrypted != self.head.encrypted:
            return self
        key, cipher = self.line.key, self.line.cipher
        if key and cipher and revealed(answer, key, cipher) is None:
            return self
        return replace(self, fate=Fate.ACKNOWLEDGED)

    def _set_clock(self, octets: bytes, now: datetime) -> Sending:
        """Take the receiver's time and send again at once; a NAK has no account of the usual form, so it is read by itself."""
        at = moment.read(octets[-21:-1].decode("ascii", "replace"))
        if at is None or octets != wrong_time(at):
            return self
        return replace(self, ahead=at - now, sent_at=None)
