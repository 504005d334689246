"""The locks of the vault: a key from a passphrase, keys from that key, a text sealed under one, and a seal over a whole file.

None of the arithmetic is ours: Argon2id (RFC 9106), HMAC-SHA-256 (RFC 2104), the first block of HKDF-Expand (RFC 5869) and AES-256-GCM
(NIST SP 800-38D) come from the libraries.
"""

from __future__ import annotations

import hmac
import unicodedata
from dataclasses import dataclass
from typing import NoReturn

from argon2.low_level import Type, hash_secret_raw
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from loopwright.store.secret import Draw, Secret

KEY_BYTES = 32
SALT_BYTES = 16
NONCE_BYTES = 12
BLOCK_BYTES = 256
"""Texts are filled up to whole blocks before they are sealed, so that the file does not tell a code of four digits from one of six."""
LENGTH_BYTES = 4
ARGON2_VERSION = 19
MOST_MEMORY_KIB = 1 << 20
MOST_PASSES = 64
MOST_LANES = 64


class Broken(Exception):  # noqa: N818 - what it is, not what went wrong in the program
    """The seal does not fit: another key, another name, or a byte that is not what it was."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Cost:
    """What one try of a passphrase costs whoever tries it.

    RFC 9106 section 4 recommends 3 passes over 64 MiB in 4 lanes where memory is short; this takes three times the memory.
    """

    passes: int = 3
    memory_kib: int = 192 * 1024
    lanes: int = 4

    def __post_init__(self) -> None:
        """Refuse what no vault asks for: a file must not be able to take all the memory of whoever looks at it."""
        within = 1 <= self.passes <= MOST_PASSES and 1 <= self.lanes <= MOST_LANES
        if not within or not 8 * self.lanes <= self.memory_kib <= MOST_MEMORY_KIB:
            raise ValueError("the cost of the key is out of bounds.")


class Keys:
    """The keys one passphrase gives for one salt: one for what is sealed, another for the seal over the whole."""

    __slots__ = ("__sealing", "__whole")

    def __init__(self, main: bytes) -> None:
        """Take the key the passphrase gave; it is not kept."""
        self.__sealing = AESGCM(subkey(main, b"loopwright vault 1: entries"))
        self.__whole = subkey(main, b"loopwright vault 1: whole file")

    def seal(self, text: Secret, bound_to: bytes, draw: Draw) -> tuple[bytes, bytes]:
        """Return a new nonce and the sealed text, which opens only with what it is bound to."""
        nonce = draw(NONCE_BYTES)
        return nonce, self.__sealing.encrypt(nonce, filled(text.utf8()), bound_to)

    def unseal(self, nonce: bytes, sealed: bytes, bound_to: bytes) -> Secret:
        """Return the text. Raises Broken."""
        try:
            full = self.__sealing.decrypt(nonce, sealed, bound_to)
        except (InvalidTag, ValueError):
            raise Broken from None
        return Secret.of_bytes(emptied(full))

    def mark(self, content: bytes) -> bytes:
        """Return the seal over a whole file; unlike a GCM tag, it commits to the key."""
        return hmac.digest(self.__whole, content, "sha256")

    def __repr__(self) -> str:
        """Return words that say nothing of the keys."""
        return "Keys(hidden)"

    def __reduce_ex__(self, protocol: object) -> NoReturn:
        """Refuse to be pickled or copied."""
        raise TypeError("keys are not copied or pickled")


def keys_from(passphrase: Secret, salt: bytes, cost: Cost) -> Keys:
    """Return the keys a passphrase gives. How accents were typed does not matter (Unicode NFC)."""
    spelled = unicodedata.normalize("NFC", passphrase.reveal()).encode("utf-8")
    return Keys(main_key(spelled, salt, cost))


def main_key(spelled: bytes, salt: bytes, cost: Cost) -> bytes:
    """Return the key Argon2id makes of a passphrase."""
    return hash_secret_raw(
        spelled, salt, time_cost=cost.passes, memory_cost=cost.memory_kib, parallelism=cost.lanes, hash_len=KEY_BYTES, type=Type.ID,
        version=ARGON2_VERSION,
    )  # fmt: skip


def subkey(main: bytes, purpose: bytes) -> bytes:
    """Return a key for one purpose: the first block of HKDF-Expand, T(1) = HMAC-Hash(PRK, info | 0x01) (RFC 5869, 2.3)."""
    return hmac.digest(main, purpose + b"\x01", "sha256")


def filled(text: bytes) -> bytes:
    r"""Return a text with its length in front, filled up with zeros to whole blocks.

    >>> len(filled(b"1234")), len(filled(b"123456")), emptied(filled(b"1234"))
    (256, 256, b'1234')
    """
    whole = len(text).to_bytes(LENGTH_BYTES, "big") + text
    return whole + b"\0" * (-len(whole) % BLOCK_BYTES)


def emptied(full: bytes) -> bytes:
    """Return the text that was filled up."""
    return full[LENGTH_BYTES : LENGTH_BYTES + int.from_bytes(full[:LENGTH_BYTES], "big")]
