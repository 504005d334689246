"""The check sum of a frame: CRC-16/ARC, polynomial x16 + x15 + x2 + 1, reflected, from zero, nothing added at the end.

>>> f"{crc16(b'123456789'):04X}"
'BB3D'
"""

from __future__ import annotations

from collections.abc import Callable

from fastcrc.crc16 import arc

crc16: Callable[[bytes], int] = arc
"""Returns the check sum of bytes, 0 to 65535."""
