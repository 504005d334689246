"""The API as an application of its own, so that what goes wrong in it is told to programs and not to people."""

from __future__ import annotations

from functools import cached_property
from typing import Any

from fastapi import Depends, FastAPI, Request, Security
from fastapi.exceptions import RequestValidationError
from fastapi.security import HTTPBearer
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response
from starlette.types import Receive, Scope, Send

from loopwright.store.file import StoreError
from loopwright.values.error import JobError, Problem
from loopwright.web.api.asking import asking
from loopwright.web.api.changing import changing
from loopwright.web.api.document import document
from loopwright.web.api.entry import NOTHING
from loopwright.web.api.problem import Refused, problem
from loopwright.web.api.reading import reading
from loopwright.web.print_run import Clock
from loopwright.web.rights import NotAllowed, allowed
from loopwright.web.session import Session

VERSION = "/v1"
UNFIT = "What was sent is not in the form this takes; api/openapi.json says which form that is."
_BEARER = HTTPBearer(auto_error=False, description="A token made at the machine: `loopwright token FILE make NAME`.")


class Api:
    """The API of one open job, made when it is first asked for: most who open a job never do, and it takes a tenth of a second."""

    def __init__(self, session: Session, clock: Clock) -> None:
        self._session, self._clock = session, clock

    @cached_property
    def app(self) -> FastAPI:
        """The application, made."""
        return create_api(self._session, self._clock)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        await self.app(scope, receive, send)


def create_api(session: Session, clock: Clock) -> FastAPI:
    """Return the API of one open job. Who asks has been found out before, and stands on the request."""
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None, redirect_slashes=False)
    asked: list[Any] = [Depends(allowed), Security(_BEARER), Depends(nothing_unknown)]
    for routes in (reading(session, clock), asking(session), changing(session)):
        app.include_router(routes, prefix=VERSION, dependencies=asked)
    _add_refusals(app)
    made: list[dict[str, Any]] = []

    @app.get("/openapi.json", include_in_schema=False)
    def openapi() -> Response:
        if not made:
            made.append(document(app))
        return JSONResponse(made[0])

    return app


async def nothing_unknown(request: Request) -> None:
    """Refuse a question in the address that nobody answers: left unread, a slip of the pen would look like an answer. Raises Refused."""
    known = {field.alias for field in request.scope["route"].dependant.query_params}
    for name in request.query_params:
        if name not in known:
            accepted = f" Accepted: {', '.join(sorted(known))}." if known else " It takes none."
            raise Refused(422, f"This address does not take what was asked behind its question mark.{accepted}")


def _add_refusals(app: FastAPI) -> None:
    @app.exception_handler(Refused)
    async def refused(request: Request, error: Refused) -> Response:
        return error.answer()

    @app.exception_handler(NotAllowed)
    async def not_allowed(request: Request, error: NotAllowed) -> Response:
        return problem(403, str(error))

    @app.exception_handler(StoreError)
    async def unreachable(request: Request, error: StoreError) -> Response:
        return problem(503, str(error))

    @app.exception_handler(JobError)
    async def no_job(request: Request, error: JobError) -> Response:
        return problem(422, str(error.problems[0]), error.problems)

    @app.exception_handler(RequestValidationError)
    async def unfit(request: Request, error: RequestValidationError) -> Response:
        return problem(422, UNFIT, [_fault(each) for each in error.errors()])

    @app.exception_handler(HTTPException)
    async def nothing_here(request: Request, error: HTTPException) -> Response:
        words = {404: NOTHING, 405: "This address does not take that method."}
        status = 422 if error.status_code == 400 else error.status_code
        return problem(status, words.get(status, UNFIT), headers=error.headers)


def _fault(error: dict[str, Any]) -> Problem:
    """Return a fault in the form of a request; what was sent is not repeated."""
    where = "/".join(str(part) for part in error["loc"])[:200]
    return Problem(path="", line=0, column=0, message=f"{where}: {error['msg']}")
