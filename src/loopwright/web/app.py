"""The workbench as a web application: rooms to read, one address to change the job at."""

from __future__ import annotations

from hashlib import sha256
from importlib.resources import files
from threading import Lock
from typing import Any

from fastapi import FastAPI, HTTPException, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, PackageLoader, StrictUndefined

from loopwright.values.error import Problem
from loopwright.web.change import LONGEST_TEXT, Change, edit_of, moved
from loopwright.web.dictionary import plain_words
from loopwright.web.form import form_of
from loopwright.web.guard import LOOPBACK, Guard
from loopwright.web.page import Page, Query, working_of
from loopwright.web.place import link_to_cell
from loopwright.web.print_run import Clock, moment, paper
from loopwright.web.rooms.register import ROOMS, Room
from loopwright.web.session import Session
from loopwright.web.steps import Steps
from loopwright.web.told import told
from loopwright.web.working import figure_of


def create_app(session: Session, *, token: str | None, hosts: frozenset[str] = LOOPBACK, clock: Clock = moment) -> FastAPI:
    """Return the application for one open job. With a ``token`` only who brings it once is let in; ``hosts`` are its own names."""
    app = FastAPI(title="Loopwright", docs_url=None, redoc_url=None, openapi_url=None)
    app.middleware("http")(Guard(token=token, hosts=hosts))
    static = files("loopwright.web").joinpath("static")
    app.mount("/static", StaticFiles(directory=str(static)), name="static")
    draw = _Drawing(session, _version(static))
    _add_changing(app, draw, session)
    _add_asking(app, draw, session, clock)
    _add_reading(app, draw)
    return app


class _Drawing:
    """Draws rooms as HTML."""

    def __init__(self, session: Session, version: str) -> None:
        self.session = session
        self.version = version
        self.steps = Steps(session)
        self.templates = Environment(
            loader=PackageLoader("loopwright.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
        )
        self.templates.filters["words"] = plain_words
        self.templates.filters["capital"] = lambda text: text[:1].upper() + text[1:]
        self.rooms = {room.key: room for room in ROOMS}

    def room(self, key: str, query: Query, *, look: bool = False) -> str:
        """Return a room at the present revision; with ``look`` it says when the file on disk is newer.

        Raises HTTPException when there is none of that name.
        """
        room = self.rooms.get(key)
        if room is None:
            raise HTTPException(404)
        page = Page(state=self.session.state, room=key, query=query)
        elsewhere = look and self.session.changed_on_disk()
        return self.templates.get_template(f"{key}.html").render(
            **self._frame(page, room), steps=self.steps, elsewhere=elsewhere, **room.view(page)
        )

    def _frame(self, page: Page, room: Room) -> dict[str, Any]:
        return {"page": page, "here": room, "rooms": ROOMS, "version": self.version, "file": self.session.file.name, "job": page.job}

    def working(self, key: str) -> str:
        """Return a figure's working as a page of its own. Raises HTTPException when there is no such figure."""
        figure = figure_of(self.session.state.appraisal, key)
        if figure is None:
            raise HTTPException(404)
        return self.templates.get_template("working.html").render(
            figure=figure, body=working_of(figure), version=self.version, job=self.session.state.job
        )

    def form(self, what: str) -> str:
        """Return the form that puts something into a part of the document. Raises HTTPException where nothing can be put in."""
        form = form_of(self.session.state.job, what)
        if form is None:
            raise HTTPException(404)
        return self.templates.get_template("form.html").render(form=form)


def _version(static: Any) -> str:  # noqa: ANN401 - a Traversable is not exported under one name in every version
    """Return a mark of the static files' content, so that a browser keeps them until they change."""
    digest = sha256()
    for entry in sorted(static.iterdir(), key=lambda item: item.name):
        digest.update(entry.read_bytes())
    return digest.hexdigest()[:10]


def _add_asking(app: FastAPI, draw: _Drawing, session: Session, clock: Clock) -> None:
    """Add what a page asks for besides rooms."""

    @app.get("/go")
    def go(path: str) -> Response:
        return RedirectResponse(link_to_cell(path[:300]), status_code=303)

    @app.get("/choices")
    def choices() -> Response:
        return JSONResponse(Page(state=session.state, room="front", query=Query()).lists)

    @app.get("/form")
    def form(what: str) -> Response:
        return HTMLResponse(draw.form(what[:300]))

    @app.get("/papers/{name}.pdf")
    def papers(name: str) -> Response:
        made = paper(session.state, name, clock())
        if made is None:
            raise HTTPException(404)
        return Response(made, media_type="application/pdf", headers={"Content-Disposition": f'attachment; filename="{name}.pdf"'})

    @app.get("/revision")
    def revision() -> Response:
        return JSONResponse({"revision": session.state.revision, "elsewhere": session.changed_on_disk()})


def _add_reading(app: FastAPI, draw: _Drawing) -> None:
    @app.get("/working")
    def working(key: str) -> Response:
        return HTMLResponse(draw.working(key))

    @app.get("/")
    def front(request: Request) -> Response:
        return HTMLResponse(draw.room("front", Query.of(request.url.query), look=True))

    @app.get("/{room}")
    def room(room: str, request: Request) -> Response:
        if room == "front":
            raise HTTPException(404)
        return HTMLResponse(draw.room(room, Query.of(request.url.query), look=True))


def _add_changing(app: FastAPI, draw: _Drawing, session: Session) -> None:
    one_at_a_time = Lock()

    @app.exception_handler(RequestValidationError)
    async def unfit(request: Request, error: RequestValidationError) -> Response:
        long = any(item["type"] == "string_too_long" for item in error.errors())
        words = f"That is too long: at most {LONGEST_TEXT} characters." if long else "That is no change this program knows."
        return JSONResponse({"problems": [{"path": "", "message": words}]}, status_code=422)

    @app.post("/edit")
    def edit(change: Change) -> Response:
        with one_at_a_time:
            now = moved(change, session.state.job)
            problems, stale = _made(session, draw.steps, change)
            shows = stale or now is not None or not problems
            return JSONResponse(
                {
                    "revision": session.state.revision,
                    "problems": told(problems, change, session.state.job),
                    "now": now if problems else None,
                    "elsewhere": bool(problems) and not shows and session.changed_on_disk(),
                    "page": draw.room(change.room, Query.of(change.query)) if shows else "",
                }
            )


def _made(session: Session, steps: Steps, change: Change) -> tuple[tuple[Problem, ...], bool]:
    """Make a change; return what keeps it from being made, and whether the page was drawn before the last change."""
    if change.do in ("undo", "redo"):
        return _stepped(session, steps, change)
    before, job = session.state.back, session.state.job
    if change.do == "reload":
        problems = session.reload()
    else:
        problems = session.edit(lambda job: edit_of(change, job), mark=change.mark)
    if not problems:
        steps.note(change, before, job)
    return problems, False


def _stepped(session: Session, steps: Steps, change: Change) -> tuple[tuple[Problem, ...], bool]:
    """Go a step back or forward, unless something has happened that the page did not show when it was asked for."""
    if change.revision is not None and change.revision != session.state.revision:
        next_step = steps.undo if change.do == "undo" else steps.redo
        name = change.do.capitalize()
        words = f"There is nothing to {change.do}."
        if next_step:
            words = f"{name} would now take: {next_step}. Press {name} again if that is meant."
        message = f"The job was changed in another window since this page was drawn. {words}"
        return (Problem(path="", line=0, column=0, message=message),), True
    return (session.undo() if change.do == "undo" else session.redo()), False
