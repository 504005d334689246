"""Text on its way to a terminal or a pipe: what a document says is printed as it stands, and cannot steer the terminal."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import asdict
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    from _typeshed import DataclassInstance
    from rich.console import Console

PIPE_WIDTH = 1000
JOINERS = "\u200c\u200d"
"""Invisible, but needed to write several languages; they move nothing."""


def plain(text: str) -> str:
    r"""Return the text on one line with every character that would not show written as an escape.

    >>> plain("a\x1b[31mb\n\u202ec")
    'a\\x1b[31mb\\n\\u202ec'
    """
    if text.isprintable():
        return text
    return "".join(each if each.isprintable() or each in JOINERS or each == "\xa0" else _escape(each) for each in text)


def _escape(character: str) -> str:
    return character.encode("unicode_escape").decode("ascii")


def console(stream: IO[str] | None = None) -> Console:
    """Return a console that colours only on a terminal where nobody asked for none, and never reads markup out of a text."""
    from loopwright.cli.screen import Screen

    out = sys.stdout if stream is None else stream
    terminal = out.isatty()
    return Screen(
        file=out,
        force_terminal=terminal,
        width=None if terminal else PIPE_WIDTH,
        color_system="auto" if terminal and not os.environ.get("NO_COLOR") else None,
        markup=False,
        emoji=False,
        highlight=False,
    )


def say(text: str) -> None:
    """Write a line to standard output."""
    sys.stdout.write(text + "\n")


def complain(line: str) -> None:
    """Write a line to standard error."""
    sys.stderr.write(plain(line) + "\n")


def say_json(value: Any) -> None:  # noqa: ANN401 - whatever JSON holds
    """Write a value as JSON. Raises ValueError for a number JSON has no way to write."""
    say(json.dumps(value, indent=2, allow_nan=False))


def say_record(file: str, record: DataclassInstance) -> None:
    """Write what was computed from a file as JSON, in the form the HTTP API gives it, with the file and the problems beside it: none."""
    say_json({"file": file, "problems": [], **asdict(record)})


def say_bytes(text: str) -> None:
    """Write a text in UTF-8 whatever the terminal's character set is, so that what is caught in a file reads back."""
    buffer = getattr(sys.stdout, "buffer", None)
    if buffer is None:
        sys.stdout.write(text)
        return
    sys.stdout.flush()
    buffer.write(text.encode("utf-8"))
    buffer.flush()
