"""Explain: what is seen held against what should be seen, on the same model. Ranked faults, and the cheapest next check.

Only the parts that something was read of are looked into, so that a circuit's fault never moves the supply tree. An :class:`Inquiry` keeps
the parts it has solved, for the second and third reading of the same visit.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit_part import circuit_part
from loopwright.explain.explanation import Explanation
from loopwright.explain.hypothesis import Part
from loopwright.explain.likelihood import Likelihood, Rows, Seen, likelihood, rows_of
from loopwright.explain.next_check import Advised, advise, alike
from loopwright.explain.observation import Observations
from loopwright.explain.outcome import Outcomes, outcomes
from loopwright.explain.posterior import Posterior, posterior
from loopwright.explain.telling import tell
from loopwright.job.document import Job

MOST_ROWS = 48
"""Of the variants, so many of the likeliest are followed when the next check is chosen."""
LEAST_ROW = 1e-5


class Weighed:
    """One weighing of one set of observations: everything between the readings and the words."""

    def __init__(self, rows: Rows, used: tuple[Seen, ...], likely: Likelihood, after: Posterior) -> None:
        self.rows, self.used, self.likely, self.after = rows, used, likely, after
        self.keep = _kept(after)
        self.weight = np.append(after.rows[self.keep], after.none_of_these)
        self.weight = self.weight / self.weight.sum()
        self.owner = self._owner()
        self.outs: Outcomes | None = None
        self.group: NDArray[np.int64] = self.owner
        self.advised = Advised(checks=(), stop=True)

    def _owner(self) -> NDArray[np.int64]:
        """Return the hypothesis of each kept row, numbered anew: 0 is nothing wrong, the last none of these."""
        _, owner = np.unique(self.rows.owner[self.keep], return_inverse=True)
        return np.append(owner, int(owner.max()) + 1)

    def look_ahead(self, checks: list[Check], observed: Observations) -> None:
        """Work out what each check could show, which hypotheses are one answer, and what to do next."""
        self.outs = outcomes(self.rows, self.keep, checks, observed.meter)
        self.group = alike(self.outs, self.owner, self.weight)
        self.advised = advise(self.outs, self.weight, self.group)


class Inquiry:
    """A visit to one job: observations come in one after the other, and parts once solved are kept."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._parts: dict[str, Part] = {}

    def explain(self, observed: Observations) -> Explanation:
        """Return what follows from ``observed``."""
        weighed, left_out = self.weigh(observed)
        return tell(self.job, weighed, observed, left_out)

    def weigh(self, observed: Observations, *, ahead: bool = True) -> tuple[Weighed, tuple[str, ...]]:
        """Return the weighing of ``observed``, and a sentence for each reading no part of the job has."""
        parts, dark = self._needed(observed)
        rows = rows_of(parts, dark)
        used, left_out = [], []
        for reading in observed.seen:
            if rows.column(reading.check) is None:
                left_out.append(_no_such(reading))
            else:
                used.append(reading)
        likely = likelihood(rows, used)
        weighed = Weighed(rows, tuple(used), likely, posterior(rows, likely))
        if ahead:
            done = {reading.check for reading in used}
            checks = [check for part in rows.parts for check in part.predicted.checks if check not in done]
            weighed.look_ahead(checks, observed)
        return weighed, tuple(left_out)

    def _needed(self, observed: Observations) -> tuple[list[Part], dict[int, dict[int, NDArray[np.int64]]]]:
        names = dict.fromkeys(part_of(reading.check) for reading in observed.seen)
        parts = [self._circuit(name.partition("/")[2]) for name in names if name.startswith("circuits/")]
        return parts, {}

    def _circuit(self, name: str) -> Part:
        key = f"circuits/{name}"
        if key not in self._parts:
            self._parts[key] = circuit_part(self.job, name)
        return self._parts[key]


def explain(job: Job, observed: Observations) -> Explanation:
    """Return what follows from ``observed`` about ``job``; computes everything anew."""
    return Inquiry(job).explain(observed)


def part_of(check: Check) -> str:
    """Return the document path of the part a check belongs to."""
    if check.kind is CheckKind.LOOK:
        return check.where
    if check.kind in (CheckKind.OHM, CheckKind.CORES_OHM, CheckKind.VOLTS, CheckKind.STATE, CheckKind.CONTACT_OHM):
        return f"outputs/{check.where}" if "." in check.where else f"circuits/{check.where}"
    return "power"


def _kept(after: Posterior) -> NDArray[np.int64]:
    """Return the likeliest rows, row 0 always among them, in order."""
    order = np.argsort(-after.rows, kind="stable")[:MOST_ROWS]
    kept: Iterable[int] = {0, *order[after.rows[order] > LEAST_ROW].tolist()}
    return np.array(sorted(kept))


def _no_such(reading: Seen) -> str:
    check = reading.check
    return (
        f"{reading.text!r} at {check.where}{f' ({check.device})' if check.device else ''}: nothing of this job is read as "
        f"'{check.kind}, {check.act}' there, so this reading is left out."
    )
