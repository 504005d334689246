"""The workbench as a web application: rooms to read, one address to change the job at."""

from __future__ import annotations

from functools import cache
from hashlib import sha256
from importlib.resources import files
from typing import TYPE_CHECKING

from fastapi import Depends, FastAPI, HTTPException, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from loopwright.store.api_token import ApiTokens
from loopwright.store.person import Right
from loopwright.web.api.app import Api
from loopwright.web.api.entry import ROOT, ApiEntry
from loopwright.web.away import add_away
from loopwright.web.change import LONGEST_TEXT
from loopwright.web.changing import add_changing
from loopwright.web.desk_asked import add_desk
from loopwright.web.drawn import Drawn
from loopwright.web.fragment import held_by
from loopwright.web.guard import LOOPBACK, Guard, went_wrong
from loopwright.web.lists import add_lists
from loopwright.web.news import add_news
from loopwright.web.on_site import add_on_site
from loopwright.web.page import Page, Query
from loopwright.web.past import add_past
from loopwright.web.place import link_to_cell
from loopwright.web.print_run import Clock, moment, paper
from loopwright.web.prove_asked import add_prove
from loopwright.web.refusal import add_refusal
from loopwright.web.rights import allowed, demands
from loopwright.web.search import add_searching
from loopwright.web.sending import LEAST_BYTES, LEVEL, OwnFiles, Packing
from loopwright.web.session import Session
from loopwright.web.vault_asked import add_secrets
from loopwright.web.vault_open import Sittings
from loopwright.web.visitor import NOBODY, SOMEBODY, Visitor, visitor_of

if TYPE_CHECKING:
    from loopwright.web.entrance import Entrance


def create_app(
    session: Session,
    *,
    token: str | None,
    hosts: frozenset[str] = LOOPBACK,
    clock: Clock = moment,
    visitor: Visitor = SOMEBODY,
    tokens: ApiTokens | None = None,
    entrance: Entrance | None = None,
) -> FastAPI:
    """Return the application for one open job. With a ``token`` only who brings it once is let in; ``hosts`` are its own names.

    ``visitor`` is who sits at this machine; ``tokens`` are those other programs come with. With an ``entrance`` people come in by it
    from elsewhere, and nobody is taken to sit at this machine.
    """
    app = guarded_app(token=token, hosts=hosts, visitor=visitor, api=ApiEntry(lambda _: tokens), entrance=entrance)
    _add_job(app, session, clock, entrance, sittings=None if entrance is None else entrance.sittings)
    return app


def create_part(session: Session, *, clock: Clock = moment, sittings: Sittings | None = None) -> FastAPI:
    """Return the application for one open job of several, to stand behind the guard of them all and below a prefix of its own.

    ``sittings`` says who is signed in there, None where nobody signs in.
    """
    app = _plain_app()
    _add_job(app, session, clock, None, several=True, sittings=sittings)
    return app


def guarded_app(
    *, token: str | None, hosts: frozenset[str], visitor: Visitor, api: ApiEntry, entrance: Entrance | None, first: str = "/"
) -> FastAPI:
    """Return an application that lets in who may come and has the program's own files; ``first`` is where the key leads."""
    app = _plain_app()
    visitor = visitor if entrance is None else NOBODY
    app.middleware("http")(Guard(token=token, visitor=visitor, hosts=hosts, api=api, entrance=entrance, first=first))
    app.add_exception_handler(Exception, went_wrong)
    app.add_middleware(Packing, minimum_size=LEAST_BYTES, compresslevel=LEVEL)
    app.mount("/static", OwnFiles(directory=str(files("loopwright.web").joinpath("static"))), name="static")
    return app


def _plain_app() -> FastAPI:
    return FastAPI(title="Loopwright", docs_url=None, redoc_url=None, openapi_url=None, dependencies=[Depends(allowed)])


def _add_job(
    app: FastAPI, session: Session, clock: Clock, entrance: Entrance | None, *, several: bool = False, sittings: Sittings | None = None
) -> None:
    app.mount(ROOT, Api(session, clock))
    draw = Drawn(session, version(), several=several)
    add_refusal(app, draw)
    add_changing(app, draw, session)
    add_news(app, draw, session)
    add_searching(app, session)
    add_lists(app, draw, session)
    add_past(app, draw.steps, session)
    add_secrets(app, draw, session, sittings)
    add_away(app)
    add_on_site(app, draw, session, clock)
    add_prove(app, draw, session, clock)
    add_desk(app, draw, session, clock)
    _add_asking(app, draw, session, clock)
    if entrance is not None:
        # Only here: whoever serves one machine alone needs no door, and its libraries cost a tenth of a second.
        from loopwright.web.coming_in import add_entrance

        add_entrance(app, draw, entrance)
    _add_reading(app, draw)


@cache
def version() -> str:
    """Return a mark of the static files' content, so that a browser keeps them until they change."""
    digest = sha256()
    for entry in sorted(files("loopwright.web").joinpath("static").iterdir(), key=lambda item: item.name):
        digest.update(entry.read_bytes())
    return digest.hexdigest()[:10]


def _add_asking(app: FastAPI, draw: Drawn, session: Session, clock: Clock) -> None:
    """Add what a page asks for besides rooms."""

    @app.get("/go")
    @demands(Right.READ_JOB)
    def go(path: str) -> Response:
        return RedirectResponse(link_to_cell(path[:300]), status_code=303)

    @app.get("/choices")
    @demands(Right.READ_JOB)
    def choices() -> Response:
        return JSONResponse(Page(state=session.state, room="front", query=Query()).lists)

    @app.get("/form")
    @demands(Right.READ_JOB)
    def form(what: str, request: Request, given: str = "") -> Response:
        noted = {"at": f"{clock():%Y-%m-%d %H:%M}", "by": visitor_of(request).name, "where": given[:LONGEST_TEXT]}
        return HTMLResponse(draw.form(what[:300], noted if what == "observations" else {}))

    @app.get("/papers/{name}.pdf")
    @demands(Right.READ_JOB)
    def papers(name: str) -> Response:
        made = paper(session.state, name, clock())
        if made is None:
            raise HTTPException(404)
        return Response(made, media_type="application/pdf", headers={"Content-Disposition": f'attachment; filename="{name}.pdf"'})


def _add_reading(app: FastAPI, draw: Drawn) -> None:
    @app.get("/working")
    @demands(Right.READ_JOB)
    def working(key: str) -> Response:
        return HTMLResponse(draw.working(key))

    @app.get("/")
    @demands(Right.READ_JOB)
    def front(request: Request) -> Response:
        return HTMLResponse(draw.room("front", Query.of(request.url.query), visitor_of(request), look=True, held=held_by(request)))

    @app.get("/{room}")
    @demands(Right.READ_JOB)
    def room(room: str, request: Request) -> Response:
        if room == "front":
            raise HTTPException(404)
        return HTMLResponse(draw.room(room, Query.of(request.url.query), visitor_of(request), look=True, held=held_by(request)))
