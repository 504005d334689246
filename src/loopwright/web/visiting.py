"""The visit to an open job: what was said, the situation that follows from it, and what explain makes of what was read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from threading import Lock
from types import MappingProxyType

from loopwright.appraisal.appraise import Appraisal
from loopwright.explain.dead.check import NO_POWER
from loopwright.explain.expected.situation import Situation, Step, situation_of
from loopwright.explain.explain import Inquiry
from loopwright.explain.explanation import Explanation
from loopwright.explain.learned import learned_weights
from loopwright.explain.telling import tell
from loopwright.job.document import Job, Stage
from loopwright.job.edit import AddItem, InTurn
from loopwright.store.case_file import Closings
from loopwright.store.file import StoreError
from loopwright.store.said import Over
from loopwright.store.visit import Entry, Visit, VisitFile, visit_path
from loopwright.values.error import JobError, Problem
from loopwright.values.recent import Recent
from loopwright.web.session import Session
from loopwright.web.site_change import Moment, SiteChange, changed, problems_of, refuse
from loopwright.web.site_dead import dead_changed, shut
from loopwright.web.site_old import old_changed
from loopwright.web.site_reading import Read, instrument_of, is_on_record, observations_of, on_record, read_entry
from loopwright.web.site_run import run_changed
from loopwright.web.visitor import Visitor

MOST_EXPLAINED = 16


class OnSite:
    """The visit of an open job, and what is worked out from it when it is asked for."""

    def __init__(self, session: Session, clock: Callable[[], datetime]) -> None:
        """Take the session; nothing is read and nothing worked out yet."""
        self._session = session
        self.clock = clock
        self.file = VisitFile(visit_path(session.file.path))
        self._closings = Closings(self.file.path.parent)
        self._lock = Lock()
        self._inquiry: tuple[Job, Inquiry] | None = None
        self._explained: Recent[Explanation] = Recent(most_names=MOST_EXPLAINED, each=1)

    def situation(self, job: Job, visit: Visit) -> Situation:
        """Return how far the work has got: what the document tells, then what was said on site."""
        found = situation_of(job)
        for said in sorted(visit.said, key=lambda each: each.place != ""):
            found = found.with_step(Step(said.step), said.place, done=said.done) if said.step in set(Step) else found
        since = (self.clock() - datetime.fromisoformat(visit.mains_at)).total_seconds() if visit.mains_at else None
        charge = {each.supply: each.charge for each in visit.charge}
        return replace(found, since_mains_s=None if since is None else max(since, 0.0), charge=MappingProxyType(charge))

    def reads(self, job: Job, visit: Visit) -> list[Read]:
        """Return the entries that stand, each with what is understood of it."""
        meter = instrument_of(visit.meter)
        found = [read_entry(job, entry, meter) for entry in visit.standing]
        # What a dead check shows is judged in its own list; only some of it is a reading that faults are weighed by.
        return [each for each in found if each.seen is not None or each.entry.state != NO_POWER]

    def explained(self, appraisal: Appraisal, visit: Visit, reads: list[Read], *, ahead: bool) -> Explanation:
        """Return what follows from readings; without ``ahead`` no next check is looked for, which takes a fraction of the time."""
        observed = observations_of(reads, instrument_of(visit.meter))
        with self._lock:
            inquiry = self._inquiry_of(appraisal)
            inquiry.weights = learned_weights(closed.cause for closed in self._closings.all())
            key = (inquiry.weights, inquiry.job, tuple(replace(each.entry, at="", by="") for each in reads), visit.meter)
            name = ("whole" if ahead else "pattern", tuple(each.entry.id for each in reads))
            if (known := self._explained.find(name, key)) is None:
                if ahead:
                    known = inquiry.explain(observed)
                else:
                    weighed, left_out = inquiry.weigh(observed, ahead=False)
                    known = tell(inquiry.job, weighed, observed, left_out)
                self._explained.put(name, key, known)
            return known

    def _inquiry_of(self, appraisal: Appraisal) -> Inquiry:
        """Return the inquiry of a design. Readings put on record and the stage of the work change no figure of it."""
        bare = replace(appraisal.job, observations=(), stage=Stage.DESIGN, given=frozenset())
        if self._inquiry is None or self._inquiry[0] != bare:
            self._inquiry = (bare, Inquiry(bare, appraisal.power.network))
        return self._inquiry[1]

    def unrecorded(self, job: Job, visit: Visit) -> list[Entry]:
        """Return the entries that are not on record in the document yet."""
        return [entry for entry in visit.standing if not is_on_record(job, entry)]

    def make(self, change: SiteChange, visitor: Visitor) -> tuple[Problem, ...]:
        """Make what was posted; return what keeps it from being made."""
        now = self.clock()
        moment = Moment(visitor.name, now.isoformat(timespec="seconds"), f"{now:%Y-%m-%d %H:%M}")
        try:
            match change.do:
                case "anew":
                    self.file.begin_anew(mark=change.mark, of=change.visit)
                case "back":
                    self.file.bring_back(mark=change.mark)
                case "record":
                    return self._record(change, visitor)
                case _:
                    appraisal = self._session.state.appraisal

                    def made(visit: Visit) -> Visit:
                        if change.do in ("dead", "past"):
                            return dead_changed(change, visit, appraisal, moment)
                        if change.do in ("old", "old-out"):
                            return old_changed(change, visit)
                        if change.do in ("run", "run-out"):
                            return run_changed(change, visit, appraisal.job, moment)
                        shut(change, visit, appraisal)
                        return changed(change, visit, appraisal.job, moment)

                    self.file.change(made, mark=change.mark, of=change.visit, by=moment.by, at=moment.iso)
        except (JobError, StoreError) as error:
            return problems_of(error)
        return ()

    def _record(self, change: SiteChange, visitor: Visitor) -> tuple[Problem, ...]:
        """Put what is not on record yet into the document, as one step. An entry that stands there already is not put in again."""
        visit = self.file.load()
        if change.visit != visit.id:
            raise Over("Another visit was begun meanwhile; nothing was put on record.")

        def made(job: Job) -> InTurn:
            left = self.unrecorded(job, visit)
            if not left:
                refuse("", "Everything is on record already.")
            return InTurn(tuple(AddItem("observations", None, on_record(entry, visit.meter.name)) for entry in left))

        return self._session.edit(
            made, mark=change.mark, by=visitor.name, summary=f"readings of the visit of {visit.begun_at[:10]} on record"
        )
