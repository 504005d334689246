"""One frame of DC-09 read and written: check sum, length, the fields of its head, and what stands between its brackets.

``LF CCCC 0LLL "id" ssss [Rrrrrrr] Lpppppp #aaaa [data] [xdata]* [_time] CR``
"""

from __future__ import annotations

import re
from dataclasses import field
from datetime import datetime
from functools import lru_cache
from typing import NamedTuple

from loopwright.signalling import moment
from loopwright.signalling.crc import crc16
from loopwright.signalling.key import Cipher, Draw, Key, padded
from loopwright.signalling.made_often import made_often
from loopwright.signalling.stream import CR, LF, MOST_BODY

SENDERS_KNOWN = 1024
"""Senders whose part of the head is kept in mind as it is written."""
_ASCII_HEAD = re.compile(rb"\n([0-9A-Fa-f]{4})0([0-9A-Fa-f]{3})(?=\")")
_BINARY_HEAD = re.compile(rb"\n([\x00-\xff]{2})0([0-9A-Fa-f]{3})(?=\")", re.DOTALL)
# 0 alone is the account of the 2007 annex; every other has three digits or more.
_HEAD = re.compile(rb'"(\*?)([A-Za-z0-9-]+)"(\d{4})(?:R([0-9A-Fa-f]{1,6}))?L([0-9A-Fa-f]{1,6})(?:#(0|[0-9A-Fa-f]{3,16}))?\[')
_TAIL = re.compile(rb"([^\[\]]*)\]((?:\[[^\[\]]*\])*)(_[^\[\]]*)?")
_HIDDEN_TAIL = re.compile(rb"[^|\[\]]*(?:\|([^\[\]]*))?\]((?:\[[^\[\]]*\])*)(_[\x20-\x7e]*)?")
_HIDDEN_HEX = re.compile(rb"(?:[0-9A-Fa-f]{32})+")
_XDATA = re.compile(rb"\[([^\[\]]*)\]")
_USUAL = re.compile(
    r'\n([0-9A-F]{4})0([0-9A-F]{3})"(\*?)([A-Za-z0-9-]+)"([0-9]{4})(?:R([0-9A-Fa-f]{1,6}))?L([0-9A-Fa-f]{1,6})(?:#(0|[0-9A-Fa-f]{3,16}))?'
    r"\[(?:([^\[\]]*)\](_[^\[\]]*)?|((?:[0-9A-Fa-f]{32})+))\r"
)
"""The usual frame as a whole: of ASCII alone; in plain without extended data, or encrypted."""


class Head(NamedTuple):
    """The fields before the bracket, as sent. ``account`` is empty where the sender left it out."""

    token: str
    encrypted: bool
    sequence: str
    receiver: str | None
    line: str
    account: str


class Content(NamedTuple):
    """What stands between the brackets: data, extended data as letter and text, and the time (None: none, or none that can be read)."""

    data: str = ""
    extended: tuple[tuple[str, str], ...] = ()
    time_said: str | None = None
    at: datetime | None = None


@made_often
class Frame:
    """A frame whose check sum and length are right. ``inside`` is everything after the first bracket."""

    head: Head
    inside: bytes = field(repr=False)
    binary_check: bool = False


class Damaged(ValueError):  # noqa: N818 - what the frame is
    """The bytes did not arrive as they were sent, or are no frame: nobody is answered."""


class Unreadable(ValueError):  # noqa: N818 - what the frame is
    """The bytes arrived whole, but their head is none of the standard: there is nobody to answer by it."""


def text_of(octets: bytes) -> str:
    """Return text that is UTF-8, or else Windows-1252; the five bytes that set leaves out are written as escapes."""
    try:
        return octets.decode("utf-8")
    except UnicodeDecodeError:
        return octets.decode("cp1252", "backslashreplace")


def parse(octets: bytes) -> Frame:
    """Return the frame in bytes from LF to CR. Raises Damaged or Unreadable, with what is wrong in words."""
    if len(octets) < 2 or octets[0] != LF or octets[-1] != CR:
        raise Damaged("a frame begins with a line feed and ends with a carriage return.")
    body, binary = _checked(octets)
    found = _HEAD.match(body)
    if found is None:
        raise Unreadable('its head is not "name", four digits, R, L and an account of 3 to 16 hexadecimal digits before a bracket.')
    star, token, sequence, receiver, line, account = found.groups(b"")
    head = Head(
        token=token.decode("ascii"),
        encrypted=star == b"*",
        sequence=sequence.decode("ascii"),
        receiver=receiver.decode("ascii") or None,
        line=line.decode("ascii"),
        account=account.decode("ascii"),
    )
    return Frame(head=head, inside=body[found.end() :], binary_check=binary)


def usual(octets: bytes) -> tuple[Head, Content | None, str] | None:
    """Return the head of the usual frame, what it says in plain (None: nothing), and the digits it hides it in.

    None is returned for any other frame, which `parse` then reads or refuses; this costs a third of that.
    """
    found = _USUAL.fullmatch(octets.decode("ascii")) if octets.isascii() else None
    if found is None:
        return None
    check, length, star, token, sequence, receiver, line, account, data, said, hidden = found.groups()
    body = octets[9:-1]
    if int(check, 16) != crc16(body) or int(length, 16) != len(body) or (star == "") is (data is None):
        return None
    # Field by field: by name it takes three times as long, and every message is read here.
    head = tuple.__new__(Head, (token, star != "", sequence, receiver, line, account or ""))
    if data is None:
        return head, None, hidden
    return head, tuple.__new__(Content, (data, (), said, None if said is None else moment.read(said))), ""


def _checked(octets: bytes) -> tuple[bytes, bool]:
    """Return what the check sum covers, and whether that was two raw bytes. Raises Damaged."""
    for form, digits in ((_ASCII_HEAD, True), (_BINARY_HEAD, False)):
        found = form.match(octets)
        if found is None:
            continue
        body = octets[found.end() : -1]
        said = int(found[1], 16) if digits else int.from_bytes(found[1], "big")
        if said != crc16(body):
            raise Damaged(f"its check sum is {said:04X} and should be {crc16(body):04X}.")
        if int(found[2], 16) != len(body):
            raise Damaged(f"its length is 0{found[2].decode('ascii')} and should be {len(body):04X}.")
        return body, not digits
    raise Damaged("there is no check sum and length before a quotation mark.")


def content_of(frame: Frame) -> Content | None:
    """Return what a plain frame carries; None where what follows the data is none of the standard."""
    found = _TAIL.fullmatch(frame.inside)
    return None if found is None else _content(found)


def hidden_in(frame: Frame) -> str:
    """Return the digits that stand for what a frame hides, empty where they are none."""
    return frame.inside.decode("ascii") if _HIDDEN_HEX.fullmatch(frame.inside) else ""


def revealed(frame: Frame, key: Key, cipher: Cipher) -> Content | None:
    """Return what a frame hides, or None where the key does not fit: pad, data, bracket and time do not come out."""
    return brought_out(hidden_in(frame), key, cipher)


def brought_out(hidden: str, key: Key, cipher: Cipher) -> Content | None:
    """Return what digits hide, or None where they are none or the key does not fit."""
    found = _HIDDEN_TAIL.fullmatch(key.decrypt(cipher, bytes.fromhex(hidden))) if hidden else None
    return None if found is None else _content(found)


def _content(found: re.Match[bytes]) -> Content:
    data, extended, time = found.groups()
    said = None if time is None else text_of(time)
    return Content(
        data=text_of(data or b""),
        extended=tuple((text[:1], text[1:]) for text in map(text_of, _XDATA.findall(extended))) if extended else (),
        time_said=said,
        at=None if said is None else moment.read(said),
    )


def build(head: Head, content: Content, *, key: Key | None = None, cipher: Cipher | None = None, draw: Draw | None = None) -> bytes:
    """Return the frame, LF to CR. An encrypted one needs key, cipher, random bytes and a time. Raises ValueError."""
    if head.encrypted and (key is None or cipher is None or draw is None or content.at is None):
        raise ValueError("an encrypted frame needs a key, a cipher, random bytes and a time.")
    inside = b"".join((content.data.encode("utf-8"), b"]", *(f"[{letter}{text}]".encode() for letter, text in content.extended)))
    if content.at is not None:
        inside += moment.written(content.at)
    if _TAIL.fullmatch(inside) is None:
        raise ValueError("data and extended data hold no brackets.")
    body = head_bytes(head)
    if _HEAD.fullmatch(body) is None:
        raise ValueError("a field of the head is none of the standard.")
    if head.encrypted and key is not None and cipher is not None and draw is not None:
        return framed(body + hidden(inside, key, cipher, draw))
    return framed(body + inside)


def hidden(inside: bytes, key: Key, cipher: Cipher, draw: Draw) -> bytes:
    """Return the digits that hide what stands between the bracket and the end."""
    return key.encrypt(cipher, padded(inside, draw)).hex().upper().encode("ascii")


def head_bytes(head: Head) -> bytes:
    """Return the head as it is sent, up to and with the bracket."""
    return begun(f"*{head.token}" if head.encrypted else head.token, head)


def begun(token: str, head: Head) -> bytes:
    """Return the head under another name, its star before it."""
    return f'"{token}"{head.sequence}{_line_of(head[3:])}['.encode("ascii")


# Senders are few, and every message is answered.
@lru_cache(maxsize=SENDERS_KNOWN)
def _line_of(sender: tuple[str | None, str, str]) -> str:
    receiver, line, account = sender
    return f"{'' if receiver is None else f'R{receiver}'}L{line}{f'#{account}' if account else ''}"


def framed(body: bytes) -> bytes:
    """Return the bytes between LF with check sum and length, and CR. Raises ValueError when they are too many or hold one of the two."""
    if len(body) > MOST_BODY or LF in body or CR in body:
        raise ValueError(f"a frame holds at most {MOST_BODY} bytes, and no end of line.")
    return b"\n%04X%04X%b\r" % (crc16(body), len(body), body)
