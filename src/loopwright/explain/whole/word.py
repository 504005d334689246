"""The words of what is shown, logged, received and told: each a question with outcomes, read from ``words.toml``.

A word is asked of the premises as a whole, of a zone, of a radio device, or of whatever is looked into (:data:`HISTORY`). How likely a
fault makes each outcome stands with the fault (``says``), or is computed; everything else leaves a word ``idle``.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np

from loopwright.explain.check import YES_NO
from loopwright.explain.hypothesis import Floats

HISTORY = "history"
"""What a word that is of no part, but of them all, is asked ``at``; and the part that answers it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Word:
    """One word: what it ``asks``, ``at`` which kind of place, who can answer it in how many minutes; ``shows`` marks a keypad's trouble.

    ``idle`` is the chance of yes where no fault states another, ``share`` that of each outcome of a word that has more than yes and no.
    ``after`` is the word that has to be told with yes first, at the same place, for this one to make sense.
    """

    id: str
    asks: str
    at: str = ""
    shows: bool = False
    minutes: float = 1.0
    by: str = "caller"
    idle: float = 0.05
    outcomes: tuple[str, ...] = YES_NO
    share: tuple[float, ...] = ()
    after: str = ""

    @property
    def unmoved(self) -> Floats:
        """Return the chance of each outcome where nothing states another."""
        return np.array(self.share or (self.idle, 1 - self.idle))

    def chances(self, says: float | Mapping[str, float]) -> Floats:
        """Return the chance of each outcome for what a fault says: the chance of yes, or shares by outcome, the rest as when unmoved."""
        if not isinstance(says, Mapping):
            return np.array((says, 1 - says))
        named = np.array([says.get(outcome, 0.0) for outcome in self.outcomes])
        return np.asarray(named + (1 - named.sum()) * self.unmoved)


@cache
def words() -> Mapping[str, Word]:
    """Return every word by its id."""
    text = files("loopwright.explain.whole").joinpath("words.toml").read_text(encoding="utf-8")
    out = {}
    for name, row in tomllib.loads(text).items():
        known: dict[str, Any] = {"minutes": 0.5 if row.get("shows") else 1.0} | row
        known |= {key: tuple(row[key]) for key in ("outcomes", "share") if key in row}
        out[name] = Word(id=name, **known)
    return out
