"""The address at which something is said on site."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.values.error import JobError
from loopwright.web.drawn import Drawn
from loopwright.web.keying_said import add_keying
from loopwright.web.page import Query
from loopwright.web.print_run import Clock
from loopwright.web.rights import demands
from loopwright.web.session import Session
from loopwright.web.site_change import SiteChange
from loopwright.web.site_old import begun
from loopwright.web.visiting import OnSite
from loopwright.web.visitor import visitor_of

ROOM = "on-site"
LONGEST_UNIT = 64


def add_on_site(app: FastAPI, draw: Drawn, session: Session, clock: Clock) -> None:
    """Add the address of the room, and the one visit there is of the job."""
    site = draw.on_site = OnSite(session, clock)
    add_keying(app, draw, session, site)

    @app.get(f"/{ROOM}/taken-over.yaml")
    @demands(Right.READ_JOB)
    def taken_over(unit: str = "") -> Response:
        state = session.state
        try:
            text = begun(state.job, state.text, site.file.load(), unit[:LONGEST_UNIT])
        except (JobError, StoreError) as error:
            return PlainTextResponse(f"{error}\n", status_code=409)
        if text is None:
            return PlainTextResponse("No old pair is read yet that a job could start from.\n", status_code=404)
        return Response(text, media_type="application/yaml", headers={"Content-Disposition": 'attachment; filename="taken-over.yaml"'})

    @app.post(f"/{ROOM}")
    @demands(Right.ENTER_READINGS)
    def said(change: SiteChange, request: Request) -> Response:
        visitor = visitor_of(request)
        before = session.state.revision
        problems = site.make(change, visitor)
        if not problems and change.do == "record":
            draw.steps.call("readings of this visit put on record", before)
        told = [{"path": each.path, "message": each.message} for each in problems]
        page = draw.room(ROOM, Query.of(change.query), visitor, held=change.held)
        return JSONResponse({"problems": told, "page": page})
