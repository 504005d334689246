"""Columns of a list of users that look like codes: codes stand in no document, so such a list is not taken in.

A head that says so is enough; so are bare digits of a code's length in most cells. Both common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from loopwright.job.cells import Rows
from loopwright.job.list_plan import folded

WHY = (
    "this looks like codes. Codes never stand in a job document: take the column out of the table, "
    "and put the codes into the vault (Secrets), where each is asked for."
)
FEWEST, SHARE = 2, 0.5
_SAYS_SO = re.compile(r"\b(codes?|pins?|passcodes?|passwords?|passphrases?|duress|keycodes?|secrets?)\b")
_CODE = re.compile(r"[0-9]{4,8}|[0-9]{2,4}[ -][0-9]{2,4}")


def hidden_head(text: str) -> str:
    """Return a head as it may be told: nothing where it is a code itself, taken for a head."""
    return "" if _CODE.fullmatch(text.strip()) else text


def code_columns(rows: Rows, head: int) -> Iterator[int]:
    """Yield the columns of a table that look like codes; ``head`` is the row of heads, -1 where there is none."""
    for at in range(max(map(len, rows), default=0)):
        words = rows[head][at] if 0 <= head < len(rows) and at < len(rows[head]) else ""
        # The row of heads may be one of codes as well: who pastes rows without heads has one taken for it.
        cells = [row[at].strip() for row in rows[max(head, 0) :] if at < len(row) and row[at].strip()]
        like = sum(_CODE.fullmatch(cell) is not None for cell in cells)
        if _SAYS_SO.search(folded(words)) or (like >= FEWEST and like >= SHARE * len(cells)):
            yield at
