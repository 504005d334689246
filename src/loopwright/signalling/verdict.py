"""What a receiver does with a frame: acknowledge, ask for the right time, say that it cannot be processed, or stay silent.

Nothing is remembered here: whoever stores a message tells `Recent` of it once it is safe, and sends the reply after that.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum

from loopwright.signalling import moment
from loopwright.signalling.contact_id import ContactId, event_in
from loopwright.signalling.event_block import BlockEvent, events_in
from loopwright.signalling.frame import Content, Damaged, Frame, Head, Unreadable, build, content_of, framed, parse, revealed
from loopwright.signalling.key import Cipher, Draw, Form, Key

REPLIES = ("ACK", "NAK", "DUH", "RSP")
POLLS = ("NULL", "XNM")
REMEMBERED = 64
"""Messages of one account a repeat is looked for among. Our choice: a repeat follows within a minute, a counter comes round in 9999."""
REMEMBERED_FOR = timedelta(minutes=15)
Event = ContactId | BlockEvent
Mark = tuple[str | None, str, str, str, str]


class Answer(StrEnum):
    """What is sent back."""

    ACK = "ACK"
    NAK = "NAK"
    DUH = "DUH"
    SILENCE = "DROP"


@dataclass(frozen=True, kw_only=True, slots=True)
class Account:
    """Keys a message of this account may use, none for plain ones only; and the same keys read another way, tried only to say so."""

    keys: tuple[Key, ...] = ()
    misread: tuple[Key, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What becomes of one frame. ``record``: to be stored before the reply is sent; ``mark`` then goes to `Recent.remember`."""

    answer: Answer
    reason: str
    reply: bytes | None = None
    record: bool = False
    head: Head | None = None
    content: Content | None = field(default=None, repr=False)
    events: tuple[Event, ...] = ()
    warnings: tuple[str, ...] = ()
    skew_s: float | None = None
    key_form: Form | None = None
    mark: Mark | None = field(default=None, repr=False)


class Recent:
    """The messages stored of late, by account. Its size is bounded by REMEMBERED messages for each account."""

    def __init__(self) -> None:
        self._seen: dict[tuple[str | None, str, str], OrderedDict[Mark, datetime]] = {}

    def holds(self, mark: Mark, now: datetime) -> bool:
        """Return whether this very message was stored a short while ago."""
        at = self._seen.get(mark[:3], OrderedDict()).get(mark)
        return at is not None and now - at <= REMEMBERED_FOR

    def remember(self, mark: Mark, now: datetime) -> None:
        """Keep in mind that a message is stored."""
        seen = self._seen.setdefault(mark[:3], OrderedDict())
        seen[mark] = now
        seen.move_to_end(mark)
        while len(seen) > REMEMBERED:
            seen.popitem(last=False)


@dataclass(frozen=True, kw_only=True, slots=True)
class Desk:
    """What a receiver knows: its accounts by digits, or by (receiver, line, digits) where they differ; the cipher; random bytes."""

    accounts: Mapping[str | tuple[str | None, str, str], Account]
    cipher: Cipher
    draw: Draw

    def account(self, head: Head) -> Account | None:
        """Return the account of a message, the one with its receiver and line before the one without."""
        known = self.accounts
        return known.get((head.receiver, head.line, head.account), known.get(head.account))


def judge(octets: bytes, now: datetime, desk: Desk, recent: Recent | None = None) -> Verdict:
    """Return what becomes of the bytes of one frame, LF to CR, that arrived at a moment. Never raises for anything that arrived."""
    try:
        frame = parse(octets)
    except (Damaged, Unreadable) as error:
        return Verdict(answer=Answer.SILENCE, reason=str(error))
    if frame.head.token in REPLIES:
        return Verdict(answer=Answer.SILENCE, reason="this is an answer, not a message.", head=frame.head)
    account = desk.account(frame.head)
    warnings = [] if account else ["the account is not listed here."]
    if frame.binary_check:
        warnings.append("the check sum is two raw bytes, as early senders wrote it.")
    if frame.head.encrypted:
        return _encrypted(frame, now, desk, account or Account(), recent, warnings)
    if account and account.keys:
        warnings.append("the account has a key, and the message came in plain.")
    content = content_of(frame)
    if content is None:
        return _declined(frame, "what follows the data is neither extended data nor a time.")
    skew = None if content.at is None else (content.at - now).total_seconds()
    if content.time_said is not None and content.at is None:
        warnings.append("its time cannot be read.")
    elif skew is not None and not moment.in_time(skew):
        warnings.append(f"its clock is {abs(skew):.0f} s {'ahead' if skew > 0 else 'behind'}.")
    return _carried(frame, content, now, desk, recent, warnings, skew, None)


def _encrypted(frame: Frame, now: datetime, desk: Desk, account: Account, recent: Recent | None, warnings: list[str]) -> Verdict:
    for key in account.keys:
        content = revealed(frame, key, desk.cipher)
        if content is None:
            continue
        skew = None if content.at is None else (content.at - now).total_seconds()
        if skew is None or not moment.in_time(skew):
            told = "no time that can be read" if skew is None else f"{abs(skew):.0f} s {'ahead' if skew > 0 else 'behind'}"
            return Verdict(
                answer=Answer.NAK,
                reason=f"encrypted and outside the time test: {told}.",
                reply=wrong_time(now),
                head=frame.head,
                content=content,
                events=events_of(frame.head.token, content) or (),
                skew_s=skew,
                key_form=key.form,
            )
        return _carried(frame, content, now, desk, recent, warnings, skew, key)
    for key in account.misread:
        if revealed(frame, key, desk.cipher):
            return _declined(frame, f"the key fits only when it is read as {key.form} ({key.bits} bit).")
    return _declined(frame, "no key held for the account fits." if account.keys else "no key is held for the account.")


def _carried(
    frame: Frame,
    content: Content,
    now: datetime,
    desk: Desk,
    recent: Recent | None,
    warnings: list[str],
    skew: float | None,
    key: Key | None,
) -> Verdict:
    head = frame.head
    events = events_of(head.token, content)
    if events is None:
        return _declined(frame, "its data hold no event that can be read.", content)
    mark = None if head.token in POLLS else (head.receiver, head.line, head.account, head.sequence, content.data)
    repeated = mark is not None and recent is not None and recent.holds(mark, now)
    answer = Head(
        token="ACK", encrypted=head.encrypted, sequence=head.sequence, receiver=head.receiver, line=head.line, account=head.account
    )
    reply = Content(at=now) if head.encrypted else Content()
    return Verdict(
        answer=Answer.ACK,
        reason="a repeat: stored already." if repeated else "in order.",
        reply=build(answer, reply, key=key, cipher=desk.cipher, draw=desk.draw),
        record=not repeated,
        head=head,
        content=content,
        events=events,
        warnings=tuple(warnings),
        skew_s=skew,
        key_form=key.form if key else None,
        mark=mark,
    )


def events_of(token: str, content: Content) -> tuple[Event, ...] | None:
    """Return the events in the data of a message; none where its name promises none; None where they cannot be read.

    A name of another form of report is kept and shown as it came: told that it cannot be processed, a sender gives the event up.
    """
    if token in POLLS:
        return ()
    blocks = content.data.split("|")
    if len(blocks) > 1 and (not blocks[0] or blocks[0].startswith("#")):
        blocks = blocks[1:]
    if token == "ADM-CID":
        event = event_in(blocks[0]) if len(blocks) == 1 else None
        return (event,) if event else None
    if token == "SIA-DCS":
        return events_in(blocks)
    return () if token.upper() == token else None


def _declined(frame: Frame, reason: str, content: Content | None = None) -> Verdict:
    head = frame.head
    answer = Head(token="DUH", encrypted=False, sequence=head.sequence, receiver=head.receiver, line=head.line, account=head.account)
    return Verdict(answer=Answer.DUH, reason=reason, reply=build(answer, Content()), head=head, content=content)


def wrong_time(now: datetime) -> bytes:
    """Return the answer to a message whose time is wrong: the receiver's own."""
    # Its account is A0 without the sign before it: so in the libraries seen, not in the text of the standard.
    return framed(b'"NAK"0000R0L0A0[]' + moment.written(now))
