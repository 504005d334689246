"""Whose program is at the other end of a connection on this machine, as far as the system tells.

A browser sends a cookie of 127.0.0.1 to every port of 127.0.0.1, so a program of another user of the machine can come by the key when
somebody is led to it. The key alone is therefore not enough: the connection must be this user's too.
"""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path

ADMINISTRATOR = 0
_TABLES = {socket.AF_INET: Path("/proc/net/tcp"), socket.AF_INET6: Path("/proc/net/tcp6")}
_LOCAL, _REMOTE, _OWNER = 1, 2, 7
"""Columns of the kernel's table of connections (Linux, proc(5))."""


def is_own(client: tuple[str, int] | None, server: tuple[str, int] | None) -> bool:
    """Return whether a connection comes from a program of this user or of the administrator; yes where the system does not tell."""
    owner = None if client is None or server is None else owner_of(client, server)
    return owner is None or owner in (os.getuid(), ADMINISTRATOR)


def owner_of(client: tuple[str, int], server: tuple[str, int]) -> int | None:
    """Return the user number behind the client's end of a connection on this machine, None when the system does not tell."""
    family = socket.AF_INET6 if ":" in client[0] else socket.AF_INET
    try:
        wanted = (_spelled(family, client), _spelled(family, server))
        rows = _TABLES[family].read_text(encoding="ascii").splitlines()[1:]
    except (OSError, ValueError):
        return None
    for row in rows:
        columns = row.split()
        if (columns[_LOCAL], columns[_REMOTE]) == wanted:
            return int(columns[_OWNER])
    return None


def _spelled(family: socket.AddressFamily, end: tuple[str, int]) -> str:
    """Return an end as the kernel's table spells it: each word of 32 bits in the machine's own order, in hexadecimal.

    Raises OSError for what is no address.
    """
    packed = socket.inet_pton(family, end[0])
    words = [packed[at : at + 4] for at in range(0, len(packed), 4)]
    numbers = (int.from_bytes(word, sys.byteorder) for word in words)
    return f"{''.join(f'{number:08X}' for number in numbers)}:{end[1]:04X}"
