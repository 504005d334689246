"""What should show now, from an appraisal: the troubles of its stage, and the same as a record for other programs."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.appraisal.appraise import Appraisal
from loopwright.explain.expected.expect import Expectation, expect
from loopwright.explain.expected.situation import Situation, situation_of
from loopwright.explain.expected.trouble import Trouble


def expected(appraisal: Appraisal, situation: Situation | None = None) -> Expectation:
    """Return what should show in a situation; without one, in the situation the document tells."""
    return expect(
        appraisal.job,
        situation_of(appraisal.job) if situation is None else situation,
        power=appraisal.power,
        circuits=appraisal.circuits,
        watches=appraisal.watches,
        standby=appraisal.standby,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class TroubleForm:
    """One trouble that should show: its kind and place, whether it is normal at this stage, and how it ends."""

    kind: str
    place: str
    sentence: str
    normal: bool
    certain: bool
    defect: bool
    cleared_by_step: str | None
    shortest_wait_s: float | None
    longest_wait_s: float | None
    clears: str
    never: str
    caution: str
    source: str


@dataclass(frozen=True, kw_only=True, slots=True)
class ExpectedForm:
    """The troubles that should show now, in the order in which they are best cleared, and the step to take first."""

    next_step: str | None
    troubles: tuple[TroubleForm, ...]


def expected_form(expectation: Expectation) -> ExpectedForm:
    """Return an expectation for another program."""
    step = expectation.next_step
    return ExpectedForm(next_step=None if step is None else str(step), troubles=tuple(_form(each) for each in expectation.troubles))


def _form(trouble: Trouble) -> TroubleForm:
    lore = trouble.lore
    shortest, longest = trouble.wait_s or (None, None)
    return TroubleForm(
        kind=str(trouble.kind),
        place=trouble.place,
        sentence=trouble.sentence,
        normal=trouble.normal,
        certain=trouble.sure,
        defect=trouble.defect,
        cleared_by_step=None if trouble.step is None else str(trouble.step),
        shortest_wait_s=shortest,
        longest_wait_s=longest,
        clears=lore.clears,
        never=lore.never,
        caution=lore.caution,
        source=lore.source,
    )
