"""What can be wrong with a text that should be a job, and where."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Problem:
    """One fault in a document: where it stands, what is wrong, what would be right.

    ``path`` is the place in the document (``cables/W01/length_m``; empty for the whole file), ``line`` and
    ``column`` count from 1 (0 when the fault has no place of its own).
    """

    path: str
    line: int
    column: int
    message: str
    accepted: str = ""

    def __str__(self) -> str:
        """Return the problem as one line for a person."""
        place = f"line {self.line}: " if self.line else ""
        where = f"{self.path}: " if self.path else ""
        hint = f" Accepted: {self.accepted}." if self.accepted else ""
        return f"{place}{where}{self.message}{hint}"


class JobError(Exception):
    """The text cannot be a job. Carries every problem found, in the order of the file."""

    def __init__(self, problems: list[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = tuple(problems)
