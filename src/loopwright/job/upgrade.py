"""From the text of an older format to the text of the present one, one version at a time.

A step is a function from the text of version n to the text of version n + 1; it works by edits, so that comments stay. Format 1
is the first, so that no step is registered yet.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from loopwright.job.document import FORMAT
from loopwright.job.edit import SetField, apply, follow
from loopwright.job.tree import SCALAR, compose
from loopwright.values.error import JobError, Problem

Step = Callable[[str], str]
STEPS: Mapping[int, Step] = {}


def format_of(text: str) -> int:
    """Return the format version the text says it has. Raises JobError when it says none."""
    _, root = compose(text)
    chain, missing = follow(root, "format")
    node = chain[-1]
    if missing or node.kind != SCALAR or not node.value.isdecimal() or len(node.value) > 6:
        raise JobError([_problem(node.line, "The key format is missing, or is not a whole number.")])
    return int(node.value)


def upgrade(text: str, steps: Mapping[int, Step] = STEPS) -> str:
    """Return the text in the present format, the text itself when it is so already.

    Raises JobError when the text is not YAML, is newer than this program, or is of a format no step leads on from.
    """
    version = format_of(text)
    if version > FORMAT:
        raise JobError([_problem(0, f"Format {version} is newer than this program, which reads format {FORMAT}.")])
    while version < FORMAT:
        step = steps.get(version)
        if step is None:
            raise JobError([_problem(0, f"Format {version} is not known; nothing leads from it to format {FORMAT}.")])
        version += 1
        text = apply(step(text), SetField("format", str(version))).text
    return text


def _problem(line: int, message: str) -> Problem:
    return Problem(path="format", line=line, column=0, message=message, accepted=str(FORMAT))
