"""A part that no meter reads: its checks are words and looks, one variant a hypothesis."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from loopwright.explain.check import Check
from loopwright.explain.hypothesis import Floats, Hypothesis, Predicted
from loopwright.explain.look import looks_of


def worded(
    part: str, hypotheses: Sequence[Hypothesis], hidden: int, checks: tuple[Check, ...], chances: Callable[[int, Check], Floats]
) -> Predicted:
    """Return what the words ``checks`` and the looks of a part show: sound, under each hypothesis, and in its ``hidden`` last variants.

    ``chances`` gives for a check, by its number, the (variants, outcomes) chances.
    """
    owner = np.array([-1, *range(len(hypotheses)), *(-2 for _ in range(hidden))])
    looks, look_chances = looks_of(part, hypotheses, owner)
    every = (*checks, *looks)
    known = {column: chances(column, check) for column, check in enumerate(checks)}
    nothing = np.full((owner.size, len(every)), np.nan)
    return Predicted(
        checks=every,
        mean=nothing,
        sd=nothing,
        chances=known | {len(checks) + number: values for number, values in look_chances.items()},
        owner=owner,
        share=np.ones(owner.size),
        present=np.array([1.0, *(h.fault.present for h in hypotheses), *(1.0 for _ in range(hidden))]),
    )
