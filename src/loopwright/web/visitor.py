"""Who is asking, and what they may do: the guard puts it on a request, every room and every change reads it there."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from starlette.requests import Request

from loopwright.store.audit import Audit, Record
from loopwright.store.person import Right

EVERY_RIGHT = frozenset(Right)


@dataclass(frozen=True, kw_only=True, slots=True)
class Visitor:
    """Somebody who was let in: the name that goes on revisions and into trails, and the rights they have here.

    ``sitting`` marks the session somebody signed in to and what they are in it, empty for who sits at this machine;
    ``given_password`` is who has to change a password that somebody else set.
    """

    name: str
    rights: frozenset[Right] = EVERY_RIGHT
    sitting: str = ""
    given_password: bool = False

    @property
    def signed_in(self) -> bool:
        """Return whether the visitor came with a password, not from this machine."""
        return bool(self.sitting)

    def may(self, right: Right) -> bool:
        """Return whether the visitor has a right."""
        return right in self.rights


def visitor_of(request: Request) -> Visitor:
    """Return who is asking; the guard has put it there before any room is reached."""
    visitor = request.state.visitor
    if not isinstance(visitor, Visitor):
        raise TypeError("the guard puts a Visitor on every request it lets through")
    return visitor


def record_for(request: Request, trail: Path) -> Record:
    """Return what notes, in the name of whoever asks, every reading and changing of something that is to be accounted for.

    What it is given to note must hold no secret. It raises StoreError when it cannot note; what was to be done is not to be done then.
    """
    return Audit(trail, by=visitor_of(request).name, clock=lambda: datetime.now(UTC)).note


SOMEBODY = Visitor(name="somebody")
"""Whoever sits at the machine, where nothing more is known."""
NOBODY = Visitor(name="nobody", rights=frozenset())
"""Whoever has not come in yet."""
