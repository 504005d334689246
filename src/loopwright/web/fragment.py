"""Only what changed is sent: the rows and drawings that a page holds already stand in the answer as marks.

Every drawing of a room has a name, which the page keeps and sends with its next question. Where the program still knows what it drew
under that name, each row or drawing that is the same again is sent as an empty element with the same id and the mark ``data-same``; the
page leaves its own in place. Without a name, or with one that is not known any more, the whole room is sent. Templates take no part in
this: whatever stands in a table's row or a ``figure`` with an id is such a fragment.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterator, Mapping
from hashlib import blake2b
from itertools import count
from typing import NamedTuple

from starlette.requests import Request

from loopwright.values.recent import Recent

MOST_KNOWN = 64
"""Drawings remembered: a page that was drawn longer ago is sent whole."""
SHORTEST = 80
"""A fragment of fewer letters is sent as it is."""
_TAG = re.compile(r"<(/?)(tr|figure)\b([^>]*)>")
_ID = re.compile(r'(?:^|\s)id="([^"]*)"')


class Fragment(NamedTuple):
    """A row or a drawing in the text of a page: its element, its id as it is written there, and where it begins and ends."""

    element: str
    id: str
    start: int
    end: int


def fragments(html: str) -> Iterator[Fragment]:
    """Yield the outermost rows and drawings that have an id, in order.

    >>> [found.id for found in fragments('<tr id="a"><td><table><tr id="b"></tr></table></td></tr><tr></tr><figure id="c"></figure>')]
    ['a', 'c']
    """
    element, own, start, depth = "", "", 0, 0
    for tag in _TAG.finditer(html):
        closes, name, attributes = tag.groups()
        if not depth:
            found = None if closes else _ID.search(attributes)
            if found:
                element, own, start, depth = name, found[1], tag.start(), 1
        elif name == element:
            depth += -1 if closes else 1
            if not depth:
                yield Fragment(element, own, start, tag.end())


class Drawings:
    """The latest drawings, each as the digests of its fragments under a name nobody can guess."""

    def __init__(self) -> None:
        """Know none."""
        self._known: Recent[Mapping[str, bytes]] = Recent(most_names=MOST_KNOWN, each=1)
        self._lead, self._number = secrets.token_urlsafe(9), count(1)

    def name(self) -> str:
        """Return the name of the next drawing."""
        return f"{self._lead}.{next(self._number)}"

    def sent(self, html: str, name: str, held: str) -> str:
        """Return what is sent of a drawing to a page that holds the one called ``held``, and remember it under its own name."""
        before = self._known.find(held, ()) or {}
        now: dict[str, bytes] = {}
        pieces, at = [], 0
        twice: set[str] = set()
        for found in fragments(html):
            if found.id in now:
                twice.add(found.id)
            digest = now[found.id] = blake2b(html[found.start : found.end].encode(), digest_size=16).digest()
            if before.get(found.id) == digest and found.end - found.start >= SHORTEST:
                pieces += [html[at : found.start], f'<{found.element} id="{found.id}" data-same></{found.element}>']
                at = found.end
        if twice:
            # Two of one id cannot be told apart: such a page is always sent whole.
            self._known.put(name, (), {})
            return html
        self._known.put(name, (), now)
        return "".join([*pieces, html[at:]])


def held_by(request: Request) -> str:
    """Return the name of the drawing that a page says it holds when it asks for a room; empty when it says nothing."""
    return request.headers.get("loopwright-held", "")[:64]
