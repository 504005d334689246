"""A frame told in plain words, as somebody reads it who looks through a log."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from loopwright.signalling.contact_id import QUALIFIERS, ContactId
from loopwright.signalling.event_block import MODIFIERS, BlockEvent
from loopwright.signalling.frame import Content, Damaged, Frame, Unreadable, content_of, parse, revealed
from loopwright.signalling.key import Cipher, Key
from loopwright.signalling.verdict import POLLS, REPLIES, Event, events_of

_ANSWERS = {"ACK": "acknowledged", "NAK": "refused for its time", "DUH": "told that it cannot be processed", "RSP": "an answer with data"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Told:
    """What a frame is, a line at a time. ``damaged``: it did not arrive as it was sent, or its head is none of the standard."""

    lines: tuple[str, ...]
    damaged: bool = False


def told(octets: bytes, keys: Sequence[Key], cipher: Cipher) -> Told:
    """Return in words what the bytes of a frame, LF to CR, say; keys are tried in turn on one that is encrypted."""
    try:
        frame = parse(octets)
    except Damaged as error:
        return Told(lines=(f"Damaged: {error}",), damaged=True)
    except Unreadable as error:
        return Told(lines=(f"Whole, but not to be read: {error}",), damaged=True)
    lines = [_head(frame)]
    if frame.binary_check:
        lines.append("Its check sum is two raw bytes, as early senders wrote it.")
    if not frame.head.encrypted:
        content = content_of(frame)
        return Told(lines=(*lines, *(_content(frame, content) if content else ("What follows the data is none of the standard.",))))
    if not keys:
        return Told(lines=(*lines, "Encrypted: it needs the key."))
    for key in keys:
        content = revealed(frame, key, cipher)
        if content is not None:
            fits = f"Encrypted: the key fits, read as {key.form} ({key.bits} bit)."
            return Told(lines=(*lines, fits, *_content(frame, content)))
    tried = " and as ".join(f"{key.form} ({key.bits} bit)" for key in keys)
    return Told(lines=(*lines, f"Encrypted: the key does not fit, tried as {tried}."))


def _head(frame: Frame) -> str:
    head = frame.head
    kind = f"message {head.token}"
    if head.token in POLLS:
        kind = "poll, to show that the path is there"
    elif head.token in REPLIES:
        kind = f"answer {head.token}: {_ANSWERS[head.token]}"
    by = "" if head.receiver is None else f", receiver {head.receiver}"
    account = f"account {head.account}" if head.account else "no account"
    return f"{account}{by}, line {head.line}, number {head.sequence}: {kind}. Check sum and length are right."


def _content(frame: Frame, content: Content) -> Iterator[str]:
    events = () if frame.head.token in REPLIES else events_of(frame.head.token, content)
    if events is None:
        yield f"Its data hold no event that can be read: {content.data or 'nothing'}."
    elif not events and content.data:
        yield f"Data: {content.data}"
    inner = content.data.split("|")[0].removeprefix("#")
    if content.data.startswith("#") and inner != frame.head.account:
        yield f"Its data name another account: {inner}."
    yield from map(event_words, events or ())
    yield from (f"Extended data {letter}: {text}" for letter, text in content.extended)
    if content.at is not None:
        yield f"Time: {content.at:%Y-%m-%d %H:%M:%S} UTC."
    elif content.time_said is not None:
        yield f"Its time cannot be read: {content.time_said}"


def event_words(event: Event) -> str:
    """Return one event in words: what it is, of which zone or user, new or restored."""
    meaning = event.known.meaning if event.known else "a code no table here has"
    if isinstance(event, ContactId):
        where = "" if event.number == "000" else f", {_counted(event.number_is)} {event.number}"
        group = "" if event.group == "00" else f", group {event.group}"
        return f"{QUALIFIERS[event.qualifier].capitalize()}: {event.code} {meaning}{where}{group}."
    return _block_words(event, meaning)


def _block_words(event: BlockEvent, meaning: str) -> str:
    parts = [f"{event.block.capitalize()}: {event.code} {meaning}"]
    if event.address is not None:
        counted = event.known.addressed if event.known else ""
        parts.append(f"{_counted(counted)} {event.address}")
    parts += [f"{MODIFIERS.get(name, name)} {said}" for name, said in event.modifiers]
    parts += [f"units {event.units}"] if event.units else []
    parts += [f"text: {event.text}"] if event.text else []
    return ", ".join(parts) + "."


def _counted(word: str) -> str:
    return word if word in ("zone", "user", "area", "door", "expander", "output", "printer", "receiver", "line") else "number"
