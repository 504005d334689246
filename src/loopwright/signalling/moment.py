"""The time in a frame: ``_HH:MM:SS,MM-DD-YYYY``, exactly 20 characters, always UTC."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from functools import lru_cache

AHEAD_S = 20.0
"""How far an encrypted message may be ahead of the receiver [s]."""
BEHIND_S = 40.0
"""How far an encrypted message may be behind the receiver [s]."""
_FORM = re.compile(r"_(\d\d):(\d\d):(\d\d),(\d\d)-(\d\d)-(\d{4})", re.ASCII)


def written(moment: datetime) -> bytes:
    """Return the moment as a frame carries it. Raises ValueError for one without a zone of time."""
    if moment.tzinfo is None:
        raise ValueError("a moment needs its zone of time.")
    return _written(moment.astimezone(UTC).replace(microsecond=0))


# Many frames are written, and many senders speak, in the same second.
@lru_cache(maxsize=64)
def _written(utc: datetime) -> bytes:
    return f"_{utc:%H:%M:%S,%m-%d}-{utc.year:04d}".encode("ascii")


@lru_cache(maxsize=256)
def read(text: str) -> datetime | None:
    """Return the moment a frame says, or None where it is no date of any year.

    >>> read("_03:04:05,01-02-2024").isoformat()
    '2024-01-02T03:04:05+00:00'
    """
    found = _FORM.fullmatch(text)
    if found is None:
        return None
    hour, minute, second, month, day, year = (int(each) for each in found.groups())
    try:
        return datetime(year, month, day, hour, minute, second, tzinfo=UTC)
    except ValueError:
        return None


def in_time(skew_s: float) -> bool:
    """Return whether a sender's clock, so many seconds ahead (behind: below zero), passes the test of encrypted messages."""
    return -BEHIND_S <= skew_s <= AHEAD_S
