"""AES in chained blocks, for signalling: its first block is chained from zeros (NIST SP 800-38A section 6.2, FIPS 197)."""

from __future__ import annotations

from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import CBC

_ZEROS = bytes(16)


class ChainedAes:
    """The cipher of frames. Keys have 16, 24 or 32 bytes, texts whole blocks of 16; ValueError is raised for others."""

    def encrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks enciphered."""
        turn = Cipher(AES(key), CBC(_ZEROS)).encryptor()
        return turn.update(blocks) + turn.finalize()

    def decrypt(self, key: bytes, blocks: bytes) -> bytes:
        """Return the blocks deciphered."""
        turn = Cipher(AES(key), CBC(_ZEROS)).decryptor()
        return turn.update(blocks) + turn.finalize()
