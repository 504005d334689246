"""Dead checks as they are written down: the entries of an observation file, or of a visit, whose state is ``no power``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from loopwright.explain.dead.check import NO_POWER, DeadCheck, DeadKind
from loopwright.explain.dead.judge import Judged, Weight, judge
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import Noted
from loopwright.explain.terminal import circuit_of
from loopwright.explain.written import Unreadable, shown_of
from loopwright.job.document import Job
from loopwright.job.read import step_of
from loopwright.job.reading import BAD, Run
from loopwright.job.shape import record_shape
from loopwright.job.tree import LIST, MAP, compose
from loopwright.values.error import Problem

KINDS: dict[str, DeadKind] = {"": DeadKind.PAIR, "terminals": DeadKind.TERMINALS, **{kind.value: kind for kind in DeadKind}}
"""What is looked at, by the word after ``at``; nothing for the ohms between two cores."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Checked:
    """A dead check with what was entered, None while nothing was, and what it comes to."""

    check: DeadCheck
    text: str = ""
    judged: Judged | None = None


def find_check(job: Job, checks: Sequence[DeadCheck], where: str, at: str) -> DeadCheck:
    """Return the dead check that a place and the word after ``at`` name. Raises ValueError with a sentence."""
    kind = KINDS.get(at.lower().strip())
    if kind is None:
        raise ValueError(f"‘{at}’ is no dead check. Accepted: {', '.join(word for word in KINDS if word)}, or nothing for two cores.")
    place = circuit_of(job, where) or where
    found = next((check for check in checks if (check.where, check.kind) == (place, kind)), None)
    if found is None:
        raise ValueError(f"There is no dead check ‘{kind}’ at ‘{where}’. Write a supply, an output such as control.aux-1, or a circuit.")
    return found


def entered(check: DeadCheck, reading: str, word: str, meter: Instrument) -> Judged:
    """Return what an entry comes to, as people write it. Raises ValueError (Unreadable among them) with a sentence."""
    return judge(check, shown_of(reading, meter) if reading else None, word)


def stops(checked: Sequence[Checked], past: Sequence[str] = ()) -> tuple[Checked, ...]:
    """Return what keeps the power off: what can never be signed past, and what was not; ``past`` are the keys that were."""
    return tuple(
        each
        for each in checked
        if each.judged is not None
        and (each.judged.weight is Weight.NEVER or (each.judged.weight is Weight.STOP and each.check.key not in past))
    )


def read_dead(job: Job, checks: Sequence[DeadCheck], source: bytes | str) -> tuple[tuple[Checked, ...], tuple[Problem, ...]]:
    """Return every check with what a file says of it, the last entry counting, and the entries that cannot be used.

    Entries of another state are no dead checks, and are passed over. Raises JobError when the text is no YAML mapping at all.
    """
    run, found = Run(), dict[str, Checked]()
    for key, node in compose(source)[1].value:
        if key.kind != 0 or key.value != "readings" or node.kind != LIST:
            continue
        for number, entry in enumerate(node.value):
            path = f"readings/{number}"
            made: Any = step_of(record_shape(Noted))(entry, path, run) if entry.kind == MAP else BAD
            if made is BAD or made.state.lower().strip() != NO_POWER:
                continue
            try:
                check = find_check(job, checks, made.where, made.at)
                judged = entered(check, made.reading, made.shows, Instrument())
            except (Unreadable, ValueError) as error:
                run.refuse(entry, path, f"{error} This entry is left out; the rest is used.")
                continue
            found[check.key] = Checked(check=check, text=made.reading or made.shows, judged=judged)
    return tuple(found.get(check.key, Checked(check=check)) for check in checks), tuple(run.problems())
