"""Which messages are repeats of one that is stored: same receiver, line, account, number and data, a short while ago.

A sender repeats what was not acknowledged within a minute or so; its counter comes round after 9999 messages, and begins anew when it
was without power. So only the last `REMEMBERED` messages of an account within `REMEMBERED_FOR` are looked at. Both are our choice.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterable
from datetime import datetime, timedelta
from hashlib import blake2b
from typing import NamedTuple

from loopwright.signalling.frame import Head

REMEMBERED = 64
REMEMBERED_FOR = timedelta(minutes=15)
MOST_ACCOUNTS = 1000
"""Accounts kept in mind at once; of others the store is asked."""
_SHORT = 64


Source = tuple[str | None, str, str]
"""Whose messages are counted together: receiver, line and account, as in the head."""


class Stored(NamedTuple):
    """A message that is stored: its number in the store, when it came, and its own number and data."""

    number: int
    at: datetime
    sequence: str
    data: str


Mark = tuple[str, str | bytes]
_Seen = dict[Mark, tuple[int, datetime]]
"""The messages of a source, the oldest first."""
Load = Callable[[Source], Iterable[Stored]]


def source_of(head: Head) -> Source:
    """Return whose message this is."""
    return head[3:]


class Recent:
    """The messages stored of late, by source. Bounded by the accounts and by the messages of each; the longest silent leave first.

    ``load`` gives what is stored of a source, the oldest first, when that is not in mind.
    """

    def __init__(self, load: Load, *, most_accounts: int = MOST_ACCOUNTS) -> None:
        """Keep nothing in mind yet."""
        self._load = load
        self._most = most_accounts
        self._seen: OrderedDict[Source, _Seen] = OrderedDict()

    def first(self, source: Source, number: int, at: datetime, sequence: str, data: str) -> int | None:
        """Return the number in the store of the message this one repeats; None where it is new, and kept in mind under its number then."""
        seen = self._seen.get(source)
        if seen is None:
            seen = self._loaded(source)
        else:
            self._seen.move_to_end(source)
        mark = sequence, data if len(data) <= _SHORT else _digest(data)
        found = seen.get(mark)
        if found is not None:
            if at - found[1] <= REMEMBERED_FOR:
                return found[0]
            del seen[mark]
        seen[mark] = number, at
        if len(seen) > REMEMBERED:
            del seen[next(iter(seen))]
        return None

    def clear(self) -> None:
        """Forget everything: what was to be stored was not."""
        self._seen.clear()

    def __len__(self) -> int:
        """Return how many accounts are kept in mind."""
        return len(self._seen)

    def _loaded(self, source: Source) -> _Seen:
        seen: _Seen = {}
        for number, at, sequence, data in self._load(source):
            mark = sequence, data if len(data) <= _SHORT else _digest(data)
            seen.pop(mark, None)
            seen[mark] = number, at
        for mark in list(seen)[:-REMEMBERED]:
            del seen[mark]
        self._seen[source] = seen
        if len(self._seen) > self._most:
            self._seen.popitem(last=False)
        return seen


def _digest(data: str) -> bytes:
    """Return what long data are known again by, so that what is kept in mind is bounded."""
    return blake2b(data.encode("utf-8", "surrogatepass"), digest_size=16).digest()
