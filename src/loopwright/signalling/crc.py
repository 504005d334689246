"""The check sum of a frame: CRC-16/ARC, polynomial x16 + x15 + x2 + 1, reflected, from zero, nothing added at the end."""

from __future__ import annotations

from fastcrc.crc16 import arc


def crc16(octets: bytes) -> int:
    """Return the check sum of the bytes, 0 to 65535.

    >>> f"{crc16(b'123456789'):04X}"
    'BB3D'
    """
    return arc(octets)
