"""Since when it is wrong: what whoever knows the premises can say of any fault, before a lid is off.

A mistake in the wiring was there from the first day or since somebody worked on it; a worn part had been right for long. That tells more
a minute than most readings. It is asked of what is looked into as a whole, so it is a part by itself that every fault moves, the same
for all faults that begin alike. How faults begin is judgement (common practice, no source); each row of the catalogue names it.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.hypothesis import Part
from loopwright.explain.whole.part import told
from loopwright.explain.whole.word import words
from loopwright.explain.whole.worded import worded

PART = "history"
WORD = "before"
BEGINS: Mapping[str, tuple[float, float, float]] = {
    "made": (0.75, 0.20, 0.05),
    "work": (0.35, 0.55, 0.10),
    "any time": (0.20, 0.25, 0.55),
    "by itself": (0.03, 0.07, 0.90),
}
"""How a fault begins, and the chances that it was there from the first day, began with work done, or came after it had been right for
long (judgement): left by who fitted it; left by who fitted or altered it; by either or by itself; by wear, weather, damage or use."""
_NAMES = tuple(BEGINS)


def history_part() -> Part:
    """Return the part that tells since when it is wrong; its hidden variants are the ways to begin, in order."""
    word = words()[WORD]
    known = worded(PART, (), len(_NAMES), (told(word, ""),), lambda *_: np.array([word.unmoved, *BEGINS.values()]))
    return Part(name=PART, hypotheses=(), predicted=known, hidden={}, paired=False, worded=True)


def begun(part: Part) -> NDArray[np.int64]:
    """Return the hidden variant of the history that each variant of a part puts it in, -1 for none."""
    own = [1 + _NAMES.index(hypothesis.fault.begins) for hypothesis in part.hypotheses]
    # The owner of a variant is -1 for the sound one and -2 for a hidden one: the last two places.
    return np.array([*own, -1, -1])[part.predicted.owner]
