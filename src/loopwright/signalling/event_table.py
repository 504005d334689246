"""Received events as a table for a spreadsheet or a receiving centre: one row an event."""

from __future__ import annotations

from collections.abc import Iterable

from loopwright.signalling.received import Received

HEAD = (
    "number", "part", "received UTC", "sent UTC", "clock ahead s", "account", "receiver", "line", "sequence", "form", "code", "restore",
    "zone", "user", "area", "text", "meaning", "path", "key used", "repeats", "remarks", "data as it came",
)  # fmt: skip
FIGURES = frozenset({0, 1, 4, 19})
"""Columns that hold figures."""


def event_rows(events: Iterable[Received]) -> tuple[tuple[str, ...], ...]:
    """Return the head and a row for each event."""
    return (HEAD, *(_row(event) for event in events))


def _row(event: Received) -> tuple[str, ...]:
    said = "" if event.said_at is None else f"{event.said_at:%Y-%m-%d %H:%M:%S}"
    return (
        str(event.number), str(event.part), f"{event.at:%Y-%m-%d %H:%M:%S}", said,
        "" if event.skew_s is None else f"{event.skew_s:.0f}", event.account, event.receiver or "", event.line, event.sequence, event.token,
        event.code, "yes" if event.restored else "", event.zone, event.user, event.area, event.text, event.words, event.path,
        "yes" if event.encrypted else "", str(event.repeats), " ".join(event.warnings), event.data,
    )  # fmt: skip
