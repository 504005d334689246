"""The same drawing for paper: colours written out, links taken off, one face of type."""

from __future__ import annotations

import re

INK = "#1d1b18"
SOFT = "#5f594f"
ACCENT = "#8a2f1d"
FACE = "Libertinus Serif"

_BY_CLASS = {
    "lw-soft": SOFT,
    "lw-dots": SOFT,
    "lw-hatch": SOFT,
    "lw-axis": SOFT,
    "lw-short": ACCENT,
    "lw-over": ACCENT,
}
_LINKED = re.compile(r"<a [^>]*><title>[^<]*</title>|</a>")
_MARK = re.compile(r"<(?!/)[a-z]+[^>]*>")
_CLASS = re.compile(r' class="([^"]*)"')
_HIT = re.compile(r'<rect class="lw-hit"[^>]*/>')


def for_paper(svg: str) -> str:
    """Return a drawing with its colours written out and without links, so that a typesetter shows what the screen shows.

    >>> for_paper('<svg class="lw-drawing"><text class="lw-soft" fill="currentColor">a</text></svg>')
    '<svg font-family="Libertinus Serif"><text fill="#5f594f">a</text></svg>'
    """
    plain = _HIT.sub("", _LINKED.sub("", svg))
    return _MARK.sub(_inked, plain).replace("<svg", f'<svg font-family="{FACE}"', 1)


def _inked(found: re.Match[str]) -> str:
    mark = found.group(0)
    named = _CLASS.search(mark)
    colour = next((_BY_CLASS[word] for word in named.group(1).split() if word in _BY_CLASS), INK) if named else INK
    return _CLASS.sub("", mark).replace("currentColor", colour)
