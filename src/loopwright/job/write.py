"""Values as YAML text: what is written reads back as the same text."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from loopwright.job.tree import NOT_TEXT, NULLS

Value = str | int | float | bool | None | Mapping[str, "Value"] | Sequence["Value"]

# Narrower than YAML allows: whatever could mean something in a block, in a flow collection or to another YAML reader is quoted.
_PLAIN = re.compile(r"(?:[^\W_]|[_./+(°]|-(?=[\w.]))(?:[\w ./+()°²%'&;~^<=-]|[^\x00-\x7f\W])*")
_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def scalar_text(value: str | int | float | bool | None) -> str:
    """Return a single value as YAML text. Raises ValueError for characters that cannot stand in a document.

    >>> scalar_text("Front door"), scalar_text("a: b"), scalar_text("-"), scalar_text(None)
    ('Front door', '"a: b"', '"-"', 'null')
    """
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    text = value if isinstance(value, str) else repr(value)
    stray = NOT_TEXT.search(text)
    if stray:
        raise ValueError(f"Character U+{ord(stray.group()):04X} cannot stand in a text.")
    plain = _PLAIN.fullmatch(text) and text.isprintable() and text[-1] != " " and text not in NULLS and text not in ("...", "---")
    return text if plain else '"' + "".join(_escaped(character) for character in text) + '"'


def _escaped(character: str) -> str:
    if character in _SHORT:
        return _SHORT[character]
    if character.isprintable():
        return character
    return f"\\u{ord(character):04X}" if ord(character) <= 0xFFFF else f"\\U{ord(character):08X}"


def flow_text(value: Value) -> str:
    """Return a value on one line, collections in brackets."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{scalar_text(key)}: {flow_text(each)}" for key, each in value.items()) + "}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return "[" + ", ".join(flow_text(each) for each in value) + "]"
    return scalar_text(value)


def entry_lines(key: str | None, value: Value, indent: int) -> list[str]:
    """Return the lines of one entry of a block collection: ``key: value``, or ``- value`` when there is no key."""
    lead = " " * indent + ("-" if key is None else f"{scalar_text(key)}:")
    inner = _inner_lines(value, indent + 2)
    if inner is None:
        return [f"{lead} {flow_text(value)}"]
    return [f"{lead} {inner[0].lstrip(' ')}", *inner[1:]] if key is None and isinstance(value, Mapping) else [lead, *inner]


def _inner_lines(value: Value, indent: int) -> list[str] | None:
    """Return the lines of a collection's entries; None for what is written behind its key: single values and empty collections."""
    if isinstance(value, Mapping) and value:
        return [line for key, each in value.items() for line in entry_lines(key, each, indent)]
    if isinstance(value, Sequence) and not isinstance(value, str) and value:
        return [line for each in value for line in entry_lines(None, each, indent)]
    return None


def as_read(value: Value) -> object:
    """Return the value as a reader of the text finds it: all single values are text."""
    if isinstance(value, Mapping):
        return {key: as_read(each) for key, each in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [as_read(each) for each in value]
    if value is None or isinstance(value, str):
        return value
    return scalar_text(value)
