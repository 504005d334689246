"""The one address at which a page changes the job."""

from __future__ import annotations

from dataclasses import replace
from threading import Lock

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response

from loopwright.job.read import read
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.values.error import JobError, Problem
from loopwright.web.change import Change, edit_of, moved, refuse_moved
from loopwright.web.drawn import Drawn
from loopwright.web.joining import choices
from loopwright.web.page import Query
from loopwright.web.rights import TO_EDIT, demands, refuse
from loopwright.web.session import Session
from loopwright.web.steps import Steps
from loopwright.web.told import told
from loopwright.web.visitor import visitor_of

WAYS = {"undo": -1, "redo": 1}
READINGS = "observations"


def add_changing(app: FastAPI, draw: Drawn, session: Session) -> None:
    """Add the address that edits, undo and redo are posted to."""
    one_at_a_time = Lock()

    @app.post("/edit")
    @demands(TO_EDIT)
    def edit(change: Change, request: Request) -> Response:
        with one_at_a_time:
            visitor = visitor_of(request)
            if not visitor.may(Right.CHANGE_JOB) and not _of_readings(change, session, visitor.name):
                refuse(visitor, Right.CHANGE_JOB)
            elsewhere, seen = change.do != "reload" and session.changed_on_disk(), session.state.revision
            now = moved(change, session.state.job)
            problems = _made(session, draw.steps, change, visitor.name)
            # A page that shows an older revision is drawn anew, so that a second press is meant for what is there.
            shows = not problems or now is not None or change.revision not in (None, seen)
            return JSONResponse(
                {
                    "revision": session.state.revision,
                    "problems": told(problems, change, session.state.job),
                    "now": now if problems else None,
                    "choices": choices(session.clashes(WAYS[change.do], by=visitor.name)) if problems and change.do in WAYS else [],
                    "elsewhere": bool(problems) and elsewhere,
                    "page": draw.room(change.room, Query.of(change.query), visitor, held=change.held) if shows else "",
                }
            )


def _of_readings(change: Change, session: Session, by: str) -> bool:
    """Return whether a change, or the step it goes back or forward, touches nothing but the readings on record."""
    if change.do in ("set", "add", "remove"):
        return change.path.partition("/")[0] == READINGS
    if change.do not in WAYS:
        return False
    try:
        step = session.next_step(WAYS[change.do], by=by)
        if step is None:
            return True
        before, after = (replace(read(session.text_at(number)).job, observations=()) for number in (step.number - 1, step.number))
    except (JobError, StoreError):
        return False
    return before == after


def _made(session: Session, steps: Steps, change: Change, by: str) -> tuple[Problem, ...]:
    """Make a change; return what keeps it from being made."""
    if change.do in WAYS:
        return _stepped(session, steps, change, by)
    before, job = session.state.revision, session.state.job
    if change.do == "reload":
        problems = session.reload(by=by)
    else:
        problems = session.edit(
            lambda job: edit_of(change, job), mark=change.mark, by=by, at=change.revision, look=lambda job: refuse_moved(change, job)
        )
    if not problems:
        steps.note(change, before, job)
    return problems


def _stepped(session: Session, steps: Steps, change: Change, by: str) -> tuple[Problem, ...]:
    """Go a step back or forward, unless that is another one by now than the page showed."""
    way, at = WAYS[change.do], change.revision
    if at is not None and session.next_step(way, by=by, at=at) != session.next_step(way, by=by):
        next_step = steps.of(by)[change.do == "redo"]
        name = change.do.capitalize()
        words = f"There is nothing to {change.do}."
        if next_step:
            words = f"{name} would now take: {next_step}. Press {name} again if that is meant."
        message = f"You changed the job in another window since this page was drawn. {words}"
        return (Problem(path="", line=0, column=0, message=message),)
    # What was chosen was chosen between the values of then.
    side = change.side if at == session.state.revision else None
    return session.undo(by=by, side=side) if way < 0 else session.redo(by=by, side=side)
