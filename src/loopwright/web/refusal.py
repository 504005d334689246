"""What somebody is told who may not do what was asked for: on a page, or in the words a page shows."""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from loopwright.web.drawn import Outside
from loopwright.web.rights import GIVEN_PASSWORD, NotAllowed
from loopwright.web.visitor import visitor_of

NOT_ALLOWED = 403


def add_refusal(app: FastAPI, draw: Outside) -> None:
    """Have NotAllowed answered wherever it is raised."""

    @app.exception_handler(NotAllowed)
    async def refused(request: Request, error: NotAllowed) -> Response:
        words = str(error)
        if not is_visit(request):
            return JSONResponse({"problems": [{"path": "", "message": words}]}, status_code=NOT_ALLOWED)
        visitor = visitor_of(request)
        page = draw.alone("refused.html", words=words, visitor=visitor, change=words == GIVEN_PASSWORD)
        return HTMLResponse(page, status_code=NOT_ALLOWED)


def is_visit(request: Request) -> bool:
    """Return whether a browser asks for a page to show, rather than a page for something it needs."""
    mode = request.headers.get("sec-fetch-mode", "")
    return mode == "navigate" if mode else "text/html" in request.headers.get("accept", "")
