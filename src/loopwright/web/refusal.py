"""What somebody is told who may not do what was asked for, or asked for what there is not: on a page, or in the words a page shows."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.exception_handlers import http_exception_handler
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, Response
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect

from loopwright.web.drawn import Outside
from loopwright.web.rights import GIVEN_PASSWORD, NotAllowed
from loopwright.web.visitor import visitor_of

GONE, NOT_ALLOWED, NOT_THERE, UNFIT = 400, 403, 404, 422
TOO_LONG = "That is too long: at most {most} characters stand here. Write it shorter."
NO_CHANGE = "That is no change this program knows."
NOTHING_THERE = "Nothing is at this address. What it led to may have been taken out or named anew since."


def add_refusal(app: FastAPI, draw: Outside) -> None:
    """Have NotAllowed answered wherever it is raised, what has no form this program knows, and an address with nothing at it."""

    @app.exception_handler(NotAllowed)
    async def refused(request: Request, error: NotAllowed) -> Response:
        words = str(error)
        if not is_visit(request):
            return JSONResponse({"problems": [{"path": "", "message": words}]}, status_code=NOT_ALLOWED)
        visitor = visitor_of(request)
        page = draw.alone("refused.html", heading="This was not done", words=words, visitor=visitor, change=words == GIVEN_PASSWORD)
        return HTMLResponse(page, status_code=NOT_ALLOWED)

    @app.exception_handler(ClientDisconnect)
    async def gone(request: Request, error: ClientDisconnect) -> Response:
        # Whoever sent half a body reads no answer; it is no fault of this program for the log to tell.
        return Response(status_code=GONE)

    @app.exception_handler(RequestValidationError)
    async def unfit(request: Request, error: RequestValidationError) -> Response:
        # The library's own answer repeats what was sent, and that may be a password.
        path, words = fault_of(error)
        if not is_visit(request):
            return JSONResponse({"problems": [{"path": path, "message": words}]}, status_code=UNFIT)
        page = draw.alone("refused.html", heading="This was not done", words=words, visitor=visitor_of(request), change=False)
        return HTMLResponse(page, status_code=UNFIT)

    @app.exception_handler(HTTPException)
    async def missing(request: Request, error: HTTPException) -> Response:
        if error.status_code != NOT_THERE or not is_visit(request):
            return await http_exception_handler(request, error)
        page = draw.alone("refused.html", heading="Not here", words=NOTHING_THERE, visitor=visitor_of(request), change=False)
        return HTMLResponse(page, status_code=NOT_THERE)


def fault_of(error: RequestValidationError) -> tuple[str, str]:
    """Return the field that does not fit and why, of nothing that was sent a word; a field is named where a text is too long for it."""
    long = next((item for item in error.errors() if item["type"] == "string_too_long"), None)
    if long is None:
        return "", NO_CHANGE
    field = long["loc"][-1]
    return field if isinstance(field, str) else "", TOO_LONG.format(most=long["ctx"]["max_length"])


def is_visit(request: Request) -> bool:
    """Return whether a browser asks for a page to show, rather than a page for something it needs."""
    mode = request.headers.get("sec-fetch-mode", "")
    return mode == "navigate" if mode else "text/html" in request.headers.get("accept", "")
