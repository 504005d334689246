"""The rules of a job as the rehearsal reads them: bounds on sounding, and the cells of what may sound, each with who says so."""

from __future__ import annotations

from loopwright.job.document import Job
from loopwright.programme.heard import SOUNDS
from loopwright.rehearse.law import Bound, Cell, Law
from loopwright.rules.ruleset import Ruleset, ruleset_of
from loopwright.rules.worked import marked


def law_of(job: Job) -> Law:
    """Return what the ruleset a job names, those beside it and local law say."""
    rules = ruleset_of(job)
    return Law(
        once=_bounds(rules, "sounder_s"),
        in_one_go=_bounds(rules, "sounding_s"),
        in_all=_bounds(rules, "sounding_total_s"),
        entry_and_abort=_bounds(rules, "entry_abort_s"),
        cells={cell: _cells(rules, cell) for cell in SOUNDS},
    )


def _bounds(rules: Ruleset, quantity: str) -> tuple[Bound, ...]:
    return tuple(
        Bound(least_s=limit.least, most_s=limit.most, words=marked(limit.clause, limit.source)) for limit in rules.limits_on(quantity)
    )


def _cells(rules: Ruleset, cell: str) -> tuple[Cell, ...]:
    return tuple(
        Cell(allowed=choice.allowed, words=marked(choice.clause, choice.source))
        for name, choice in rules.choices.items()
        if name.partition(".")[0] == f"sounds/{cell}"
    )
