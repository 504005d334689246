"""How often a property is tried: enough for a change in hand; ten times as often in ``make deep``, for nights."""

from __future__ import annotations

import os

DEEP = os.environ.get("LOOPWRIGHT_TESTS") == "deep"
TIMES_BY_NIGHT = 10


def often(times: int) -> int:
    """Return how often to try: so many times, or ten times as many by night."""
    return times * TIMES_BY_NIGHT if DEEP else times
