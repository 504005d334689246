"""Since when it is wrong, and whether always: what whoever knows the premises can say of any fault, before a lid is off.

A mistake in the wiring was there from the first day or since somebody worked on it; a worn part had been right for long; a loose screw
comes and goes. That tells more a minute than most readings. It is asked of what is looked into as a whole, so it is a part by itself that
every fault moves, the same for all faults that are alike in it. How faults begin and whether they stay is judgement (common practice, no
source); each row of the catalogue names how it begins.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.catalogue import WHOLE, Fault
from loopwright.explain.check import Check
from loopwright.explain.hypothesis import Floats, Part
from loopwright.explain.whole.part import told
from loopwright.explain.whole.word import HISTORY, words
from loopwright.explain.whole.worded import worded

SINCE, STEADY = "before", "steady"
BEGINS: Mapping[str, tuple[float, float, float]] = {
    "made": (0.75, 0.20, 0.05),
    "work": (0.35, 0.55, 0.10),
    "any time": (0.20, 0.25, 0.55),
    "by itself": (0.03, 0.07, 0.90),
}
"""How a fault begins, and the chances that it was there from the first day, began with work done, or came after it had been right for
long (judgement): left by who fitted it; left by who fitted or altered it; by either or by itself; by wear, weather, damage or use."""
STAYS: Mapping[str, tuple[float, float]] = {"always": (0.88, 0.12), "either": (0.5, 0.5), "at times": (0.15, 0.85)}
"""Whether a fault stays, and the chances that it is told to be there all the time, or to come and go (judgement)."""
WAYS = tuple(product(BEGINS, STAYS))


def stays(fault: Fault) -> str:
    """Return whether a fault stays: what shows part of the time comes and goes; of programming, users and paths nothing is said."""
    if fault.stays:
        return fault.stays
    if fault.present < 1:
        return "at times"
    return "either" if fault.group in WHOLE else "always"


def history_part() -> Part:
    """Return the part that tells since when it is wrong and whether always; its hidden variants are :data:`WAYS`, in order."""
    asked = tuple(told(words()[each], "") for each in (SINCE, STEADY))

    def chances(_: int, check: Check) -> Floats:
        ways = [BEGINS[begins] if check.scenario == SINCE else STAYS[stays_] for begins, stays_ in WAYS]
        return np.array([words()[check.scenario].unmoved, *ways])

    return Part(name=HISTORY, hypotheses=(), predicted=worded(HISTORY, (), len(WAYS), asked, chances), hidden={}, paired=False, worded=True)


def begun(part: Part) -> NDArray[np.int64]:
    """Return the hidden variant of the history that each variant of a part puts it in, -1 for none."""
    faults = (hypothesis.fault for hypothesis in part.hypotheses)
    own = [1 + WAYS.index((fault.begins, stays(fault))) for fault in faults]
    # The owner of a variant is -1 for the sound one and -2 for a hidden one: the last two places.
    return np.array([*own, -1, -1])[part.predicted.owner]
