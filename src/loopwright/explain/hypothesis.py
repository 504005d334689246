"""A hypothesis: one fault of the catalogue at one place of the job, in every amount it can have."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.catalogue import Fault
from loopwright.explain.check import Check

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Hypothesis:
    """A fault at a place. ``part`` is the document path of what it belongs to, ``place`` where in it; ``words`` names the place.

    ``weight`` is its prior weight: the catalogue's, shared evenly among the places of the part where it can be.
    """

    fault: Fault
    part: str
    place: str
    words: str
    weight: float

    @property
    def key(self) -> str:
        """Return the name of the hypothesis, the same for the same job."""
        return f"{self.fault.id}@{self.part}{f':{self.place}' if self.place else ''}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Predicted:
    """What a part's checks read under each of its variants; variant 0 is the part without a fault.

    ``mean`` and ``sd`` are (variants, checks), tolerances in ``sd``: infinite ohms are over range, NaN stands where the check has words
    for outcomes. ``chances`` holds (variants, outcomes) for those. ``owner`` is the hypothesis of each variant (-1 for none), ``share``
    its share of that hypothesis, ``present`` the share of the time the fault shows.
    """

    checks: tuple[Check, ...]
    mean: Floats
    sd: Floats
    chances: dict[int, Floats] = field(repr=False)
    owner: NDArray[np.int64]
    share: Floats
    present: Floats


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """A part of the job that can be at fault by itself: its hypotheses and what its checks read under each.

    ``hidden`` are rows of ``predicted`` that stand for what a fault of another part does to this one, by the set of devices left dark;
    ``operated`` likewise rows that stand for a device truly at work. ``paired`` says that a fault of it may stand beside another one;
    ``worded`` that it is read by words alone, which two faults may move at once.
    """

    name: str
    hypotheses: tuple[Hypothesis, ...]
    predicted: Predicted
    hidden: dict[frozenset[str], int]
    operated: dict[str, int] = field(default_factory=dict)
    paired: bool = True
    worded: bool = False
