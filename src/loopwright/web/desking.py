"""The desk of an open job, or of a folder: its cases, the course of each, and what closed cases have taught."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from threading import Lock
from typing import Any

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.desk.assumed import Fact, assumed_document, facts_of
from loopwright.desk.case import FACT, OPENING, Case, Said
from loopwright.desk.course import Course, course
from loopwright.desk.question import NONE
from loopwright.explain.check import Check
from loopwright.explain.explain import Inquiry
from loopwright.explain.explanation import Explanation
from loopwright.explain.learned import Weights, learned_weights
from loopwright.explain.observation import Observations
from loopwright.job.document import Job, Stage
from loopwright.job.read import read
from loopwright.store.audit import Record
from loopwright.store.case_file import CaseFile, Closings, cases_path, not_on_file, trail_of
from loopwright.store.file import StoreError
from loopwright.store.folder import JobFolder
from loopwright.store.person import Right
from loopwright.store.visit import Entry, Visit, VisitFile, visit_path
from loopwright.values.error import JobError, Problem
from loopwright.values.recent import Recent
from loopwright.web.desk_change import WHO_FIRST, DeskChange, changed
from loopwright.web.session import Session
from loopwright.web.site_change import Moment, refuse
from loopwright.web.visitor import Visitor

MOST_ASSUMED = 8
NOTED = {"begin": "case begun", "danger": "danger asked", "caller": "caller settled", "close": "case closed", "reopen": "case opened again"}
"""What of a case stands in the trail, by what was done."""


class Desk:
    """The desk of a job, and of callers whose premises are not on file; without a session it is that of a folder alone."""

    def __init__(self, folder: Path, session: Session | None, clock: Callable[[], datetime]) -> None:
        """Take the folder and the open job; nothing is read and nothing worked out yet."""
        self.session, self.clock, self.folder = session, clock, folder
        self.pass_words: Callable[[Visitor], list[str] | None] = lambda visitor: None
        self.own = CaseFile(cases_path(session.file.path)) if session is not None else None
        self.others = CaseFile(not_on_file(folder))
        self._closings = Closings(folder)
        self._lock = Lock()
        self._inquiries: Recent[Inquiry] = Recent(most_names=MOST_ASSUMED, each=1)
        self._assumed: Recent[Appraisal] = Recent(most_names=MOST_ASSUMED, each=1)

    def files(self) -> tuple[CaseFile, ...]:
        """Return the files the desk's cases are in."""
        return (self.others,) if self.own is None else (self.own, self.others)

    def cases(self) -> tuple[Case, ...]:
        """Return the cases, the open ones and the latest first. Raises StoreError."""
        found = [case for file in self.files() for case in file.load()]
        latest = sorted(found, key=lambda case: case.at, reverse=True)
        return tuple(sorted(latest, key=lambda case: case.closed is not None))

    def file_of(self, name: str) -> CaseFile:
        """Return the file a case is in; that of the desk's own where there is none such. Raises StoreError."""
        return next((file for file in self.files() if file.find(name) is not None), self.files()[0])

    def weights(self) -> Weights:
        """Return how common causes are by the closed cases of every premises in the folder."""
        return learned_weights(closed.cause for closed in self._closings.all())

    def facts(self, case: Case) -> tuple[Fact, ...]:
        """Return what is told and what is assumed of a system nobody has on file."""
        return facts_of(told_facts(case))

    def document(self, case: Case) -> str:
        """Return the document built up from a case. Raises JobError where it cannot be one."""
        return assumed_document(case.caller.premises, told_facts(case), year=self.clock().year)

    def appraisal(self, case: Case) -> Appraisal:
        """Return everything computed of the system a case is about: the job's own, or the assumed one. Raises JobError."""
        if case.on_file and self.session is not None:
            return self.session.state.appraisal
        told = (*sorted(told_facts(case).items()),)
        known = self._assumed.find(case.caller.premises, (told,))
        if known is None:
            known = appraise(read(self.document(case)).job)
            self._assumed.put(case.caller.premises, (told,), known)
        return known

    def now(self) -> str:
        """Return the moment as a case writes it."""
        return self.clock().isoformat(timespec="seconds")

    def course(self, case: Case) -> Course:
        """Return where a case stands. Raises JobError."""
        appraisal = self.appraisal(case)

        def explaining(observed: Observations, may: Callable[[Check], bool]) -> Explanation:
            with self._lock:
                inquiry = self._inquiry(appraisal)
                inquiry.weights = self.weights()
                return inquiry.explain(observed, may=may)

        return course(case, appraisal, explaining)

    def _inquiry(self, appraisal: Appraisal) -> Inquiry:
        """Return the inquiry of a design. Readings put on record and the stage of the work change no figure of it."""
        bare = replace(appraisal.job, observations=(), stage=Stage.DESIGN, given=frozenset())
        known = self._inquiries.find(bare.title, (bare,))
        if known is None:
            known = Inquiry(bare, appraisal.power.network)
            self._inquiries.put(bare.title, (bare,), known)
        return known

    def make(self, change: DeskChange, visitor: Visitor, note: Callable[[Path], Record]) -> tuple[Problem, ...] | str:
        """Make what was posted; return the case's name, or what keeps it from being made. ``note`` gives what notes in a trail."""
        now = self.clock()
        moment = Moment(visitor.name, self.now(), f"{now:%Y-%m-%d %H:%M}")
        try:
            if change.do == "begin":
                return self._begin(change, moment, note)
            if change.do == "hand-over":
                return self._hand_over(change, moment, note)
            if change.do == "keep":
                return self._keep(change, visitor)
            file = self.file_of(change.case)

            def act(case: Case) -> Case:
                case = case.as_of(moment.iso)
                job = self.appraisal(case).job
                made = changed(change, case, job, lambda: self.course(case).question, moment)
                if change.do in NOTED:
                    note(trail_of(file.path))(NOTED[change.do], noted_words(made, change.do))
                return made

            return file.change(change.case, act, mark=change.mark).id
        except JobError as error:
            return error.problems
        except StoreError as error:
            return (Problem(path="", line=0, column=0, message=str(error)),)

    def _begin(self, change: DeskChange, now: Moment, note: Callable[[Path], Record]) -> str:
        file = self.own if change.on_file and self.own is not None else self.others
        # The mark makes the name, so that what is sent again because an answer was lost finds its case.
        case = Case(id=change.mark[:40], at=now.iso, by=now.by, on_file=file is self.own)
        note(trail_of(file.path))(NOTED["begin"], case.id)
        return file.begin(case, mark=change.mark).id

    def _hand_over(self, change: DeskChange, now: Moment, note: Callable[[Path], Record]) -> str:
        """Put the answers of a case into the visit on site of its job."""
        if self.own is None or self.session is None:
            refuse("", "There is no visit of premises that are not on file. Keep them as new premises first.")
        case = self.own.find(change.case)
        if case is None:
            refuse("", "Only what is about these premises goes over to the visit on site.")
        if not case.as_of(now.iso).caller.identified:
            refuse("", WHO_FIRST)
        entries = entries_of(case, self.session.state.job, now)
        if not entries:
            refuse("", "Nothing was answered yet that a visit could go on from.")

        def taken(visit: Visit) -> Visit:
            there = {each.id for each in visit.entries}
            made = (*visit.entries, *(each for each in entries if each.id not in there))
            return replace(visit, entries=made, asked=tuple(each.id for each in made if not each.out))

        VisitFile(visit_path(self.session.file.path)).change(taken, mark=change.mark, of="", by=now.by, at=now.iso)
        note(trail_of(self.own.path))("handed over to the visit on site", case.id)
        return self.own.change(change.case, lambda case: replace(case, handed_at=now.iso), mark=change.mark).id

    def _keep(self, change: DeskChange, visitor: Visitor) -> str:
        """Keep the assumed system as new premises of the folder."""
        if not visitor.may(Right.CHANGE_JOB):
            refuse("", "You may not make new premises; whoever may change jobs finds this case in the list.")
        case = self.others.find(change.case)
        if case is None or case.kept_as:
            refuse("", "These premises are on file already.")
        if not case.caller.premises:
            refuse("premises", "Ask for the premises first: the new job is called after them.")
        name = JobFolder(self.folder).put(case.caller.premises, self.document(case))
        return self.others.change(change.case, lambda each: replace(each, kept_as=name), mark=change.mark).id


def told_facts(case: Case) -> dict[str, str]:
    """Return the facts of a system a case tells: those that were chosen, and those that follow from answers."""
    told = {name: said.answer for name in ("line", "network") if (said := case.answered(f"{OPENING}:{name}")) is not None and said.settles}
    fresh = case.answered(f"{OPENING}:battery-since")
    if fresh is not None and fresh.settles and fresh.answer != NONE:
        told["battery_years"] = "0"
    return told | {said.key.partition(":")[2]: said.answer for said in case.standing if said.key.startswith(f"{FACT}:")}


def entries_of(case: Case, job: Job, now: Moment) -> list[Entry]:
    """Return the answers of a case as the visit on site has them, as far as they tell something."""
    return [
        Entry(
            id=f"{case.id}-{number}",
            at=said.at[:16].replace("T", " ") or now.minute,
            by=said.by,
            words=f"{said.question.rstrip('?')} (told by telephone)",
            **_entry_fields(said),
        )
        for number, said in enumerate(case.said)
        if said.where and said.settles and not said.out
    ]


def _entry_fields(said: Said) -> dict[str, Any]:
    names = ("where", "place", "state", "shows", "look", "told")
    fields = {name: getattr(said, name) for name in names if name in Entry.__dataclass_fields__}
    answer = said.told_answer or (said.answer if said.look or said.told else "")
    return fields | {"answer": answer}


def noted_words(case: Case, done: str) -> str:
    """Return what stands in the trail of a case: never who called, nor from where."""
    about = {"danger": case.danger, "caller": case.caller.verified, "close": case.closed.cause if case.closed else ""}.get(done, "")
    return f"{case.id}: {about}" if about else case.id
