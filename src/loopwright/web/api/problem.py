"""What went wrong, as other programs read it: problem details (RFC 9457) in the words the screen and the command line use."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from http import HTTPStatus

from starlette.responses import Response

from loopwright.values.error import Problem

MEDIA_TYPE = "application/problem+json"
MOST_PROBLEMS = 500


@dataclass(frozen=True, kw_only=True, slots=True)
class ProblemItem:
    """One fault: its place in the job document, what is wrong, and what would be right.

    ``path`` is empty for the whole; ``line`` and ``column`` count from 1, and are 0 where the fault has no place of its own.
    """

    path: str
    line: int
    column: int
    message: str
    accepted: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ProblemForm:
    """Problem details (RFC 9457): ``detail`` is one sentence, ``problems`` has every fault that was found."""

    type: str
    title: str
    status: int
    detail: str
    problems: tuple[ProblemItem, ...]


def problem(status: int, detail: str, problems: Iterable[Problem] = (), headers: Mapping[str, str] | None = None) -> Response:
    """Return an answer that says what is wrong."""
    form = ProblemForm(
        type="about:blank",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
        problems=tuple(item_of(each) for each in problems)[:MOST_PROBLEMS],
    )
    # In ASCII, because what was sent may hold halves of characters, and a message may name it.
    return Response(json.dumps(asdict(form)), status, dict(headers or {}), MEDIA_TYPE)


def item_of(found: Problem) -> ProblemItem:
    """Return a problem of the reader."""
    return ProblemItem(path=found.path, line=found.line, column=found.column, message=found.message, accepted=found.accepted)


class Refused(Exception):  # noqa: N818 - what is so, not what went wrong in the program
    """A request that cannot be met as it stands."""

    def __init__(self, status: int, detail: str, problems: Iterable[Problem] = (), headers: Mapping[str, str] | None = None) -> None:
        super().__init__(detail)
        self.status = status
        self.problems = tuple(problems)
        self.headers = headers

    def answer(self) -> Response:
        """Return the answer that says so."""
        return problem(self.status, str(self), self.problems, self.headers)
