"""What a receiver hands on: events that are stored, frames it did not take, and what it noticed of accounts and paths.

A message is one frame; it may carry several events (DC-03), and each of them is one `Received`. ``number`` counts messages in the order
they were stored, from 1 without gaps; ``part`` counts the events inside one, from 0. The two together name an event for ever.

To follow a receiver: ask the store for everything after the last number known (`Stored.since`), and be told by `Listener` when there is
more. A listener is called after the commit and in the order of the numbers, in the receiver's own thread: it puts what it is given on a
queue of its own and returns. A sender that repeats a message gives a `Received` again, with ``duplicate_of``; it is not stored again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import NamedTuple, Protocol

from loopwright.signalling.contact_id import QUALIFIERS, ContactId
from loopwright.signalling.made_often import made_often
from loopwright.signalling.verdict import Answer, Event, Verdict, Why
from loopwright.signalling.words import event_words


class Way(StrEnum):
    """How a frame came."""

    TCP = "TCP"
    UDP = "UDP"


@made_often
class Received:
    """One event of a message that is stored, or a poll's place in the stream (``event`` None, ``number`` 0: polls are not stored).

    ``at`` is when it came in and ``said_at`` the time in its frame, both UTC; ``skew_s`` [s] is how far the sender's clock was ahead.
    ``peer`` is the address it came from. ``encrypted``: a key was used. ``data`` is what stood between the brackets, as it came.
    ``duplicate_of`` is the number of the message it repeats; ``repeats`` counts, on a stored one, how often it came again.
    ``event`` is None too where the form of the message is none that is read here; ``data`` is then all that is known.
    """

    number: int
    part: int = 0
    at: datetime
    account: str
    line: str
    sequence: str
    token: str
    way: Way
    peer: str
    receiver: str | None = None
    said_at: datetime | None = None
    skew_s: float | None = None
    encrypted: bool = False
    event: Event | None = None
    data: str = ""
    extended: tuple[tuple[str, str], ...] = ()
    duplicate_of: int | None = None
    repeats: int = 0
    verdict: Answer = Answer.ACK
    warnings: tuple[str, ...] = ()

    @property
    def path(self) -> str:
        """The way and the address it came by, without a port: ``TCP 192.0.2.7``."""
        return f"{self.way} {self.peer}"

    @property
    def code(self) -> str:
        """The code as sent, empty where there is none."""
        return self.event.code if self.event else ""

    @property
    def restored(self) -> bool:
        """Whether Contact ID calls it a restore. In DC-03 the code alone says so."""
        return isinstance(self.event, ContactId) and QUALIFIERS[self.event.qualifier] == "restore"

    @property
    def zone(self) -> str:
        """The zone as sent, empty where the event tells of none."""
        return self._counted("zone")

    @property
    def user(self) -> str:
        """The user as sent, empty where the event tells of none."""
        named = "" if self.event is None or isinstance(self.event, ContactId) else self.event.modifier("id") or ""
        return self._counted("user") or named

    @property
    def area(self) -> str:
        """The area (group) as sent, empty where the event tells of none."""
        if isinstance(self.event, ContactId):
            return "" if self.event.group == "00" else self.event.group
        return "" if self.event is None else self.event.modifier("ri") or self._counted("area")

    @property
    def text(self) -> str:
        """The text that came with it: of the event itself, or of extended data I (alarm text)."""
        own = "" if self.event is None or isinstance(self.event, ContactId) else self.event.text or ""
        return own or dict(self.extended).get("I", "")

    @property
    def words(self) -> str:
        """The event in plain words."""
        if self.event is not None:
            return event_words(self.event)
        return f"Message {self.token}: {self.data}." if self.data else f"Message {self.token}."

    def _counted(self, what: str) -> str:
        """Return the number of a zone, a user or an area, where that is what the code counts."""
        if isinstance(self.event, ContactId):
            return self.event.number if self.event.number_is == what and self.event.number != "000" else ""
        if self.event is None or self.event.address is None:
            return ""
        counts = self.event.known.addressed if self.event.known else "zone"
        return self.event.address if counts == what else ""


class Arrival(NamedTuple):
    """A message that is acknowledged once it is stored: what it was found to be, when and how it came."""

    verdict: Verdict
    at: datetime
    way: Way
    peer: str


class Kept(NamedTuple):
    """Under which number a message is stored, 0 for a poll; whether it is a repeat of what was there under it."""

    number: int
    repeat: bool = False


def received(arrival: Arrival, kept: Kept, *, repeats: int = 0) -> tuple[Received, ...]:
    """Return the events of a message that is stored, one without an event where it has none. Raises ValueError for what cannot be read."""
    verdict, head, content = arrival.verdict, arrival.verdict.head, arrival.verdict.content
    if head is None or content is None:
        raise ValueError("what cannot be read is not kept.")
    return tuple(
        Received(
            number=kept.number,
            part=part,
            at=arrival.at,
            account=head.account,
            line=head.line,
            sequence=head.sequence,
            token=head.token,
            way=arrival.way,
            peer=arrival.peer,
            receiver=head.receiver,
            said_at=content.at,
            skew_s=verdict.skew_s,
            encrypted=head.encrypted,
            event=event,
            data=content.data,
            extended=content.extended,
            duplicate_of=kept.number if kept.repeat else None,
            repeats=repeats,
            verdict=verdict.answer,
            warnings=verdict.warnings,
        )
        for part, event in enumerate(verdict.events or (None,))
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Polled:
    """The polls of one account by one path: the first, the last, how many, and the longest time between two of them [s]."""

    account: str
    line: str
    receiver: str | None
    way: Way
    peer: str
    first_at: datetime
    last_at: datetime
    polls: int
    longest_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Refused:
    """Bytes that were not taken, with the reason in a sentence and what was answered (DROP: nothing). ``octets`` are the first of them."""

    at: datetime
    way: Way
    peer: str
    reason: str
    answer: Answer = Answer.SILENCE
    account: str = ""
    octets: bytes = field(default=b"", repr=False)
    why: Why | None = None


class Matter(StrEnum):
    """What a notice is about."""

    ON_TEST = "on test"
    TEST_OVER = "test over"
    CLOCK = "clock"
    LATE_POLL = "late poll"
    POLL_BACK = "poll back"
    PATH = "path change"
    UNLISTED = "account not listed"
    BOUND = "bound reached"
    STORE = "store"


@dataclass(frozen=True, kw_only=True, slots=True)
class Notice:
    """Something of the receiver, an account or a path that a person should know, in a sentence."""

    at: datetime
    matter: Matter
    words: str
    account: str = ""


Happening = Received | Refused | Notice
Listener = Callable[[Happening], None]


class Stored(Protocol):
    """Where the received events are kept."""

    def since(self, number: int, *, most: int = 1000) -> Sequence[Received]:
        """Return the events of the messages after this number, in their order, at most so many messages. 0 gives all from the first."""

    def last(self) -> int:
        """Return the number of the last message stored, 0 where there is none."""

    def polls(self) -> Sequence[Polled]:
        """Return what is known of the polls, by account and path."""


class Keeper(Stored, Protocol):
    """Where a receiver keeps what it acknowledges."""

    def keep(self, arrivals: Sequence[Arrival]) -> list[Kept]:
        """Keep messages, all or none. When this returns they are safe. Raises what `trouble` can put into words."""

    def trouble(self, error: Exception) -> str | None:
        """Return in a sentence why nothing was kept, None where the error is none of the keeping."""
