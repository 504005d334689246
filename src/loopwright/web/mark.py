"""The markup that repeats by the hundred: cells and figures, made from plain values and kept, since most are the same after an edit."""

from __future__ import annotations

from functools import lru_cache
from urllib.parse import quote

from markupsafe import Markup, escape

from loopwright.job.speech import plain_words

MOST_KEPT = 20_000
PENCIL = Markup('<i class="pencil"><span class="vh">default, not confirmed</span></i>')


def opener(entry: str) -> str:
    """Return how markup names the entry that a press unfolds."""
    return f'data-open="{escape(entry)}"'


@lru_cache(maxsize=MOST_KEPT)
def figure(key: str, label: str, number: str, unit: str) -> Markup:
    """Return a number that opens."""
    beside = f'<span class="u"> {escape(unit)}</span>' if unit else ""
    return Markup(
        f'<a class="fig" {opener(f"w:{key}")} href="./working?key={escape(quote(key, safe="/"))}" title="{escape(label)}">'
        f"{escape(number)}{beside}</a>"
    )


@lru_cache(maxsize=MOST_KEPT)
def marks(path: str, name: str, assumed: bool, beyond: str = "") -> str:
    """Return the attributes every control of a cell has; ``beyond`` is said when the pointer rests on it."""
    title = f' title="{escape(beyond)}"' if beyond else ""
    mark = " data-assumed" if assumed else ""
    return f' id="c:{escape(path)}" data-path="{escape(path)}" aria-label="{escape(name)}"{title}{mark}'


@lru_cache(maxsize=MOST_KEPT)
def typed(own: str, kind: str, text: str, decimal: bool, words: str = "", hint: str = "") -> str:
    """Return a control that is typed into; ``words`` names the list of what is usually written there, ``hint`` stands in an empty one."""
    keys = ' inputmode="decimal"' if decimal else ""
    keys += f' list="{words}"' if words else ""
    keys += f' placeholder="{escape(hint)}"' if hint else ""
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
def worded(own: str, words: tuple[str, ...], text: str, unsaid: str = "") -> str:
    """Return a choice of words; ``unsaid`` is what an empty one says, and lets it be emptied again."""
    blank = f'<option value=""{"" if text else " selected"}>{escape(unsaid)}</option>' if unsaid or not text else ""
    return f"<select{own}>{blank}{''.join(option(word, plain_words(word), chosen=word == text) for word in words)}</select>"


@lru_cache(maxsize=MOST_KEPT)
def ticks(path: str, name: str, rows: tuple[tuple[str, str, bool], ...], assumed: bool) -> Markup:
    """Return a list as its words, which unfold to boxes that are ticked."""
    said = ", ".join(words for _, words, on in rows if on) or "none"
    boxes = "".join(
        f'<label><input type="checkbox" data-tick="{escape(path)}" value="{escape(value)}"{" checked" if on else ""}>'
        f" {escape(words)}</label>"
        for value, words, on in rows
    )
    mark = PENCIL if assumed else ""
    return Markup(
        f'<details class="ticks{" assumed" if assumed else ""}" id="c:{escape(path)}"><summary aria-label="{escape(name)}: {escape(said)}">'
        f"{escape(said)}{mark}</summary>{boxes}</details>"
    )


def option(value: str, words: str, *, chosen: bool) -> str:
    """Return one option."""
    return f'<option value="{escape(value)}"{" selected" if chosen else ""}>{escape(words)}</option>'


@lru_cache(maxsize=MOST_KEPT)
def cell(control: str, unit: str, assumed: bool) -> Markup:
    """Return a control with the unit beside it, and a pencil mark when nobody has confirmed what it shows."""
    beside = f'<span class="u">{escape(unit)}</span>' if unit else ""
    return Markup(f'<span class="cell{" assumed" if assumed else ""}">{control}{beside}{PENCIL if assumed else ""}</span>')
