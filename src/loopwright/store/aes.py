"""AES in chained blocks, for signalling: its first block is chained from zeros (NIST SP 800-38A section 6.2, FIPS 197)."""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock

from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import CBC

BLOCK = 16
_ZEROS = bytes(BLOCK)
_MOST_KEYS = 1000


class ChainedAes:
    """The cipher of frames. Keys have 16, 24 or 32 bytes, texts whole blocks of 16; ValueError is raised for others.

    Each key is prepared once, which is most of the work of a short text, and held as long as this object is.
    """

    def __init__(self) -> None:
        """Hold no key yet."""
        self._prepared: dict[bytes, tuple[_Encipher, _Decipher]] = {}
        self._lock = Lock()

    def encrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks enciphered."""
        with self._lock:
            return self._of(key)[0].turn(_whole(blocks))

    def decrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks deciphered."""
        with self._lock:
            return self._of(key)[1].turn(_whole(blocks))

    def _of(self, key: bytes) -> tuple[_Encipher, _Decipher]:
        found = self._prepared.get(key)
        if found is None:
            cipher = Cipher(AES(key), CBC(_ZEROS))
            found = _Encipher(cipher.encryptor().update), _Decipher(cipher.decryptor().update)
            if len(self._prepared) < _MOST_KEYS:
                self._prepared[key] = found
        return found


class _Encipher:
    """A chain that goes on from text to text. The block it goes on from is added to the first one beforehand, which takes it out again."""

    def __init__(self, update: Callable[[bytes], bytes]) -> None:
        self._update, self._last = update, _ZEROS

    def turn(self, blocks: bytes) -> bytes:
        out = self._update(_added(blocks, self._last))
        self._last = out[-BLOCK:]
        return out


class _Decipher:
    """The same the other way: what the chain goes on from is taken out of the first block afterwards."""

    def __init__(self, update: Callable[[bytes], bytes]) -> None:
        self._update, self._last = update, _ZEROS

    def turn(self, blocks: bytes) -> bytes:
        last, self._last = self._last, blocks[-BLOCK:]
        return _added(self._update(blocks), last)


def _added(blocks: bytes, block: bytes) -> bytes:
    """Return blocks with a block added to the first of them, without carry."""
    first = int.from_bytes(blocks[:BLOCK], "big") ^ int.from_bytes(block, "big")
    return first.to_bytes(BLOCK, "big") + blocks[BLOCK:]


def _whole(blocks: bytes) -> bytes:
    if not blocks or len(blocks) % BLOCK:
        raise ValueError(f"{len(blocks)} bytes are no whole blocks of {BLOCK}.")
    return blocks
