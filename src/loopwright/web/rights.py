"""What each address asks of whoever comes to it. One that asks for nothing by name is for those who may do everything."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from typing import TypeVar

from starlette.requests import Request

from loopwright.store.person import Right
from loopwright.web.visitor import EVERY_RIGHT, Visitor, visitor_of


class Open(StrEnum):
    """Addresses that ask for no right: those anybody may come to, and those of a person's own."""

    ANYBODY = "anybody"
    SIGNED_IN = "whoever is signed in"


Demand = Right | Open | frozenset[Right]
"""A right, none at all, or one of several."""
Endpoint = TypeVar("Endpoint", bound=Callable[..., object])

MAY_NOT = {
    Right.READ_JOB: "You may not read this job.",
    Right.CHANGE_JOB: "You may read this job, not change it.",
    Right.ENTER_READINGS: "You may not enter readings.",
    Right.READ_SECRETS: "You may not read the secrets of this job.",
    Right.CHANGE_SECRETS: "You may not change the secrets of this job.",
    Right.WORK_ALARMS: "You may not work alarms at the desk.",
    Right.KEEP_PEOPLE: "You may not keep the people of this workbench.",
}
TO_EDIT = frozenset({Right.CHANGE_JOB, Right.ENTER_READINGS})
"""Readings on record stand in the document: they are entered by whoever may change it, and by whoever may enter readings."""
GIVEN_PASSWORD = "First change the password you were given: somebody else knows it."
OWNER_ONLY = "Only the owner may do this."


class NotAllowed(Exception):  # noqa: N818 - what is so, not what went wrong in the program
    """Whoever asks may not; the message says so in words for the page."""


def demands(what: Demand) -> Callable[[Endpoint], Endpoint]:
    """Mark what a route asks for."""

    def marked(endpoint: Endpoint) -> Endpoint:
        vars(endpoint)["demands"] = what
        return endpoint

    return marked


def demand_of(endpoint: object) -> Demand | None:
    """Return what a route asks for, None when it does not say."""
    found = getattr(endpoint, "demands", None)
    return found if isinstance(found, Right | Open | frozenset) else None


async def allowed(request: Request) -> None:
    """Refuse a request whose visitor may not make it. Raises NotAllowed."""
    demand = demand_of(request.scope["route"].endpoint)
    if demand is Open.ANYBODY:
        return
    refuse(visitor_of(request), demand)


def refuse(visitor: Visitor, demand: Demand | None) -> None:
    """Raise NotAllowed when a visitor may not do what is demanded; what is not named takes every right there is."""
    if demand is Open.SIGNED_IN:
        return
    if visitor.given_password:
        raise NotAllowed(GIVEN_PASSWORD)
    if demand is None:
        if not visitor.rights >= EVERY_RIGHT:
            raise NotAllowed(OWNER_ONLY)
    elif isinstance(demand, frozenset):
        if not visitor.rights & demand:
            raise NotAllowed(MAY_NOT[min(demand)])
    elif isinstance(demand, Right) and not visitor.may(demand):
        raise NotAllowed(MAY_NOT[demand])
