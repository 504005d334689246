"""What is wrong with a design, as a value. Never raised, never a log line."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from loopwright.values.figure import Figure
from loopwright.values.source import source


class Severity(StrEnum):
    """How much a finding binds: must (a published requirement or a data sheet's limit), should, note, gap (unfinished)."""

    MUST = "must"
    SHOULD = "should"
    NOTE = "note"
    GAP = "gap"


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One finding: stable code, severity, subject, plain sentence, figures, remedy, clause.

    ``subject`` is a document path (``equipment/sounder-2``); ``code`` is stable across releases and documented in
    the manual; ``source`` is a key of the source register; ``remedy`` says what would put it right.
    """

    code: str
    severity: Severity
    subject: str
    sentence: str
    remedy: str = ""
    clause: str = ""
    source: str = "first-principles"
    figures: tuple[Figure, ...] = ()

    def __post_init__(self) -> None:
        """Hold the law that a source which is not binding never makes a *must*."""
        if self.severity is Severity.MUST and not source(self.source).binding:
            raise ValueError(f"{self.code}: a source marked '{source(self.source).standing}' cannot make a must")
