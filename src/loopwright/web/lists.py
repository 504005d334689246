"""Lists on screen: rows of a table taken out for a spreadsheet, and rows of a spreadsheet looked at and taken in as one step.

What is sent in is the file itself, or the text that was pasted; what was chosen for it travels beside it in a header. Nothing of it is
kept between two requests.
"""

from __future__ import annotations

from collections import OrderedDict
from threading import BoundedSemaphore

from fastapi import FastAPI, HTTPException, Request
from fastapi.responses import JSONResponse, Response
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool

from loopwright.job.cells import Grid, written
from loopwright.job.list_plan import LISTS, ListKind
from loopwright.job.listing import number_columns, rows_out
from loopwright.job.splice import difference
from loopwright.store.person import Right
from loopwright.store.sheetfile import ListError, csv_bytes, grid_of, xlsx_bytes
from loopwright.web.drawn import Drawn
from loopwright.web.list_view import ListView, Wishes, likeliest, list_view
from loopwright.web.rights import demands
from loopwright.web.session import Session
from loopwright.web.visitor import visitor_of

WISHES = "x-list-wishes"
AT_ONCE, MOST_DONE, LONGEST_SUMMARY = 2, 64, 200
MEDIA = {
    "csv": "text/csv; charset=utf-8", "tsv": "text/tab-separated-values; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}  # fmt: skip
SINCE = "The job was changed since this was worked out; below is what the list does now."


def add_lists(app: FastAPI, draw: Drawn, session: Session) -> None:
    """Add the addresses lists are taken out and in at."""
    inward = _Inward(draw, session)

    @app.get("/lists/{kind}.{ending}")
    @demands(Right.READ_JOB)
    def out(kind: ListKind, ending: str) -> Response:
        if ending not in MEDIA:
            raise HTTPException(404)
        named = {"Content-Disposition": f'attachment; filename="{kind}.{ending}"'}
        return Response(listed(session.state.text, kind, ending), media_type=MEDIA[ending], headers=named)

    @app.get("/lists/{kind}/rows")
    @demands(Right.READ_JOB)
    def rows(kind: ListKind) -> Response:
        # For the clipboard: without the mark a file begins with.
        return Response(written(rows_out(session.state.text, kind), "\t"), media_type=MEDIA["tsv"])

    @app.post("/lists/{kind}/look")
    @demands(Right.CHANGE_JOB)
    async def look(kind: ListKind, request: Request) -> Response:
        wishes, raw = _wishes_of(request), await request.body()
        return JSONResponse(await run_in_threadpool(inward.look, kind, raw, wishes))

    @app.post("/lists/{kind}/take")
    @demands(Right.CHANGE_JOB)
    async def take(kind: ListKind, request: Request) -> Response:
        wishes, raw = _wishes_of(request), await request.body()
        return JSONResponse(await run_in_threadpool(inward.take, kind, raw, wishes, visitor_of(request).name))


def listed(text: str, kind: ListKind, ending: str) -> bytes:
    """Return a list of the job as a file."""
    rows = rows_out(text, kind)
    if ending == "xlsx":
        return xlsx_bytes(rows, sheet=kind, numbers=number_columns(kind))
    return csv_bytes(rows, "\t" if ending == "tsv" else ",")


def _wishes_of(request: Request) -> Wishes:
    try:
        return Wishes.model_validate_json(request.headers.get(WISHES, "{}"))
    except ValidationError:
        raise HTTPException(400, "What was chosen for this list cannot be read.") from None


class _Inward:
    """Lists on the way in. At most two are read at once, so that what they take of memory is bounded."""

    def __init__(self, draw: Drawn, session: Session) -> None:
        self._draw, self._session = draw, session
        self._room = BoundedSemaphore(AT_ONCE)
        self._done: OrderedDict[str, str] = OrderedDict()

    def look(self, kind: ListKind, raw: bytes, wishes: Wishes) -> dict[str, object]:
        """Return what a list would do, as a piece of a page."""
        with self._room:
            try:
                grid = _grid(raw, wishes)
            except ListError as error:
                return self._refused(str(error))
            state = self._session.state
            kind = likeliest(grid, kind, state.job) if wishes.guess else kind
            return self._shown(list_view(state.text, state.job, kind, grid, wishes), state.revision, "")

    def take(self, kind: ListKind, raw: bytes, wishes: Wishes, by: str) -> dict[str, object]:
        """Take a list in as one step of the history, if the job is the one its outcome was shown for; return what came of it."""
        # What has no mark of its own is another list each time.
        once = f"{by}\0{wishes.mark}" if wishes.mark else ""
        if once in self._done:
            return {"taken": self._done[once]}
        with self._room:
            try:
                grid = _grid(raw, wishes)
            except ListError as error:
                return self._refused(str(error))
            state = self._session.state
            view = list_view(state.text, state.job, kind, grid, wishes)
        edited = view.intake.edited
        if wishes.revision != state.revision or not view.takeable or edited is None:
            return self._shown(view, state.revision, SINCE if wishes.revision != state.revision else "")
        # Worked out with nothing held; only the making of the step keeps others waiting.
        with self._session.held():
            if self._session.state.revision != state.revision:
                return self._shown(view, state.revision, SINCE)
            summary = f"{LISTS[kind].part}: a list, {view.intake.sentence}"[:LONGEST_SUMMARY]
            problems = self._session.edit(difference(state.text, edited.text), by=by, summary=summary)
            if problems:
                return self._shown(view, state.revision, " ".join(problem.message for problem in problems))
            self._draw.steps.call(f"a list of {LISTS[kind].many}", state.revision)
        taken = f"{view.intake.sentence}."
        if once:
            self._done[once] = taken
            while len(self._done) > MOST_DONE:
                self._done.popitem(last=False)
        return {"taken": taken}

    def _refused(self, words: str) -> dict[str, object]:
        return {"refused": words}

    def _shown(self, view: ListView, revision: int, said: str) -> dict[str, object]:
        html = self._draw.alone("list.html", view=view, plan=LISTS[view.kind], said=said)
        return {"html": html, "kind": view.kind, "revision": revision, "takeable": view.takeable}


def _grid(raw: bytes, wishes: Wishes) -> Grid:
    """Return the rows of what was sent. Raises ListError."""
    name = " ".join("".join(letter if letter.isprintable() else " " for letter in wishes.name).split())[-80:] or "the list"
    if not raw.strip():
        raise ListError(f"{name}: nothing stands in it.")
    return grid_of(raw, name, wishes.sheet)
