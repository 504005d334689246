"""Moments as they are written for people."""

from __future__ import annotations

from datetime import datetime


def zone_words(moment: datetime) -> str:
    """Return how far from UTC a moment is told.

    >>> zone_words(datetime.fromisoformat("2026-03-05T10:00+01:00")), zone_words(datetime.fromisoformat("2026-03-05T09:00+00:00"))
    ('UTC+01:00', 'UTC')
    """
    zone = moment.strftime("%z")
    return f"UTC{'' if zone in ('', '+0000') else f'{zone[:3]}:{zone[3:5]}'}"
