"""Words for paper: figures, values with their origin, dates, and text that a page can hold."""

from __future__ import annotations

import math
import re
from datetime import datetime

from loopwright.job.document import Job
from loopwright.values.figure import Figure, Input, Origin, Working
from loopwright.values.moment import zone_words
from loopwright.values.source import source

# A font has no mark for control characters and halves of pairs; JSON and the typesetter would carry them on as boxes.
_NEVER = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_LONG = re.compile(r"\S{25,}")
_ZERO_WIDTH_SPACE = "\u200b"

Cell = dict[str, str | bool]


def plain(text: str) -> str:
    """Return text as it can be set: control characters left out, words too long for a column given places to break.

    >>> plain("a\\x07b")
    'ab'
    """
    return _LONG.sub(lambda found: _ZERO_WIDTH_SPACE.join(_pieces(found.group(0))), _NEVER.sub("", text))


def _pieces(word: str) -> list[str]:
    return [word[at : at + 12] for at in range(0, len(word), 12)]


def capital(words: str) -> str:
    """Return words as they begin a heading."""
    return words[:1].upper() + words[1:]


def moment(now: datetime) -> str:
    """Return a moment as it is written on a paper: date, time, and how far from UTC."""
    return f"{now:%Y-%m-%d %H:%M} {zone_words(now)}"


def stated(job: Job, path: str, text: str) -> Cell:
    """Return a value with whether it stands in the document; what does not is a default nobody confirmed, set in italics."""
    return {"text": plain(text), "default": path not in job.given}


def computed(text: str) -> Cell:
    """Return a value that was computed, or that has no default."""
    return {"text": plain(text), "default": False}


def fixed(value: float | None, digits: int) -> str:
    """Return a number with so many decimals, so that a column aligns on the point; a dash for no figure, OL for no end.

    >>> fixed(1.0, 2), fixed(None, 2), fixed(float("inf"), 0)
    ('1.00', '–', 'OL')
    """
    if value is None or math.isnan(value):
        return "–"
    return "OL" if math.isinf(value) else f"{value:.{digits}f}"


def working_lines(figure: Figure) -> dict[str, object]:
    """Return a figure with its working as plain lines: formula, inputs with their origin, the line with numbers, the source."""
    working: Working = figure.working()
    return {
        "label": plain(capital(figure.label)),
        "value": str(figure),
        "why": plain(figure.why),
        "probes": plain(" to ".join(figure.probes)) if figure.probes else "",
        "formula": plain(working.formula),
        "inputs": [_input_line(item) for item in working.inputs],
        "substituted": plain(working.substituted),
        "result": plain(working.result),
        "source": str(source(working.source)),
        "notes": [plain(note) for note in working.notes],
    }


def _input_line(item: Input) -> dict[str, object]:
    value = item.value if isinstance(item.value, str) else f"{item.value:.6g}"
    return {
        "name": plain(item.name),
        "value": plain(f"{value} {item.unit}".strip()),
        "origin": str(item.origin),
        "path": plain(item.path),
        "default": item.origin is Origin.DEFAULT,
    }
