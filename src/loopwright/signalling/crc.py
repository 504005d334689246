"""The check sum of a frame: CRC-16/ARC, polynomial x16 + x15 + x2 + 1, reflected, from zero, nothing added at the end."""

from __future__ import annotations

_POLYNOMIAL = 0xA001
_BITS = 8


def _entry(value: int) -> int:
    for _ in range(_BITS):
        value = value >> 1 ^ (_POLYNOMIAL if value & 1 else 0)
    return value


_TABLE = tuple(_entry(value) for value in range(256))


def crc16(octets: bytes) -> int:
    """Return the check sum of the bytes, 0 to 65535.

    >>> f"{crc16(b'123456789'):04X}"
    'BB3D'
    """
    total = 0
    for octet in octets:
        total = total >> 8 ^ _TABLE[(total ^ octet) & 0xFF]
    return total
