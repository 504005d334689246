"""The workbench as a web application: rooms to read, one address to change the job at."""

from __future__ import annotations

from hashlib import sha256
from importlib.resources import files
from typing import Any

from fastapi import FastAPI, HTTPException, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from fastapi.staticfiles import StaticFiles
from jinja2 import Environment, PackageLoader, StrictUndefined

from loopwright.values.error import Problem
from loopwright.web.change import Change, edit_of
from loopwright.web.dictionary import field_words, plain_words
from loopwright.web.guard import LOOPBACK, Guard
from loopwright.web.page import Page, Query, working_of
from loopwright.web.place import link_to_cell
from loopwright.web.rooms.register import ROOMS, Room
from loopwright.web.session import Session
from loopwright.web.working import figure_of

PATIENCE_S = 2


def create_app(session: Session, *, token: str | None, hosts: frozenset[str] = LOOPBACK) -> FastAPI:
    """Return the application for one open job. With a ``token`` only who brings it once is let in; ``hosts`` are its own names."""
    app = FastAPI(title="Loopwright", docs_url=None, redoc_url=None, openapi_url=None)
    app.middleware("http")(Guard(token=token, hosts=hosts))
    static = files("loopwright.web").joinpath("static")
    app.mount("/static", StaticFiles(directory=str(static)), name="static")
    draw = _Drawing(session, _version(static))
    _add_reading(app, draw, session)
    _add_changing(app, draw, session)
    return app


class _Drawing:
    """Draws rooms as HTML."""

    def __init__(self, session: Session, version: str) -> None:
        self.session = session
        self.version = version
        self.templates = Environment(
            loader=PackageLoader("loopwright.web"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
        )
        self.templates.filters["words"] = plain_words
        self.templates.filters["field"] = field_words
        self.rooms = {room.key: room for room in ROOMS}

    def room(self, key: str, query: Query) -> str:
        """Return a room at the present revision. Raises HTTPException when there is none of that name."""
        room = self.rooms.get(key)
        if room is None:
            raise HTTPException(404)
        page = Page(state=self.session.state, room=key, query=query)
        return self.templates.get_template(f"{key}.html").render(**self._frame(page, room), **room.view(page))

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


def _version(static: Any) -> str:  # noqa: ANN401 - a Traversable is not exported under one name in every version
    """Return a mark of the static files' content, so that a browser keeps them until they change."""
    digest = sha256()
    for entry in sorted(static.iterdir(), key=lambda item: item.name):
        digest.update(entry.read_bytes())
    return digest.hexdigest()[:10]


def _add_reading(app: FastAPI, draw: _Drawing, session: Session) -> None:
    @app.get("/working")
    def working(key: str) -> Response:
        return HTMLResponse(draw.working(key))

    @app.get("/go")
    def go(path: str) -> Response:
        return RedirectResponse(link_to_cell(path[:300]), status_code=303)

    @app.get("/choices")
    def choices() -> Response:
        return JSONResponse(Page(state=session.state, room="front", query=Query()).lists)

    @app.get("/revision")
    def revision() -> Response:
        return JSONResponse({"revision": session.state.revision, "elsewhere": session.changed_on_disk()})

    @app.get("/")
    def front(request: Request) -> Response:
        return HTMLResponse(draw.room("front", Query.of(request.url.query)))

    @app.get("/{room}")
    def room(room: str, request: Request) -> Response:
        if room == "front":
            raise HTTPException(404)
        return HTMLResponse(draw.room(room, Query.of(request.url.query)))


def _add_changing(app: FastAPI, draw: _Drawing, session: Session) -> None:
    @app.post("/edit")
    def edit(change: Change) -> Response:
        problems = _made(session, change)
        told = [{"path": item.path, "message": _told(item)} for item in problems]
        return JSONResponse(
            {
                "revision": session.state.revision,
                "problems": told,
                "elsewhere": bool(problems) and session.changed_on_disk(),
                "page": draw.room(change.room, Query.of(change.query)) if not problems else "",
            }
        )


def _made(session: Session, change: Change) -> tuple[Problem, ...]:
    match change.do:
        case "undo":
            return session.undo()
        case "redo":
            return session.redo()
        case "reload":
            return session.reload()
    return session.edit(lambda job: edit_of(change, job), mark=change.mark)


def _told(problem: Problem) -> str:
    """Return a problem in the file's own words; the line is left out, since the cell itself is the place."""
    return problem.message + (f" Accepted: {problem.accepted}." if problem.accepted else "")
