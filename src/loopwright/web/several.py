"""Several jobs in one workbench: the list of all premises, and each job below a prefix of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import Receive, Scope, Send

from loopwright.store.api_token import ApiTokens
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.values.error import JobError
from loopwright.web.api.entry import CHALLENGE, NO_TOKEN, ApiEntry, in_api
from loopwright.web.api.problem import problem
from loopwright.web.app import guarded_app, version
from loopwright.web.desk_asked import add_desk_of_folder
from loopwright.web.desking import Desk
from loopwright.web.drawn import Outside
from loopwright.web.glance import Glances
from loopwright.web.guard import LOOPBACK
from loopwright.web.new_premises import add_new_premises
from loopwright.web.print_run import moment
from loopwright.web.refusal import add_refusal, is_visit
from loopwright.web.rights import demands, refuse
from loopwright.web.shelf import Shelf, TokensOf
from loopwright.web.visitor import NOBODY, SOMEBODY, Visitor, visitor_of
from loopwright.web.within import AT, name_in, place_of

if TYPE_CHECKING:
    from loopwright.web.entrance import Entrance

NOT_THERE, UNREADABLE = 404, 422


def create_several(
    shelf: Shelf,
    *,
    token: str | None,
    hosts: frozenset[str] = LOOPBACK,
    visitor: Visitor = SOMEBODY,
    tokens_of: TokensOf,
    entrance: Entrance | None = None,
    first: str = "",
) -> FastAPI:
    """Return the application for the jobs of a folder. The guard, the entrance and the people are there once, for all of them.

    ``tokens_of`` gives the API tokens of a job file; those of one job count below its own prefix alone. ``first`` is the job
    the printed address leads to; left out it is the list of all. The rest is as for one job alone (``create_app``).
    """

    def tokens_at(path: str) -> ApiTokens | None:
        try:
            return tokens_of(shelf.folder.path_of(name_in(path)))
        except StoreError:
            return None

    app = guarded_app(
        token=token, hosts=hosts, visitor=visitor, api=ApiEntry(tokens_at), entrance=entrance, first=place_of(first) if first else "/"
    )
    app.state.vaults = shelf
    draw = Outside(version(), several=True)
    add_refusal(app, draw)
    if entrance is not None:
        from loopwright.web.coming_in import add_entrance

        add_entrance(app, draw, entrance)
        shelf.sittings = entrance.sittings
    _add_list(app, draw, shelf)
    add_new_premises(app, draw, shelf.folder)
    add_desk_of_folder(app, draw, Desk(shelf.folder.path, None, moment))
    app.mount(AT.rstrip("/"), Part(shelf, draw))
    return app


def _add_list(app: FastAPI, draw: Outside, shelf: Shelf) -> None:
    glances = Glances(shelf.folder)

    @app.get("/")
    @demands(Right.READ_JOB)
    def all_premises(request: Request) -> Response:
        visitor, trouble = visitor_of(request), ""
        try:
            found = glances.all()
        except StoreError as error:
            found, trouble = (), str(error)
        rows = [(each, place_of(each.entry.name), shelf.musts(each.entry.name)) for each in found]
        page = draw.alone(
            "all-premises.html", visitor=visitor, rows=rows, trouble=trouble, folder=shelf.folder.path.name,
            may_add=visitor.may(Right.CHANGE_JOB), may_desk=visitor.may(Right.WORK_ALARMS), unread=any(not each.looked for each in found),
        )  # fmt: skip
        return HTMLResponse(page)


class Part:
    """Hands what is asked below a job's prefix to that job, which is opened when it is first asked for."""

    def __init__(self, shelf: Shelf, draw: Outside) -> None:
        """Take the jobs, and what draws a page when there is no such job."""
        self._shelf = shelf
        self._draw = draw

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request. Raises NotAllowed."""
        if scope["type"] != "http":
            raise HTTPException(NOT_THERE)
        name, request = name_in(scope["path"]), Request(scope)
        refused = self._refused(request, name)
        if refused is not None:
            return await refused(scope, receive, send)
        try:
            held = await run_in_threadpool(self._shelf.take, name)
        except (StoreError, JobError) as error:
            return await self._not_open(request, error)(scope, receive, send)
        try:
            below = {**scope, "root_path": f"{scope.get('root_path', '')}/{name}"}
            await held.app(below, receive, send)
        finally:
            self._shelf.give_back(held)

    def _refused(self, request: Request, name: str) -> Response | None:
        """Return the answer to whoever may not read any job, so that none is opened for them, and to an address without its end."""
        if in_api(request):
            return problem(401, NO_TOKEN, headers=CHALLENGE) if visitor_of(request) is NOBODY else None
        refuse(visitor_of(request), Right.READ_JOB)
        if request.scope["path"] == f"{AT}{name}":
            return RedirectResponse(place_of(name), status_code=303)
        return None

    def _not_open(self, request: Request, error: StoreError | JobError) -> Response:
        status = UNREADABLE if isinstance(error, JobError) else NOT_THERE
        if in_api(request):
            return problem(status, str(error.problems[0]) if isinstance(error, JobError) else str(error))
        if not is_visit(request):
            return PlainTextResponse(f"{error}\n", status_code=status)
        page = self._draw.alone("not-opened.html", visitor=visitor_of(request), reasons=str(error).splitlines())
        return HTMLResponse(page, status_code=status)
