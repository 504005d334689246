"""What was before: old revisions looked up, named, explained and gone back to."""

from __future__ import annotations

import re
from collections import OrderedDict
from pathlib import PurePath
from threading import Lock
from typing import Annotated

from fastapi import FastAPI, HTTPException, Request
from fastapi.responses import JSONResponse, Response
from pydantic import BaseModel, Field

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.job.read import read
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.store import LONGEST_WORDS, Mark, Revision
from loopwright.values.error import Problem
from loopwright.web.rights import demands
from loopwright.web.session import Session
from loopwright.web.steps import Steps
from loopwright.web.visitor import visitor_of

MOST_KEPT = 6
"""Old revisions whose figures are kept, so that going to and fro between two computes each once."""
LONGEST_NUMBER = 9
LONGEST_FILE_NAME = 60
MOVED = "The job was changed since this page was drawn. Look again at what going back would take with it, then press again."


class Past:
    """The revisions of an open job, and the figures each of them had."""

    def __init__(self, session: Session) -> None:
        """Take the session; nothing is read yet."""
        self._session = session
        self._kept: OrderedDict[str, Appraisal] = OrderedDict()
        self._lock = Lock()

    def revisions(self, *, before: int | None, most: int) -> tuple[Revision, ...]:
        """Return a page of revisions, the latest first; nothing where no history is kept. Raises StoreError."""
        return self._session.history(before=before, most=most)

    def revision(self, number: int) -> Revision:
        """Return a revision. Raises StoreError."""
        return self._session.revision(number)

    def marks(self) -> tuple[Mark, ...]:
        """Return the names given to revisions. Raises StoreError."""
        return self._session.marks()

    def text(self, number: int) -> str:
        """Return the text of a revision. Raises StoreError."""
        return self._session.text_at(number)

    def number_of(self, said: str) -> int | None:
        """Return the revision that is meant by a number or a name; None when there is none. Raises StoreError."""
        if said.isdecimal() and said.isascii() and len(said) <= LONGEST_NUMBER:
            return int(said)
        return next((mark.revision for mark in self.marks() if mark.name == said), None)

    def appraisal(self, number: int) -> Appraisal:
        """Return what is computed from a revision. Raises StoreError, or JobError when this program cannot read it."""
        state = self._session.state
        text = self.text(number)
        if text == state.text:
            return state.appraisal
        with self._lock:
            if text not in self._kept:
                self._kept[text] = appraise(read(text).job)
            self._kept.move_to_end(text)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
            return self._kept[text]


class Noted(BaseModel, extra="forbid"):
    """What is to be noted of a revision: a name, or the reason for the present one."""

    words: str = Field(max_length=LONGEST_WORDS)
    number: Annotated[int, Field(ge=1, le=10**LONGEST_NUMBER)] = 1


class Wanted(BaseModel, extra="forbid"):
    """The revision to go back to, and the one the page showed as the present."""

    number: Annotated[int, Field(ge=1, le=10**LONGEST_NUMBER)]
    shown: int


def add_past(app: FastAPI, steps: Steps, session: Session) -> None:
    """Add the addresses at which revisions are named, explained, gone back to and taken away as files."""

    @app.post("/history/name")
    @demands(Right.CHANGE_JOB)
    def name(noted: Noted) -> Response:
        return _answer(session, session.name_revision(noted.words, noted.number))

    @app.post("/history/why")
    @demands(Right.CHANGE_JOB)
    def why(noted: Noted, request: Request) -> Response:
        return _answer(session, session.explain(noted.words, by=visitor_of(request).name))

    @app.post("/history/back")
    @demands(Right.CHANGE_JOB)
    def back(wanted: Wanted, request: Request) -> Response:
        with session.held():
            session.changed_on_disk()
            before = session.state.revision
            if before != wanted.shown:
                return _answer(session, (Problem(path="", line=0, column=0, message=MOVED),))
            problems = session.go_back(wanted.number, by=visitor_of(request).name)
            if not problems:
                steps.call(f"going back to revision {wanted.number}", before)
        return _answer(session, problems)

    @app.get("/history/{number}.yaml")
    @demands(Right.READ_JOB)
    def text(number: int) -> Response:
        if not 0 < number <= 10**LONGEST_NUMBER:
            raise HTTPException(404)
        try:
            found = session.text_at(number)
        except StoreError:
            raise HTTPException(404) from None
        named = file_name(session.file.name, number)
        headers = {"Content-Disposition": f'attachment; filename="{named}"'}
        return Response(found.encode("utf-8"), media_type="application/yaml", headers=headers)


def file_name(job: str, number: int) -> str:
    """Return a name for a revision written to a file, of letters every system takes.

    >>> file_name('shop "a"/é.yaml', 12)
    'shop-a-revision-12.yaml'
    """
    stem = re.sub(r"[^A-Za-z0-9_]+", "-", PurePath(job).with_suffix("").as_posix())[:LONGEST_FILE_NAME].strip("-")
    return f"{stem or 'job'}-revision-{number}.yaml"


def _answer(session: Session, problems: tuple[Problem, ...]) -> Response:
    return JSONResponse({"revision": session.state.revision, "problems": [problem.message for problem in problems]})
