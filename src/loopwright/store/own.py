"""Each person's own steps among the revisions of all: what they would take back, and what they would do again.

A step is a revision that changed the text; it goes from the text before it to its own. Taking it back does not bring an old text back as
a whole: it undoes what the step did, in the text as it is by then.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from loopwright.store.store import Revision

Look = Callable[[int], Revision]
"""Finds a revision by its number. Raises StoreError."""


class Step(NamedTuple):
    """A step back (``way`` -1) or forward (1): the revision that is taken back or done again, and the one the person then stands at."""

    way: int
    number: int
    to: int


class Stand(NamedTuple):
    """How many steps of their own a person can go back and forward."""

    back: int
    forward: int


def stand_of(last: Revision | None, look: Look) -> Stand:
    """Return how a person stands whose last revision is ``last``."""
    if last is None:
        return Stand(0, 0)
    place = last.place
    ahead = look(place.tip).place.depth - place.depth if place.tip != place.step else 0
    return Stand(place.depth if _standing(last, look) else 0, max(ahead, 0))


def step_of(last: Revision | None, way: int, look: Look) -> Step | None:
    """Return the next step back or forward of a person whose last revision is ``last``, None when there is none."""
    if last is None:
        return None
    number = _standing(last, look) if way < 0 else _ahead(last, look)
    if not number:
        return None
    return Step(way, number, _own(look(number).place.before, last.by, look) if way < 0 else number)


def _own(number: int, by: str, look: Look) -> int:
    """Return the next step of a person from a number on, 0 when there is none.

    Histories of before each had steps of their own go from one person's steps to another's.
    """
    while number and (found := look(number)).by != by:
        number = found.place.before
    return number


def _standing(last: Revision, look: Look) -> int:
    """Return the last step of a person that stands; what a history began with is none."""
    number = _own(last.place.step, last.by, look)
    return number if number and look(number).place.depth else 0


def _ahead(last: Revision, look: Look) -> int:
    at = _own(last.place.step, last.by, look)
    number = _own(last.place.tip, last.by, look)
    if last.place.tip == last.place.step:
        return 0
    while number and (before := _own(look(number).place.before, last.by, look)) != at:
        number = before
    return number
