"""The markup that repeats by the hundred: cells and figures, made from plain values and kept, since most are the same after an edit."""

from __future__ import annotations

from functools import lru_cache
from urllib.parse import quote

from markupsafe import Markup, escape

from loopwright.web.dictionary import plain_words

MOST_KEPT = 20_000
PENCIL = Markup('<i class="pencil"><span class="vh">default, not confirmed</span></i>')


@lru_cache(maxsize=MOST_KEPT)
def figure(key: str, label: str, number: str, unit: str) -> Markup:
    """Return a number that opens."""
    beside = f'<span class="u"> {escape(unit)}</span>' if unit else ""
    safe = escape(key)
    return Markup(
        f'<a class="fig" data-open="w:{safe}" href="/working?key={escape(quote(key, safe="/"))}" title="{escape(label)}">'
        f"{escape(number)}{beside}</a>"
    )


@lru_cache(maxsize=MOST_KEPT)
def marks(path: str, name: str, assumed: bool) -> str:
    """Return the attributes every control of a cell has."""
    return f' id="c:{escape(path)}" data-path="{escape(path)}" aria-label="{escape(name)}"' + (" data-assumed" if assumed else "")


@lru_cache(maxsize=MOST_KEPT)
def typed(own: str, kind: str, text: str, decimal: bool) -> str:
    """Return a control that is typed into."""
    keys = ' inputmode="decimal"' if decimal else ""
    return f'<input class="{kind}" value="{escape(text)}"{own}{keys} autocomplete="off" spellcheck="false">'


def written(own: str, text: str, lines: int) -> str:
    """Return a control for text of several lines."""
    return f'<textarea rows="{lines}"{own}>{escape(text)}</textarea>'


@lru_cache(maxsize=MOST_KEPT)
def named(own: str, choices: str, text: str, words: str, optional: bool) -> str:
    """Return a choice of names; the full list is filled in when the cell is entered, so that a long table stays light."""
    blank = " data-optional" if optional else ""
    return f'<select data-choices="{choices}"{blank}{own}>{option(text, words or text, chosen=True)}</select>'


@lru_cache(maxsize=MOST_KEPT)
def worded(own: str, words: tuple[str, ...], text: str) -> str:
    """Return a choice of words."""
    blank = "" if text else '<option value="" selected></option>'
    return f"<select{own}>{blank}{''.join(option(word, plain_words(word), chosen=word == text) for word in words)}</select>"


def option(value: str, words: str, *, chosen: bool) -> str:
    """Return one option."""
    return f'<option value="{escape(value)}"{" selected" if chosen else ""}>{escape(words)}</option>'


@lru_cache(maxsize=MOST_KEPT)
def cell(control: str, unit: str, assumed: bool) -> Markup:
    """Return a control with the unit beside it, and a pencil mark when nobody has confirmed what it shows."""
    beside = f'<span class="u">{escape(unit)}</span>' if unit else ""
    return Markup(f'<span class="cell{" assumed" if assumed else ""}">{control}{beside}{PENCIL if assumed else ""}</span>')
