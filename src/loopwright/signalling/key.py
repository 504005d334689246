"""Keys, and the part of a frame they hide: AES in chains of blocks from a first block of zeros, 128, 192 or 256 bits."""

from __future__ import annotations

import re
from collections.abc import Callable
from enum import StrEnum
from typing import NoReturn, Protocol

HIDDEN = "(hidden)"
BLOCK = 16
LENGTHS = (16, 24, 32)
"""Bytes a key may have."""
Draw = Callable[[int], bytes]
"""Gives so many random bytes."""
_HEX = re.compile(r"(?:[0-9A-Fa-f]{2})+")
_NOT_IN_PADS = bytes.maketrans(b"|[]", b"}Z^")


class Cipher(Protocol):
    """What enciphers whole blocks. The library for it is known to the store alone; front doors hand it in."""

    def encrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks enciphered, chained from a block of zeros."""

    def decrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks deciphered, chained from a block of zeros."""


class Form(StrEnum):
    """How a key was typed."""

    HEX = "hexadecimal digits"
    CHARACTERS = "characters"


class Key:
    """A key that shows itself to nobody: not printed, compared, copied into a file or sent to another process by mistake."""

    __slots__ = ("__octets", "form")

    def __init__(self, octets: bytes, form: Form = Form.HEX) -> None:
        """Take 16, 24 or 32 bytes. Raises ValueError, without them."""
        if len(octets) not in LENGTHS:
            raise ValueError("a key has 16, 24 or 32 bytes.")
        self.__octets = octets
        self.form = form

    @property
    def bits(self) -> int:
        """How long the key is [bit]."""
        return len(self.__octets) * 8

    def encrypt(self, cipher: Cipher, blocks: bytes) -> bytes:
        """Return whole blocks enciphered."""
        return cipher.encrypt(self.__octets, blocks)

    def decrypt(self, cipher: Cipher, blocks: bytes) -> bytes:
        """Return whole blocks deciphered."""
        return cipher.decrypt(self.__octets, blocks)

    def __repr__(self) -> str:
        """Return that it is hidden."""
        return HIDDEN

    def __reduce__(self) -> NoReturn:
        """Refuse to be packed. Raises TypeError."""
        raise TypeError("a key is not packed.")


def keys_of(text: str) -> tuple[Key, ...]:
    """Return what a typed key can mean: hexadecimal digits first, then its characters; none where its length fits neither.

    32 hexadecimal digits are a key of 128 bits to some programs and the 32 characters of one of 256 bits to others.

    >>> [(key.form.value, key.bits) for key in keys_of("00" * 16)]
    [('hexadecimal digits', 128), ('characters', 256)]
    """
    found = []
    if _HEX.fullmatch(text) and len(text) // 2 in LENGTHS:
        found.append(Key(bytes.fromhex(text), Form.HEX))
    raw = text.encode("utf-8", "surrogateescape")
    if len(raw) in LENGTHS:
        found.append(Key(raw, Form.CHARACTERS))
    return tuple(found)


def padded(plain: bytes, draw: Draw) -> bytes:
    """Return the text behind a pad of 1 to 16 random bytes and a bar, so that all is whole blocks; a pad holds no ``|``, ``[`` or ``]``."""
    short = BLOCK - (len(plain) + 1) % BLOCK
    return draw(short).translate(_NOT_IN_PADS) + b"|" + plain
