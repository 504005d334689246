"""The worker that stands before a room in the browser, for when this program cannot be reached from there."""

from __future__ import annotations

from importlib.resources import files

from fastapi import FastAPI
from fastapi.responses import Response

from loopwright.store.person import Right
from loopwright.web.rights import demands

_AWAY = files("loopwright.web").joinpath("static", "away.js")


def add_away(app: FastAPI) -> None:
    """Add its address, beside the rooms it may serve: a worker serves what lies below its own address, and no other job's."""

    @app.get("/away.js")
    @demands(Right.READ_JOB)
    def away() -> Response:
        return Response(_AWAY.read_text(encoding="utf-8"), media_type="text/javascript")
