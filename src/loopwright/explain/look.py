"""Looks: the checks of the catalogue that no reading of the model replaces, with the chance that each shows the thing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.catalogue import WHOLE
from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.hypothesis import Floats, Hypothesis

LADDER_MINUTES = 3.0
"""What a ladder costs on top (judgement)."""


def looks_of(part: str, hypotheses: Sequence[Hypothesis], owner: NDArray[np.int64]) -> tuple[tuple[Check, ...], dict[int, Floats]]:
    """Return the looks of a part, and for each the chances of yes and no under every variant; ``owner`` is each variant's hypothesis."""
    checks: list[Check] = []
    chances: dict[int, Floats] = {}
    for hypothesis in hypotheses:
        look = hypothesis.fault.look
        if look is None:
            continue
        under = np.array([*(_chance(hypothesis, other) for other in hypotheses), look.false, look.false])
        # The owner of a variant is -1 for the sound one and -2 for a hidden one: the last two places.
        yes = under[owner]
        chances[len(checks)] = np.stack((yes, 1 - yes), axis=1)
        checks.append(
            Check(
                kind=CheckKind.LOOK,
                where=part,
                fault=hypothesis.fault.id,
                place=hypothesis.place,
                minutes=look.minutes + (LADDER_MINUTES if look.by == "ladder" else 0.0),
                needs=look.needs,
                words=f"{look.words[:1].upper()}{look.words[1:]} - {hypothesis.words}",
                outcomes=YES_NO,
                by=look.by,
            )
        )
    return tuple(checks), chances


def _chance(of: Hypothesis, under: Hypothesis) -> float:
    """Return how likely the look of one hypothesis shows the thing when another one is true."""
    look = of.fault.look
    assert look is not None
    if of is under:
        return look.hit
    near = of.place == under.place or not of.place or not under.place
    # Of the whole, a path and a unit are no places apart from each other.
    near = near or (of.fault.group in WHOLE and of.fault.at != under.fault.at)
    return look.also.get(under.fault.id, look.false) if near else look.false
