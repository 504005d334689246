"""The rehearsal as the pages show it: searched again when what it reads has changed, with what is newly broken told apart."""

from __future__ import annotations

from dataclasses import dataclass
from threading import Lock
from typing import TYPE_CHECKING

from loopwright.appraisal.law import law_of
from loopwright.job.document import Job
from loopwright.rehearse.promise import PROMISES, Broken
from loopwright.rehearse.rehearsal import Rehearsal, rehearse
from loopwright.rehearse.search import TooManyStatesError

if TYPE_CHECKING:
    from loopwright.web.page import Page


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What the search says of a job: ``fresh`` are the promises it kept before the last change, ``mended`` those it broke then.

    ``lost`` says of the zones that were searched before that change and are left out since.
    """

    found: Rehearsal | None
    fresh: tuple[Broken, ...] = ()
    mended: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    refused: str = ""

    @property
    def words(self) -> str:
        """Return the verdict in one line."""
        if self.found is None:
            return f"Not searched: {self.refused}."
        broken, aside = self.found.broken, self.found.left_out
        if not self.found.searches and not broken:
            return f"Nothing was searched. {' '.join(self.found.not_covered[:1])}"
        if self.fresh:
            return f"This change breaks a promise: {self.fresh[0].sentence}"
        if broken:
            promises = len({each.promise for each in broken})
            lead = f"{promises} of {len(PROMISES)} promises {'is' if promises == 1 else 'are'} broken"
            before = f"{self.lost[0]} In the rest " if self.lost else "Mended; " if self.mended else ""
            return f"{before}{lead}: {broken[0].sentence}"
        mended = "Mended. " if self.mended else ""
        rest = f"{mended}{aside[0]} No promise was found broken in the rest." if aside else f"{mended}No promise was found broken."
        count = len(self.found.untried)
        return f"{rest} {count} of {len(PROMISES)} {'was' if count == 1 else 'were'} not put to the test." if count else rest

    @property
    def kept_all(self) -> bool:
        """Return whether everything was searched and nothing found broken."""
        return self.found is not None and bool(self.found.searches) and not self.found.broken and not self.found.left_out


class Rehearsed:
    """The verdict on the job as it is and as it was before, so that an edit elsewhere searches nothing."""

    def __init__(self) -> None:
        """Know nothing yet."""
        self._lock = Lock()
        self._known: list[tuple[tuple[object, ...], Verdict]] = []

    def of(self, job: Job) -> Verdict:
        """Return the verdict on a job."""
        reads = _read_of(job)
        with self._lock:
            if self._known and self._known[0][0] == reads:
                return self._known[0][1]
            made = self._searched(job)
            self._known = [(reads, made)]
            return made

    def known(self, job: Job) -> Verdict | None:
        """Return the verdict on a job, or None where it would have to be searched; nothing is waited for."""
        known = self._known
        return known[0][1] if known and known[0][0] == _read_of(job) else None

    def _searched(self, job: Job) -> Verdict:
        try:
            found = rehearse(job, law_of(job))
        except TooManyStatesError as reason:
            return Verdict(found=None, refused=str(reason))
        before = self._known[0][1].found if self._known else None
        if before is None or not (before.searches and found.searches):
            return Verdict(found=found)
        was, now = ({(each.promise, each.subject) for each in each_found.broken} for each_found in (before, found))
        fresh = tuple(each for each in found.broken if (each.promise, each.subject) not in was)
        lost = tuple(each for each in found.left_out if each not in before.left_out)
        # What is not searched any more is not mended by that.
        mended = () if lost else tuple(sorted({promise for promise, _ in was - now}))
        return Verdict(found=found, fresh=fresh, mended=mended, lost=lost)


def _read_of(job: Job) -> tuple[object, ...]:
    """Return all that a search reads of a job; parts that did not change are the same objects and compare at once."""
    return (
        job.areas,
        job.zones,
        job.users,
        job.programme,
        job.signalling,
        job.circuits,
        job.equipment,
        job.sheets.equipment,
        job.region,
        job.outputs,
        # Of the cables only what they feed: a longer one changes nothing here.
        tuple((cable.end, cable.feeds) for cable in job.cables.values()),
    )


def verdict_of(page: Page, *, at_once: bool = False) -> dict[str, Verdict | None]:
    """Return the verdict as a room shows it: None where a first look does not wait for it, unless it is to be there ``at_once``."""
    rehearsed = page.rehearsed or Rehearsed()
    return {"verdict": rehearsed.known(page.job) if page.first_look and not at_once else rehearsed.of(page.job)}
