"""How long something lasts, in words."""

from __future__ import annotations

_UNITS = ((86400.0, "days", 2.0), (3600.0, "h", 2.0), (60.0, "min", 2.0))


def duration_words(seconds: float) -> str:
    """Return a duration [s] in the largest unit of which there are two or more, rounded up: a wait is not over before its time.

    >>> duration_words(40), duration_words(121), duration_words(7201), duration_words(48 * 3600)
    ('40 s', '3 min', '3 h', '2 days')
    """
    for unit_s, word, least in _UNITS:
        if seconds >= least * unit_s:
            return f"{-int(-seconds // unit_s)} {word}"
    return f"{-int(-seconds // 1)} s"
