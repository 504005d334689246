"""AES in chained blocks, for signalling: its first block is chained from zeros (NIST SP 800-38A section 6.2, FIPS 197)."""

from __future__ import annotations

from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import CBC

_ZEROS = bytes(16)
_MOST_KEYS = 1000


class ChainedAes:
    """The cipher of frames. Keys have 16, 24 or 32 bytes, texts whole blocks of 16; ValueError is raised for others.

    Each key is prepared once, which is half the work of a short text, and held as long as this object is.
    """

    def __init__(self) -> None:
        """Hold no key yet."""
        self._prepared: dict[bytes, Cipher[CBC]] = {}

    def encrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks enciphered."""
        turn = self._cipher(key).encryptor()
        return turn.update(blocks) + turn.finalize()

    def decrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks deciphered."""
        turn = self._cipher(key).decryptor()
        return turn.update(blocks) + turn.finalize()

    def _cipher(self, key: bytes) -> Cipher[CBC]:
        found = self._prepared.get(key)
        if found is None:
            found = Cipher(AES(key), CBC(_ZEROS))
            if len(self._prepared) < _MOST_KEYS:
                self._prepared[key] = found
        return found
