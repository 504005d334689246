"""Contact ID (DC-05): one event as a qualifier, three digits of code, two of a group and three of a number, and the dialler's check digit.

Digits are 0 to 9 and B to F; 0 is valued 10. The sum of all sixteen digits of a dialler's string is a multiple of 15.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from loopwright.signalling.codes import Code, contact_id_codes

_MODULUS = 15
_EVENT = re.compile(r"([136])([0-9B-F]{3}) ([0-9B-F]{2}) ([0-9B-F]{3})")
_STRING = re.compile(r"([0-9B-F]{4})(18|98|58)([136])([0-9B-F]{3})([0-9B-F]{2})([0-9B-F]{3})([0-9B-F])")
QUALIFIERS = {"1": "new", "3": "restore", "6": "still there"}


@dataclass(frozen=True, kw_only=True, slots=True)
class ContactId:
    """One event. ``group`` 00 and ``number`` 000 stand for none; all stay the digits that were sent."""

    qualifier: str
    code: str
    group: str
    number: str

    @property
    def known(self) -> Code | None:
        """What the table says of the code, if it has it."""
        return contact_id_codes().get(self.code)

    @property
    def number_is(self) -> str:
        """What the number counts: a zone where the table does not know better."""
        return self.known.addressed if self.known else "zone"

    def __str__(self) -> str:
        """Return the event as a frame carries it."""
        return f"{self.qualifier}{self.code} {self.group} {self.number}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Dialled:
    """A dialler's whole string: account, message type, event and check digit."""

    account: str
    message_type: str
    event: ContactId
    check: str


def event_in(text: str) -> ContactId | None:
    """Return the event in ``QXYZ GG CCC``, or None where the text is none."""
    found = _EVENT.fullmatch(text)
    return ContactId(qualifier=found[1], code=found[2], group=found[3], number=found[4]) if found else None


def value(digit: str) -> int:
    """Return what a digit counts in the sum: 0 counts 10, B to F count 11 to 15."""
    return int(digit, 16) or 10


def check_digit(digits: str) -> str:
    """Return the digit that makes the sum of the fifteen before it, and of itself, a multiple of 15.

    >>> check_digit("123418113101015")
    '8'
    """
    missing = _MODULUS - sum(map(value, digits)) % _MODULUS
    return "0" if missing == value("0") else f"{missing:X}"


def dialled(text: str) -> Dialled | None:
    """Return what a dialler's sixteen digits say, or None where they are none or their sum is wrong."""
    found = _STRING.fullmatch(text)
    if found is None or check_digit(text[:-1]) != text[-1]:
        return None
    event = ContactId(qualifier=found[3], code=found[4], group=found[5], number=found[6])
    return Dialled(account=found[1], message_type=found[2], event=event, check=found[7])
