"""Thin lines and small letters: the few marks every drawing is made of, as SVG text.

A drawing carries no style of its own: classes name what a mark is (``lw-line``, ``lw-soft``, ``lw-short``, ...), presentation
attributes give line widths and dashes, and every colour is ``currentColor``. A page colours by class under a content policy that
allows no inline style; paper gets its colours from ``paper.for_paper``. What a mark says is said by word and line style first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

HAIR = 0.6
THIN = 1.0
FIRM = 1.6

FONT_SIZE = 12.0
SMALL_SIZE = 10.5
# Width of an average letter as a share of its height: common practice for text faces; wide enough that no label is cut by a page's font.
LETTER = 0.54

_MARKUP = {ord("&"): "&amp;", ord("<"): "&lt;", ord(">"): "&gt;", ord('"'): "&quot;"}
# XML 1.0 has no place for the control characters other than tab and the line ends (W3C XML 1.0, production 2), nor for halves of pairs.
_NEVER = {code: None for code in (*range(0x20), 0x7F, *range(0x80, 0xA0), 0xFFFE, 0xFFFF)} | {9: " ", 10: " ", 13: " "}
_SURROGATES = dict.fromkeys(range(0xD800, 0xE000), "\N{REPLACEMENT CHARACTER}")
_SAFE_IN_LINK = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~/")


def escaped(text: str) -> str:
    """Return text as it may stand in XML, between tags or in a quoted attribute; what XML cannot hold is left out.

    >>> escaped('<b a="1">\\x00&')
    '&lt;b a=&quot;1&quot;&gt;&amp;'
    """
    return text.translate(_NEVER).translate(_SURROGATES).translate(_MARKUP)


def number(value: float) -> str:
    """Return a coordinate in at most two decimals, without a tail of noughts.

    >>> number(12.0), number(3.14159), number(-0.001)
    ('12', '3.14', '0')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def link_to(path: str) -> str:
    """Return the page address of a document path: ``#`` and the path, everything unusual in it percent-encoded.

    >>> link_to('cables/W 01')
    '#cables/W%2001'
    """
    plain = path.translate(_NEVER).translate(_SURROGATES)
    return "#" + "".join(c if c in _SAFE_IN_LINK else "".join(f"%{byte:02X}" for byte in c.encode("utf-8")) for c in plain)


def fitted(text: str, width: float, size: float = FONT_SIZE) -> str:
    """Return text cut to a width with an ellipsis, by the width of an average letter.

    >>> fitted('a long name for a small place', 60)
    'a long n…'
    """
    most = max(int(width / (size * LETTER)), 1)
    return text if len(text) <= most else text[: max(most - 1, 1)].rstrip() + "…"


def wrapped(text: str, width: float, size: float = FONT_SIZE) -> list[str]:
    """Return text in lines no wider than a width, broken between words, a single long word cut with an ellipsis.

    >>> wrapped('the battery lets go', 80)
    ['the battery', 'lets go']
    """
    lines: list[str] = []
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and fitted(joined, width, size) == joined:
            lines[-1] = joined
        else:
            lines.append(fitted(word, width, size))
    return lines


@dataclass(kw_only=True, slots=True)
class Sheet:
    """One drawing while it is made: its size, its words for who cannot see it, its marks in order."""

    width: float
    height: float
    title: str
    about: str
    name: str
    marks: list[str] = field(default_factory=list)

    def line(self, points: Iterable[tuple[float, float]], *, look: str = "lw-line", width: float = THIN, dash: str = "") -> None:
        """Draw a line through points."""
        path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.marks.append(
            f'<polyline class="{look}" points="{path}" fill="none" stroke="currentColor" stroke-width="{number(width)}"{dashes}/>'
        )

    def shape(self, points: Iterable[tuple[float, float]], *, look: str = "lw-fill", opacity: float = 0.12) -> None:
        """Fill a shape without an outline."""
        path = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        self.marks.append(f'<polygon class="{look}" points="{path}" fill="currentColor" fill-opacity="{number(opacity)}" stroke="none"/>')

    def box(self, x: float, y: float, width: float, height: float, *, look: str = "lw-line", line: float = THIN, dash: str = "") -> None:
        """Draw an open rectangle."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.marks.append(
            f'<rect class="{look}" x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}" fill="none" '
            f'stroke="currentColor" stroke-width="{number(line)}"{dashes}/>'
        )

    def dot(self, x: float, y: float, radius: float, *, look: str = "lw-line", filled: bool = False) -> None:
        """Draw a terminal (open) or a joint (filled)."""
        fill = "currentColor" if filled else "none"
        self.marks.append(
            f'<circle class="{look}" cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" stroke="currentColor" '
            f'stroke-width="{number(THIN)}"/>'
        )

    def text(
        self, x: float, y: float, words: str, *, look: str = "lw-ink", size: float = FONT_SIZE, anchor: str = "start", bold: bool = False
    ) -> None:
        """Write words on a base line. Numbers in a column are written to the ``end`` with equal decimals, so their points align."""
        if not words:
            return
        weight = ' font-weight="600"' if bold else ""
        side = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self.marks.append(
            f'<text class="{look}" x="{number(x)}" y="{number(y)}" font-size="{number(size)}" fill="currentColor"{side}{weight}>'
            f"{escaped(words)}</text>"
        )

    def hatch(self, x: float, y: float, width: float, height: float, *, step: float = 6.0) -> None:
        """Hatch a rectangle with hairlines at forty-five degrees: nothing is promised here."""
        start = -height
        while start < width:
            left, right = max(start, 0.0), min(start + height, width)
            if right > left:
                self.line(((x + left, y + height - (left - start)), (x + right, y + height - (right - start))), look="lw-hatch", width=0.5)
            start += step

    def open_link(self, path: str, tip: str) -> None:
        """Start marks that lead to a place in the document."""
        self.marks.append(f'<a class="lw-link" href="{link_to(path)}" data-path="{escaped(path)}"><title>{escaped(tip)}</title>')

    def hit(self, x: float, y: float, width: float, height: float) -> None:
        """Lay a clear rectangle under a link, so that a finger need not hit the letters."""
        self.marks.append(
            f'<rect class="lw-hit" x="{number(x)}" y="{number(y)}" width="{number(width)}" height="{number(height)}" '
            'fill="currentColor" fill-opacity="0"/>'
        )

    def close_link(self) -> None:
        """End marks that lead to a place."""
        self.marks.append("</a>")

    def svg(self) -> str:
        """Return the drawing."""
        size = f'viewBox="0 0 {number(self.width)} {number(self.height)}" width="{number(self.width)}" height="{number(self.height)}"'
        # A picture hides what is in it from a screen reader; one that is led on from is a group of links.
        role = "group" if any(mark.startswith("<a ") for mark in self.marks) else "img"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="lw-drawing lw-{self.name}" role="{role}" {size}>'
            f"<title>{escaped(self.title)}</title><desc>{escaped(self.about)}</desc>{''.join(self.marks)}</svg>"
        )
