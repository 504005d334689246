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
    rows: dict[str, list[int]] = {}
    for row, hypothesis in enumerate(hypotheses):
        rows.setdefault(hypothesis.fault.id, []).append(row)
    for row, hypothesis in enumerate(hypotheses):
        look = hypothesis.fault.look
        if look is None:
            continue
        # The owner of a variant is -1 for the sound one and -2 for a hidden one: the last two places.
        under = np.full(len(hypotheses) + 2, look.false)
        for fault, chance in look.also.items():
            under[[other for other in rows.get(fault, ()) if _near(hypothesis, hypotheses[other])]] = chance
        under[row] = look.hit
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
                words=asked(hypothesis.words, look.asks),
                finds=look.finds,
                outcomes=YES_NO,
                by=look.by,
            )
        )
    return tuple(checks), chances


def asked(place: str, question: str) -> str:
    """Return the question of a look, asked of a place.

    >>> asked("circuit c05", "Is there no tone?"), asked("", "Is there no tone?")
    ('Circuit c05: is there no tone?', 'Is there no tone?')
    """
    if not place:
        return question
    return f"{place[0].upper()}{place[1:]}: {question[0].lower()}{question[1:]}"


def _near(of: Hypothesis, under: Hypothesis) -> bool:
    """Return whether the look of one hypothesis may show another one: it is at the same place, or one of them is everywhere."""
    if of.place == under.place or not of.place or not under.place:
        return True
    # Of the whole, a path and a unit are no places apart from each other.
    return of.fault.group in WHOLE and of.fault.at != under.fault.at
