"""Who is asking, and what they may do: the guard puts it on a request, every room and every change reads it there."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.requests import Request

from loopwright.store.person import Right

EVERY_RIGHT = frozenset(Right)


@dataclass(frozen=True, kw_only=True, slots=True)
class Visitor:
    """Somebody who was let in: the name that goes on revisions and into trails, and the rights they have here."""

    name: str
    rights: frozenset[Right] = EVERY_RIGHT

    def may(self, right: Right) -> bool:
        """Return whether the visitor has a right."""
        return right in self.rights


def visitor_of(request: Request) -> Visitor:
    """Return who is asking; the guard has put it there before any room is reached."""
    visitor = request.state.visitor
    if not isinstance(visitor, Visitor):
        raise TypeError("the guard puts a Visitor on every request it lets through")
    return visitor


SOMEBODY = Visitor(name="somebody")
"""Whoever sits at the machine, where nothing more is known."""
