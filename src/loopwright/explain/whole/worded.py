"""A part that no meter reads: its checks are words and looks. What else than its words tells apart are variants of a hypothesis."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from loopwright.explain.check import Check
from loopwright.explain.hypothesis import Floats, Hypothesis, Predicted
from loopwright.explain.look import looks_of


def worded(
    part: str,
    hypotheses: Sequence[Hypothesis],
    hidden: int,
    checks: tuple[Check, ...],
    chances: Callable[[int, Check], Floats],
    ways: Sequence[int] = (),
) -> Predicted:
    """Return what the words ``checks`` and the looks of a part show: sound, under each hypothesis, and in its ``hidden`` last variants.

    ``chances`` gives for a check, by its number, the (1 + hypotheses + hidden, outcomes) chances; ``ways`` in how many variants each
    hypothesis stands, alike in chance and in words, one where it is left out.
    """
    count = np.array([1, *(ways or (1 for _ in hypotheses)), *(1 for _ in range(hidden))], dtype=np.int64)
    owner = np.repeat([-1, *range(len(hypotheses)), *(-2 for _ in range(hidden))], count)
    looks, look_chances = looks_of(part, hypotheses, owner)
    every = (*checks, *looks)
    known = {column: np.repeat(chances(column, check), count, axis=0) for column, check in enumerate(checks)}
    nothing = np.full((owner.size, len(every)), np.nan)
    return Predicted(
        checks=every,
        mean=nothing,
        sd=nothing,
        chances=known | {len(checks) + number: values for number, values in look_chances.items()},
        owner=owner,
        share=np.repeat(1.0 / count, count),
        present=np.repeat([1.0, *(h.fault.present for h in hypotheses), *(1.0 for _ in range(hidden))], count),
    )
