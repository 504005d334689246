"""Why a command was not done, in words for the person who gave it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

DONE = 0
BROKEN_MUST = 1
BAD_INPUT = 2
PROGRAM_FAULT = 3


class Refusal(Exception):  # noqa: N818 - what was asked for cannot be done; the program is in order
    """The command cannot be done as given: one line a reason for people, and, where one was asked for, the machine form."""

    def __init__(self, *lines: str, machine: Any = None) -> None:  # noqa: ANN401 - whatever JSON holds
        super().__init__(*lines)
        self.lines: tuple[str, ...] = lines
        self.machine = machine


def world_words(error: OSError) -> str:
    """Return what the operating system says, without the number and the name it comes with."""
    return error.strerror or str(error) or type(error).__name__


def either(words: Iterable[str]) -> str:
    """Return the words as a list for a person: ``a, b or c``."""
    every = list(words)
    return " or ".join(part for part in (", ".join(every[:-1]), every[-1]) if part) if every else ""
