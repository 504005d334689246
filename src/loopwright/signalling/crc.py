"""The check sum of a frame: CRC-16/ARC, polynomial x16 + x15 + x2 + 1, reflected, from zero, nothing added at the end."""

from __future__ import annotations

from struct import unpack

_POLYNOMIAL = 0xA001
_BITS = 16


def _after(value: int) -> int:
    for _ in range(_BITS):
        value = value >> 1 ^ (_POLYNOMIAL if value & 1 else 0)
    return value


def _words() -> list[int]:
    """Return what two bytes at once make of a sum of zero. It is linear: each bit doubles the table."""
    table = [0]
    for bit in range(_BITS):
        of_bit = _after(1 << bit)
        table += [each ^ of_bit for each in table]
    return table


_TABLE = _words()


def crc16(octets: bytes) -> int:
    """Return the check sum of the bytes, 0 to 65535.

    >>> f"{crc16(b'123456789'):04X}"
    'BB3D'
    """
    # Zeros before the first byte leave a sum of zero as it is, so an odd length is made even there.
    even = octets if len(octets) % 2 == 0 else b"\0" + octets
    total, table = 0, _TABLE
    for word in unpack(f"<{len(even) // 2}H", even):
        total = table[total ^ word]
    return total
