"""What is wrong with a design, as a value. Never raised, never a log line."""

from __future__ import annotations

from collections.abc import Callable
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


class Words:
    """A text of a record, given as it stands or as a function that works it out when it is first read."""

    def __set_name__(self, owner: type, name: str) -> None:
        """Learn under which name it stands."""
        self._name = name

    def __get__(self, item: object | None, owner: type | None = None) -> str:
        """Return the text; on the class itself, the text of a record that is given none."""
        if item is None:
            return ""
        kept = item.__dict__
        given: str | Callable[[], str] = kept[self._name]
        if isinstance(given, str):
            return given
        # Two readers at once both work it out, and find the same.
        text = kept[self._name] = given()
        return text

    def __set__(self, item: object, given: str | Callable[[], str]) -> None:
        """Take the text, or what works it out."""
        item.__dict__[self._name] = given


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One finding: stable code, severity, subject, plain sentence, figures, remedy, clause.

    ``subject`` is a document path (``equipment/sounder-2``); ``code`` is stable across releases and documented in
    the manual; ``source`` is a key of the source register; ``remedy`` says what would put it right. A ``private`` one tells something of
    the codes: it is shown only to who may read them, and never stands on a paper or among the findings everybody reads.
    """

    code: str
    severity: Severity
    subject: str
    sentence: str
    remedy: Words = Words()  # noqa: RUF009 - a descriptor is one for the class
    clause: str = ""
    source: str = "first-principles"
    figures: tuple[Figure, ...] = ()
    private: bool = False

    def __post_init__(self) -> None:
        """Hold the law that a source which is not binding never makes a *must*."""
        if self.severity is Severity.MUST and not source(self.source).binding:
            raise ValueError(f"{self.code}: a source marked '{source(self.source).standing}' cannot make a must")
