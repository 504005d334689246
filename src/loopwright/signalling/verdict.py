"""What a receiver does with a frame: acknowledge, ask for the right time, say that it cannot be processed, or stay silent.

Nothing is remembered here. Whether a message is a repeat is known to whoever stores it (`repeats.Recent`); the reply is the same, and
is sent once the message is safe.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import lru_cache
from typing import NamedTuple

from loopwright.signalling import moment
from loopwright.signalling.contact_id import ContactId, event_in
from loopwright.signalling.event_block import BlockEvent, events_in
from loopwright.signalling.frame import (
    Content,
    Damaged,
    Head,
    Unreadable,
    begun,
    brought_out,
    content_of,
    framed,
    hidden,
    hidden_in,
    parse,
    usual,
)  # fmt: skip
from loopwright.signalling.key import Cipher, Draw, Form, Key

REPLIES = ("ACK", "NAK", "DUH", "RSP")
POLLS = ("NULL", "XNM")
NOT_LISTED = "the account is not listed here."
MOST_KNOWN = 1024
"""Data whose events are kept in mind: a site has some hundred different ones, each said often."""
Event = ContactId | BlockEvent
_BEYOND_DOUBT = {
    "SIA-DCS": re.compile(r"(?:#[^|]*\|)?[NO](?:ri[0-9]+/)?[A-Z]{2}[0-9A-Fa-f]*(?:\^[^^|]*\^)?"),
    "ADM-CID": re.compile(r"(?:#[^|]*\|)?[136][0-9B-F]{3} [0-9B-F]{2} [0-9B-F]{3}"),
}
"""Data that hold an event beyond doubt: they are answered, and read by whoever asks for it."""


class Answer(StrEnum):
    """What is sent back."""

    ACK = "ACK"
    NAK = "NAK"
    DUH = "DUH"
    SILENCE = "DROP"


# Looked up once: Python 3.11 takes ten times as long to find a member of an enum as a name, and every message comes by here.
_ACK = Answer.ACK


class Why(StrEnum):
    """Why a frame is not taken."""

    DAMAGED = "damaged"
    NO_MESSAGE = "no message"
    TIME = "wrong time"
    WRONG_KEY = "wrong key"
    MISREAD_KEY = "key read another way"
    NO_KEY = "no key"
    IN_PLAIN = "in plain"
    NO_EVENT = "no event"


@dataclass(frozen=True, kw_only=True, slots=True)
class Account:
    """Keys a message of this account may use, none for plain ones only; and the same keys read another way, tried only to say so.

    ``plain_too``: with a key it may send in plain all the same. Otherwise anybody on the network could speak for it.
    """

    keys: tuple[Key, ...] = ()
    misread: tuple[Key, ...] = ()
    plain_too: bool = False


class Verdict(NamedTuple):
    """What becomes of one frame. ``record``: it is to be kept before the reply is sent; a message that is a repeat is kept already."""

    answer: Answer
    reason: str
    reply: bytes | None = None
    record: bool = False
    head: Head | None = None
    content: Content | None = None
    warnings: tuple[str, ...] = ()
    skew_s: float | None = None
    key_form: Form | None = None
    why: Why | None = None

    def __repr__(self) -> str:
        """Return it without what the message says, which is nothing for a log."""
        return f"Verdict({self.answer.value}: {self.reason})"

    @property
    def events(self) -> tuple[Event, ...]:
        """What it tells of, read when it is asked for."""
        if self.head is None or self.content is None:
            return ()
        return events_of(self.head.token, self.content) or ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Desk:
    """What a receiver knows: accounts by digits (in capitals) or by (receiver, line, digits) where they differ; cipher; random bytes.

    Where none is listed every account that sends in plain is welcome.
    """

    accounts: Mapping[str | tuple[str | None, str, str], Account]
    cipher: Cipher
    draw: Draw

    def account(self, head: Head) -> Account | None:
        """Return the account of a message, the one with its receiver and line before the one without."""
        _, _, _, receiver, line, digits = head
        known, digits = self.accounts, digits.upper()
        return known.get((receiver, line, digits)) or known.get(digits)


def judge(octets: bytes, now: datetime, desk: Desk) -> Verdict:
    """Return what becomes of the bytes of one frame, LF to CR, that arrived at a moment. Never raises for anything that arrived."""
    found = usual(octets)
    if found is not None:
        head, plain, digits = found
        binary = False
    else:
        try:
            frame = parse(octets)
        except (Damaged, Unreadable) as error:
            return Verdict(answer=Answer.SILENCE, reason=str(error), why=Why.DAMAGED)
        head, binary = frame.head, frame.binary_check
        plain, digits = (None, hidden_in(frame)) if head.encrypted else (content_of(frame), "")
    if head.token in REPLIES:
        return Verdict(answer=Answer.SILENCE, reason="this is an answer, not a message.", head=head, why=Why.NO_MESSAGE)
    account = desk.account(head)
    warnings = [] if account or not desk.accounts else [NOT_LISTED]
    if binary:
        warnings.append("the check sum is two raw bytes, as early senders wrote it.")
    if head.encrypted:
        return _encrypted(head, digits, now, desk, account or Account(), warnings)
    if plain is None:
        return _declined(head, Why.NO_EVENT, "what follows the data is neither extended data nor a time.")
    return _clear(head, plain, now, desk, account, warnings)


def _clear(head: Head, content: Content, now: datetime, desk: Desk, account: Account | None, warnings: list[str]) -> Verdict:
    """Return what becomes of a message that came in plain."""
    if account and account.keys:
        if not account.plain_too:
            return _declined(head, Why.IN_PLAIN, "the account has a key, and the message came in plain.", content)
        warnings.append("the account has a key, and the message came in plain.")
    skew = None if content.at is None else (content.at - now).total_seconds()
    if content.time_said is not None and content.at is None:
        warnings.append("its time cannot be read.")
    elif skew is not None and not moment.in_time(skew):
        warnings.append(f"its clock is {abs(skew):.0f} s {'ahead' if skew > 0 else 'behind'}.")
    return _carried(head, content, now, desk, warnings, skew, None)


def _encrypted(head: Head, digits: str, now: datetime, desk: Desk, account: Account, warnings: list[str]) -> Verdict:
    for key in account.keys:
        content = brought_out(digits, key, desk.cipher)
        if content is None:
            continue
        skew = None if content.at is None else (content.at - now).total_seconds()
        if skew is None or not moment.in_time(skew):
            told = "no time that can be read" if skew is None else f"{abs(skew):.0f} s {'ahead' if skew > 0 else 'behind'}"
            return Verdict(
                answer=Answer.NAK,
                reason=f"encrypted and outside the time test: {told}.",
                reply=wrong_time(now),
                head=head,
                content=content,
                skew_s=skew,
                key_form=key.form,
                why=Why.TIME,
            )
        return _carried(head, content, now, desk, warnings, skew, key)
    for key in account.misread:
        if brought_out(digits, key, desk.cipher):
            return _declined(head, Why.MISREAD_KEY, f"the key fits only when it is read as {key.form} ({key.bits} bit).")
    if account.keys:
        return _declined(head, Why.WRONG_KEY, "no key held for the account fits.")
    return _declined(head, Why.NO_KEY, "no key is held for the account.")


def _carried(
    head: Head,
    content: Content,
    now: datetime,
    desk: Desk,
    warnings: list[str],
    skew: float | None,
    key: Key | None,
) -> Verdict:
    usual_form = _BEYOND_DOUBT.get(head.token)
    if not (usual_form and usual_form.fullmatch(content.data)) and events_of(head.token, content) is None:
        return _declined(head, Why.NO_EVENT, "its data hold no event that can be read.", content)
    reply = _clear_answer("ACK", head) if key is None else _hidden_answer(head, now, key, desk)
    # Field by field: by name it takes three times as long, and every message that is acknowledged comes by here.
    form = key.form if key else None
    return tuple.__new__(Verdict, (_ACK, "in order.", reply, True, head, content, tuple(warnings), skew, form, None))


def _clear_answer(token: str, head: Head) -> bytes:
    """Return an answer that is not encrypted: the head as it came, with nothing inside."""
    return framed(begun(token, head) + b"]")


def _hidden_answer(head: Head, now: datetime, key: Key, desk: Desk) -> bytes:
    """Return an acknowledgement that hides nothing but the time."""
    return framed(begun("*ACK", head) + hidden(b"]" + moment.written(now), key, desk.cipher, desk.draw))


def events_of(token: str, content: Content) -> tuple[Event, ...] | None:
    """Return the events in the data of a message; none where its name promises none; None where they cannot be read.

    A name of another form of report is kept and shown as it came: told that it cannot be processed, a sender gives the event up.
    """
    return _events(token, content.data)


@lru_cache(maxsize=MOST_KNOWN)
def _events(token: str, data: str) -> tuple[Event, ...] | None:
    if token in POLLS:
        return ()
    blocks = data.split("|")
    if len(blocks) > 1 and (not blocks[0] or blocks[0].startswith("#")):
        blocks = blocks[1:]
    if token == "ADM-CID":
        event = event_in(blocks[0]) if len(blocks) == 1 else None
        return (event,) if event else None
    if token == "SIA-DCS":
        return events_in(blocks)
    return () if token.upper() == token else None


def _declined(head: Head, why: Why, reason: str, content: Content | None = None) -> Verdict:
    return Verdict(answer=Answer.DUH, reason=reason, reply=_clear_answer("DUH", head), head=head, content=content, why=why)


def wrong_time(now: datetime) -> bytes:
    """Return the answer to a message whose time is wrong: the receiver's own."""
    # Its account is A0 without the sign before it: so in the libraries seen, not in the text of the standard.
    return framed(b'"NAK"0000R0L0A0[]' + moment.written(now))
