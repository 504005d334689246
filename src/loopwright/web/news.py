"""What others have changed since a page was drawn, asked for by the page every few seconds."""

from __future__ import annotations

from typing import Annotated

from fastapi import FastAPI, Query, Request
from fastapi.responses import JSONResponse, Response

from loopwright.store.person import Right
from loopwright.web.change import MOST_REVISIONS
from loopwright.web.drawn import Drawn
from loopwright.web.rights import demands
from loopwright.web.session import Session
from loopwright.web.visitor import visitor_of


def add_news(app: FastAPI, draw: Drawn, session: Session) -> None:
    """Add the address that says whether a page is still what the job is, and who has done what since."""

    @app.get("/revision")
    @demands(Right.READ_JOB)
    def revision(request: Request, since: Annotated[int | None, Query(ge=0, le=MOST_REVISIONS)] = None) -> Response:
        elsewhere, now = session.changed_on_disk(), session.state.revision
        news = "" if since is None or since >= now else draw.steps.news(since, visitor_of(request).name)
        return JSONResponse({"revision": now, "elsewhere": elsewhere, "news": news, "copied": session.copied()})
