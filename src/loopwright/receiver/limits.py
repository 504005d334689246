"""How much of anything a receiver takes. All of it is our choice; the standard bounds nothing but the length of a frame."""

from __future__ import annotations

import resource
from dataclasses import dataclass

SPARE_FILES = 64
"""Files the program needs beside its connections."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Bounds of a receiver. Times are in seconds.

    A connection is *proven* once a message of a listed account was acknowledged on it. When there is no room for one more, the oldest
    that is not proven goes.
    """

    connections: int = 2000
    frame_s: float = 10.0
    """From the first byte of a frame to its last."""
    silent_s: float = 60.0
    """From coming to the first message that is taken."""
    deaf_s: float = 10.0
    """How long somebody may not take his answers."""
    refusals: int = 3
    """Pieces refused on a connection that is not proven; on one that is, a hundred times as many in a row."""
    unanswered: int = 256
    """Messages of one connection under way."""
    pending: int = 10_000
    """Messages of all under way."""
    batch: int = 1000
    """Messages of one transaction."""
    together: int = 64
    """Messages for which others are not waited for: with so many, keeping them costs each next to nothing."""
    datagram: int = 8192
    """Bytes of a datagram."""
    unlisted: int = 100_000
    """Messages kept of accounts that are not listed, as long as the receiver runs."""
    told_a_second: int = 20
    """Refusals that are told one by one."""


def room_for(wanted: int) -> int:
    """Return how many connections the system lets this process have, up to as many as are wanted; it is asked for more files first."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    asked = wanted + SPARE_FILES
    if soft < asked:
        soft = asked if hard == resource.RLIM_INFINITY else min(asked, hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
    return max(1, min(wanted, soft - SPARE_FILES))
