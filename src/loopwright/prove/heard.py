"""An event as it is matched: of a frame of the open standards, or tapped off a keypad by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from loopwright.prove.kind import Kind, of_block, of_contact_id
from loopwright.prove.record import Tapped
from loopwright.signalling.contact_id import ContactId
from loopwright.signalling.received import Received
from loopwright.signalling.verdict import Event

BY_HAND = "keypad"
BY_NOBODY = frozenset({"403", "407", "408", "409", "442", "455", "CQ", "OQ"})
"""Codes of setting by itself, from afar, by one key and by a lock: what number stands there is the unit's own affair."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Heard:
    """One event. ``n`` is its name among all of one source: two of one name are one. ``at`` is when it came in, by this machine's clock.

    ``skew_s`` [s] is how far the sender's clock was ahead. ``by`` is the path it came on, ``keypad`` where it was tapped by hand.
    ``user`` is the number of whoever's code or fob did it, None where nobody's did. ``repeat``: it is stored already and came again;
    ``repeats`` counts, on the stored one, how often it did.
    """

    n: str
    at: datetime
    kind: Kind
    restored: bool = False
    zone: int | None = None
    area: int | None = None
    user: int | None = None
    code: str = ""
    by: str = BY_HAND
    skew_s: float | None = None
    account: str = ""
    repeat: bool = False
    repeats: int = 0
    words: str = ""


def of_received(received: Received) -> Heard:
    """Return what a receiver hands on as it is matched."""
    again = f":again:{received.at.isoformat()}" if received.duplicate_of is not None else ""
    number = received.duplicate_of if received.duplicate_of is not None else received.number
    name = f"{number:09d}.{received.part:03d}{again}" if number else f"poll:{received.at.isoformat()}:{received.peer}"
    common: dict[str, Any] = {
        "n": name, "at": received.at, "by": received.path, "account": received.account, "skew_s": received.skew_s, "repeat": bool(again),
        "repeats": received.repeats, "words": received.words,
    }  # fmt: skip
    if received.event is None:
        return Heard(kind=Kind.OTHER if received.number or again else Kind.POLL, **common)
    kind, restored, number_of, area = _told(received.event)
    # A code given under duress is a hold-up of a user, and of no zone.
    zone = None if kind in (Kind.SET, Kind.UNSET, Kind.CANCEL) or received.user else number_of
    user = None if received.code in BY_NOBODY else _whole_number(received.user) or None
    return Heard(kind=kind, restored=restored, zone=zone, area=area or None, user=user, code=received.event.code, **common)


def of_tap(tap: Tapped) -> Heard:
    """Return what a keypad showed as it is matched."""
    kind = Kind(tap.kind)
    return Heard(n=tap.id, at=datetime.fromisoformat(tap.at), kind=kind, restored=tap.restored, zone=tap.zone)


def _told(event: Event) -> tuple[Kind, bool, int | None, int | None]:
    """Return kind, whether it is over, number of the zone and of the area. 000 and 00 stand for none."""
    if isinstance(event, ContactId):
        kind, restored = of_contact_id(event.code, event.qualifier)
        return kind, restored, _whole_number(event.number) or None, _whole_number(event.group)
    kind, restored = of_block(event.code)
    return kind, restored, _whole_number(event.address), _whole_number(event.modifier("ri"))


def _whole_number(digits: str | None) -> int | None:
    """Return a number as it is written: in base ten, which most senders use, or sixteen where only that can be meant."""
    if not digits:
        return None
    return int(digits) if digits.isdigit() else int(digits, 16) if all(each in "0123456789ABCDEFabcdef" for each in digits) else None
