"""The one address at which a page changes the job."""

from __future__ import annotations

from threading import Lock

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response

from loopwright.store.person import Right
from loopwright.values.error import Problem
from loopwright.web.change import LONGEST_TEXT, Change, edit_of, moved
from loopwright.web.drawn import Drawn
from loopwright.web.page import Query
from loopwright.web.rights import demands
from loopwright.web.session import Session
from loopwright.web.steps import Steps
from loopwright.web.told import told
from loopwright.web.visitor import visitor_of


def add_changing(app: FastAPI, draw: Drawn, session: Session) -> None:
    """Add the address that edits, undo and redo are posted to."""
    one_at_a_time = Lock()

    @app.exception_handler(RequestValidationError)
    async def unfit(request: Request, error: RequestValidationError) -> Response:
        long = any(item["type"] == "string_too_long" for item in error.errors())
        words = f"That is too long: at most {LONGEST_TEXT} characters." if long else "That is no change this program knows."
        return JSONResponse({"problems": [{"path": "", "message": words}]}, status_code=422)

    @app.post("/edit")
    @demands(Right.CHANGE_JOB)
    def edit(change: Change, request: Request) -> Response:
        with one_at_a_time:
            now = moved(change, session.state.job)
            problems, stale = _made(session, draw.steps, change, visitor_of(request).name)
            shows = stale or now is not None or not problems
            return JSONResponse(
                {
                    "revision": session.state.revision,
                    "problems": told(problems, change, session.state.job),
                    "now": now if problems else None,
                    "elsewhere": bool(problems) and not shows and session.changed_on_disk(),
                    "page": draw.room(change.room, Query.of(change.query), visitor_of(request)) if shows else "",
                }
            )


def _made(session: Session, steps: Steps, change: Change, by: str) -> tuple[tuple[Problem, ...], bool]:
    """Make a change; return what keeps it from being made, and whether the page was drawn before the last change."""
    if change.do in ("undo", "redo"):
        return _stepped(session, steps, change, by)
    before, job = session.state.back, session.state.job
    if change.do == "reload":
        problems = session.reload(by=by)
    else:
        problems = session.edit(lambda job: edit_of(change, job), mark=change.mark, by=by)
    if not problems:
        steps.note(change, before, job)
    return problems, False


def _stepped(session: Session, steps: Steps, change: Change, by: str) -> tuple[tuple[Problem, ...], bool]:
    """Go a step back or forward, unless something has happened that the page did not show when it was asked for."""
    if change.revision is not None and change.revision != session.state.revision:
        next_step = steps.undo if change.do == "undo" else steps.redo
        name = change.do.capitalize()
        words = f"There is nothing to {change.do}."
        if next_step:
            words = f"{name} would now take: {next_step}. Press {name} again if that is meant."
        message = f"The job was changed in another window since this page was drawn. {words}"
        return (Problem(path="", line=0, column=0, message=message),), True
    return (session.undo(by=by) if change.do == "undo" else session.redo(by=by)), False
