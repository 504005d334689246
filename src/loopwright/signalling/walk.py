"""A walk written down: what a sender sends, and after how long, as a table with a head.

``after_s,account,form,data`` and, where they are wanted, ``line`` and ``receiver``. ``after_s`` counts seconds from the row before.
``form`` is the name of the message (``ADM-CID``, ``SIA-DCS``, ``NULL`` for a poll); ``data`` is the event without the account before it.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from io import StringIO

from loopwright.signalling.frame import Content
from loopwright.signalling.verdict import POLLS, REPLIES, events_of

NEEDED = ("after_s", "account", "form", "data")
COLUMNS = (*NEEDED, "line", "receiver")
MOST_STEPS, MOST_AFTER_S, MOST_DATA = 10_000, 86_400.0, 1000
_ACCOUNT = re.compile(r"0|[0-9A-F]{3,16}")
_PLACE = re.compile(r"[0-9A-F]{1,6}")
_FORM = re.compile(r"[A-Z][A-Z0-9-]{1,15}")


class WalkError(ValueError):
    """The table cannot be sent; the message names the row, counted as a spreadsheet counts, and what would be right."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Step:
    """One message, so many seconds after the one before [s]."""

    after_s: float
    account: str
    form: str
    data: str
    line: str = "0"
    receiver: str | None = None


def walk_in(text: str) -> tuple[Step, ...]:
    """Return the steps of a walk. Raises WalkError."""
    try:
        rows = list(csv.reader(StringIO(text.removeprefix("\ufeff")), strict=True))
    except csv.Error as error:
        raise WalkError(f"it cannot be read as a table: {error}.") from None
    head = [each.strip() for each in rows[0]] if rows else []
    if missing := [each for each in NEEDED if each not in head]:
        raise WalkError(f"row 1: no column {missing[0]}. Accepted: {', '.join(COLUMNS)}.")
    if strange := [each for each in head if each not in COLUMNS]:
        raise WalkError(f"row 1: a column {strange[0]!r}. Accepted: {', '.join(COLUMNS)}.")
    if len(rows) - 1 > MOST_STEPS:
        raise WalkError(f"more than {MOST_STEPS} rows.")
    found = []
    for number, row in enumerate(rows[1:], start=2):
        if any(each.strip() for each in row):
            if len(row) > len(head):
                raise WalkError(f"row {number}: more cells than columns; data with a comma in it stands between quotation marks.")
            found.append(_step(number, dict(zip(head, (each.strip() for each in row), strict=False))))
    if not found:
        raise WalkError("no row to send.")
    return tuple(found)


def _step(number: int, row: Mapping[str, str]) -> Step:
    account, form, data = (row.get(each, "") for each in ("account", "form", "data"))
    account, line, receiver = account.upper(), row.get("line", "").upper() or "0", row.get("receiver", "").upper() or None
    if not _ACCOUNT.fullmatch(account):
        raise WalkError(f"row {number}, account: 3 to 16 hexadecimal digits are accepted.")
    if not _PLACE.fullmatch(line) or (receiver is not None and not _PLACE.fullmatch(receiver)):
        raise WalkError(f"row {number}, line or receiver: 1 to 6 hexadecimal digits are accepted.")
    if not _FORM.fullmatch(form) or form in REPLIES:
        raise WalkError(f"row {number}, form: the name of a message is accepted, as ADM-CID, SIA-DCS or NULL.")
    if len(data) > MOST_DATA or re.search(r"[\[\]\x00-\x1f]", data) or (data and form in POLLS):
        raise WalkError(f"row {number}, data: an event without brackets is accepted, and nothing for a poll.")
    whole = data if form in POLLS or data.startswith("#") else f"#{account}|{data}"
    if events_of(form, Content(data=whole)) is None:
        raise WalkError(
            f"row {number}, data: no event of {form}. Accepted: {'1130 01 004' if form == 'ADM-CID' else 'Nri1/BA004'} or the like."
        )
    return Step(after_s=_seconds(number, row.get("after_s", "")), account=account, form=form, data=whole, line=line, receiver=receiver)


def _seconds(number: int, text: str) -> float:
    try:
        seconds = float(text or "0")
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds <= MOST_AFTER_S:
        raise WalkError(f"row {number}, after_s: seconds from 0 to {MOST_AFTER_S:.0f} are accepted.")
    return seconds
