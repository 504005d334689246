"""The addresses of a proving: where something is said, where a page waits for what arrives, and the table and the record as files."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from fastapi import FastAPI, Request
from fastapi.responses import JSONResponse, Response

from loopwright.prove.item import Proof
from loopwright.prove.picture import UNFIT
from loopwright.prove.table import event_table
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.sheetfile import csv_bytes
from loopwright.values.error import JobError, Problem
from loopwright.web.api.waiting import Waiting
from loopwright.web.drawn import Drawn
from loopwright.web.page import Query
from loopwright.web.port_asked import add_port
from loopwright.web.print_run import Clock, revision_of
from loopwright.web.prove_change import By, ProveChange, changed, said_at, taken
from loopwright.web.prove_record import on_record
from loopwright.web.proving import Proving
from loopwright.web.rights import MAY_NOT, demands
from loopwright.web.session import Session
from loopwright.web.site_change import problems_of, refuse
from loopwright.web.visitor import Visitor, visitor_of

ROOM = "prove"
WAIT_S = 6.0
"""A page that is left is noticed only when this is over [s]; so long too an act may go unanswered before it is called out."""
LONGEST_TAG = 120
PORT_OPEN = "Not yet. The port of the test is still open on this machine: close it above, and have the unit report to the receiving centre."


def add_prove(app: FastAPI, draw: Drawn, session: Session, clock: Clock) -> None:
    """Add the addresses of the room, and the one proving there is of the job."""
    proving = draw.prove = Proving(session, clock)
    waiting = Waiting(session)
    add_port(app, draw, session, proving)

    @app.post(f"/{ROOM}")
    @demands(Right.ENTER_READINGS)
    def said(change: ProveChange, request: Request) -> Response:
        visitor = visitor_of(request)
        before = session.state.revision
        problems = make(proving, session, change, visitor)
        if not problems and change.do == "record":
            draw.steps.call("readings of this proving put on record", before)
        told = [{"path": each.path, "message": each.message} for each in problems]
        page = draw.room(ROOM, Query.of(change.query), visitor, held=change.held)
        return JSONResponse({"problems": told, "page": page})

    @app.get(f"/{ROOM}/news")
    @demands(Right.READ_JOB)
    async def news(request: Request, known: str = "") -> Response:
        await waiting.while_same(request, lambda: proving.tag() == known[:LONGEST_TAG], WAIT_S)
        return JSONResponse({"tag": proving.tag()})

    @app.get(f"/{ROOM}/event-table.csv")
    @demands(Right.READ_JOB)
    def table() -> Response:
        found = proving.found(session.state.appraisal)
        rows = event_table(found)
        return _file(csv_bytes(rows), "event-table.csv", "text/csv; charset=utf-8")

    @app.get(f"/{ROOM}/photo/{{digest}}.jpg")
    @demands(Right.READ_JOB)
    def photo(digest: str) -> Response:
        jpeg = proving.photos.get(digest[:LONGEST_TAG])
        return Response(status_code=404) if jpeg is None else Response(jpeg, media_type="image/jpeg")

    @app.get(f"/{ROOM}/{{name}}.pdf")
    @demands(Right.READ_JOB)
    def paper(name: str) -> Response:
        # Only here: the typesetter is a tenth of a second of start-up.
        from loopwright.papers.proving import PROVING_PAPERS

        made = PROVING_PAPERS.get(name)
        if made is None:
            return Response(status_code=404)
        state = session.state
        found = proving.found(state.appraisal)
        pdf = made(proving.photos.shown(found), revision=revision_of(state), now=found.now)
        return _file(pdf, f"{name}.pdf", "application/pdf")


def make(proving: Proving, session: Session, change: ProveChange, visitor: Visitor) -> tuple[Problem, ...]:
    """Make what was posted; return what keeps it from being made."""
    appraisal, now = session.state.appraisal, proving.clock()
    by = By(name=visitor.name, at=said_at(change, now))
    if change.do in ("issue", "anew") and not visitor.may(Right.CHANGE_JOB):
        return (Problem(path="", line=0, column=0, message=MAY_NOT[Right.CHANGE_JOB]),)
    try:
        if change.do == "anew":
            with _photographed(proving, change):
                proving.file.begin_anew(mark=change.mark, of=change.record, after=proving.last())
            return ()
        if change.do == "record":
            found = proving.found(appraisal)
            told = f"readings of the proving of {found.record.begun_at[:10]} on record"
            return session.edit(lambda job: on_record(job, found), mark=change.mark, by=visitor.name, summary=told)
        if change.do == "close" and proving.port is not None and proving.port() is not None:
            refuse("", PORT_OPEN)
        with _photographed(proving, change):
            items = {item.key: item for item in proving.due(appraisal).items}
            proving.file.change(
                lambda record: changed(change, record, appraisal.job, items, by, lambda said: proving.found(appraisal, said)),
                mark=change.mark, of=change.record, by=visitor.name, at=by.at,
            )  # fmt: skip
    except (JobError, StoreError) as error:
        return problems_of(error)
    return ()


@contextmanager
def _photographed(proving: Proving, change: ProveChange) -> Iterator[None]:
    """Keep a photograph before anything speaks of it, and let go of those nothing speaks of any more; of other changes do nothing.

    What cannot be printed is refused: it would keep the record from being made.
    """
    if change.do != "anew" and not change.key.startswith(f"{Proof.PHOTO}:"):
        yield
        return
    with proving.photographing:
        if change.do == "photo":
            _keep_photo(proving, change)
        try:
            yield
        finally:
            proving.photos.keep_only(proving.file.load().photos)


def _keep_photo(proving: Proving, change: ProveChange) -> None:
    # Only here: the typesetter is a tenth of a second of start-up.
    from loopwright.papers.press import printable

    picture = taken(change)
    if not printable(picture.jpeg):
        refuse("photo", UNFIT)
    proving.photos.put(picture)


def _file(content: bytes, name: str, kind: str) -> Response:
    return Response(content, media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
