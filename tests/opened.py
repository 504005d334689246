"""A job opened again is read, worked out and rehearsed once: most tests of the workbench open the same few."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.job.reading import Reading
from loopwright.job.tree import Node
from loopwright.rehearse.law import NO_LAW, Law
from loopwright.rehearse.rehearsal import Rehearsal, rehearse

MOST_KEPT = 16
_kept: dict[int, tuple[Job, Appraisal]] = {}
"""The appraisals of jobs that were opened, by the job's identity; the job is held, so that no other takes its place."""
_rehearsed: dict[int, tuple[Job, Law, Rehearsal]] = {}
"""Their rehearsals, each made when it is asked for first, and the law it was held against."""


@lru_cache(maxsize=MOST_KEPT)
def _opened(text: str) -> Reading:
    reading = read(text)
    while len(_kept) >= MOST_KEPT:
        _rehearsed.pop(oldest := next(iter(_kept)), None)
        _kept.pop(oldest)
    _kept[id(reading.job)] = reading.job, appraise(reading.job)
    return reading


def reads(text: str, *, tree: Node | None = None) -> Reading:
    """Return what a text says, as ``read`` does; what grows from an edit is always read."""
    return _opened(text) if tree is None else read(text, tree=tree)


def appraises(job: Job) -> Appraisal:
    """Return a job's appraisal, as ``appraise`` does: the one kept of a job as it was opened, of any other a new one."""
    held, known = _kept.get(id(job), (None, None))
    return known if held is job and known is not None else appraise(job)


def rehearses(job: Job, law: Law = NO_LAW) -> Rehearsal:
    """Return a job's rehearsal, as ``rehearse`` does: the one kept of a job as it was opened, of any other a new one."""
    held, under, known = _rehearsed.get(id(job), (None, None, None))
    if held is job and under == law and known is not None:
        return known
    made = rehearse(job, law)
    if _kept.get(id(job), (None,))[0] is job:
        _rehearsed[id(job)] = job, law, made
    return made


STANDS_FOR: dict[str, Callable[..., object]] = {"session.read": reads, "session.appraise": appraises, "rehearsed.rehearse": rehearses}
