"""What other programs may read: the job, what is computed from it, its history, its papers and its lists."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from loopwright.appraisal.findings_form import FindingsForm, findings_form
from loopwright.appraisal.forecast_form import ForecastForm, forecast_form
from loopwright.job.edit import content
from loopwright.job.list_plan import ListKind
from loopwright.job.listing import number_columns, rows_out
from loopwright.job.tree import compose
from loopwright.store.person import Right
from loopwright.store.sheetfile import csv_bytes, xlsx_bytes
from loopwright.store.store import PAGE
from loopwright.web.api.answer import (
    FOUND,
    JSON,
    HistoryForm,
    JobForm,
    NamesForm,
    answer,
    current,
    history_form,
    job_form,
    names_tag,
    tag_of,
    written,
)  # fmt: skip
from loopwright.web.api.asking import Of, narrowed
from loopwright.web.api.document import COMPONENTS, JOB, said
from loopwright.web.api.problem import Refused
from loopwright.web.api.waiting import LONGEST_WAIT_S, Waiting
from loopwright.web.print_run import Clock, paper
from loopwright.web.rights import demands
from loopwright.web.session import Session, State
from loopwright.web.visitor import visitor_of

YAML, PDF, CSV = "application/yaml", "application/pdf", "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
Described = dict[int | str, dict[str, Any]]
MOST_NUMBER = 2**31 - 1
NOT_CHANGED: Described = {304: {"description": "The job is still the one named in If-None-Match."}}
Wait = Annotated[
    float, Query(ge=0, le=LONGEST_WAIT_S, description="How long [s] to wait for another revision than the one in If-None-Match; 304 then.")
]
IfNoneMatch = Annotated[str, Header(max_length=1000, description="The ETag of what is there already; it is not sent again.")]


def reading(session: Session, clock: Clock) -> APIRouter:
    """Return what can be read."""
    routes = APIRouter(tags=["reading"])
    _add_job(routes, session)
    _add_computed(routes, session)
    _add_history(routes, session)
    _add_papers(routes, session, clock)
    _add_lists(routes, session)
    return routes


def _add_job(routes: APIRouter, session: Session) -> None:
    waiting = Waiting(session)

    @routes.get("/job", response_model=JobForm, response_description=FOUND, responses=NOT_CHANGED | said(422), operation_id="job")
    @demands(Right.READ_JOB)
    async def job(request: Request, wait_s: Wait = 0, if_none_match: IfNoneMatch = "") -> Response:
        """Return the job's title and stage, and which revision it is; with `wait_s`, as soon as it is no longer the one that is known."""
        if wait_s and if_none_match:
            await waiting.until_changed(request, if_none_match, wait_s)
        return await run_in_threadpool(_job, session, request, if_none_match)

    text: dict[str, Any] = {
        "content": {YAML: {"schema": {"$ref": COMPONENTS + JOB}}},
        "description": "The document as it is kept, comments and all.",
    }

    @routes.get("/job.yaml", response_class=Response, responses=_ok(text) | NOT_CHANGED | said(422), operation_id="job_text")
    @demands(Right.READ_JOB)
    def job_text(if_none_match: IfNoneMatch = "") -> Response:
        """Return the document itself."""
        return _unless_known(current(session), if_none_match, YAML, lambda state: state.text.encode("utf-8"))

    form: dict[str, Any] = {
        "content": {JSON: {"schema": {"$ref": COMPONENTS + JOB}}},
        "description": "The document as JSON: what it says, as it says it.",
    }

    @routes.get("/job.json", response_class=Response, responses=_ok(form) | NOT_CHANGED | said(422), operation_id="job_data")
    @demands(Right.READ_JOB)
    def job_data(if_none_match: IfNoneMatch = "") -> Response:
        """Return what the document says as JSON. It is a document too: JSON is YAML, and reads as the same job."""
        return _unless_known(
            current(session), if_none_match, JSON, lambda state: json.dumps(content(compose(state.text)[1])).encode("ascii")
        )


def _job(session: Session, request: Request, known: str) -> Response:
    with session.held():
        return _unless_known(current(session), known, JSON, lambda state: written(job_form(session, visitor_of(request).name)))


def _add_computed(routes: APIRouter, session: Session) -> None:
    @routes.get(
        "/findings", response_model=FindingsForm, response_description=FOUND, responses=NOT_CHANGED | said(422), operation_id="findings"
    )
    @demands(Right.READ_JOB)
    def findings(if_none_match: IfNoneMatch = "") -> Response:
        """Return what is wrong with the design, and what would put it right: what `loopwright check --json` prints."""
        return _unless_known(current(session), if_none_match, JSON, lambda state: written(findings_form(state.appraisal)))

    @routes.get(
        "/forecast",
        response_model=ForecastForm,
        response_description=FOUND,
        responses=NOT_CHANGED | said(404, 422),
        operation_id="forecast",
    )
    @demands(Right.READ_JOB)
    def forecast(of: Of = "", if_none_match: IfNoneMatch = "") -> Response:
        """Return what every terminal should read: what `loopwright forecast --json` prints; with a name, what it says of that."""
        return _unless_known(current(session), if_none_match, JSON, lambda state: written(_forecast(state, of)))


def _forecast(state: State, of: str) -> ForecastForm:
    form = forecast_form(state.appraisal)
    found = narrowed(form, of) if of else form
    if found is None:
        raise Refused(404, "The forecast says nothing of that name.")
    return found


def _add_history(routes: APIRouter, session: Session) -> None:
    @routes.get("/history", response_model=HistoryForm, response_description=FOUND, responses=said(422), operation_id="history")
    @demands(Right.READ_JOB)
    def history(
        before: Annotated[int | None, Query(ge=1, le=MOST_NUMBER, description="Only revisions before this number.")] = None,
        most: Annotated[int, Query(ge=1, le=PAGE, description="How many at most.")] = PAGE,
    ) -> Response:
        """Return a page of the history, the latest revision first; none where no history is kept."""
        return Response(written(history_form(session.history(before=before, most=most), most)), media_type=JSON)


def _add_papers(routes: APIRouter, session: Session, clock: Clock) -> None:
    @routes.get("/papers", response_model=NamesForm, response_description=FOUND, responses=said(), operation_id="papers")
    @demands(Right.READ_JOB)
    def papers() -> Response:
        """Return which papers there are."""
        from loopwright.papers import PAPERS

        return Response(written(NamesForm(names=tuple(PAPERS))), media_type=JSON)

    pdf: dict[str, Any] = {"content": {PDF: {"schema": {"type": "string", "format": "binary"}}}, "description": "The paper."}

    @routes.get("/papers/{name}.pdf", response_class=Response, responses=_ok(pdf) | said(404, 422), operation_id="paper")
    @demands(Right.READ_JOB)
    def one_paper(name: Annotated[str, Path(max_length=100)]) -> Response:
        """Return a paper of the job as it is now."""
        state = current(session)
        made = paper(state, name, clock())
        if made is None:
            raise Refused(404, "There is no paper of that name.")
        return answer(made, PDF, tag_of(state), _download(f"{name}.pdf"))


def _add_lists(routes: APIRouter, session: Session) -> None:
    def described(media_type: str) -> Described:
        return _ok({"content": {media_type: {"schema": {"type": "string", "format": "binary"}}}, "description": "The list."})

    @routes.get("/lists/{kind}.csv", response_class=Response, responses=described(CSV) | said(404, 422), operation_id="list_csv")
    @demands(Right.READ_JOB)
    def list_csv(kind: ListKind) -> Response:
        """Return a list of the job as CSV, its head first; taken in again it changes nothing."""
        state = current(session)
        return answer(csv_bytes(rows_out(state.text, kind)), CSV, tag_of(state), _download(f"{kind}.csv"))

    @routes.get("/lists/{kind}.xlsx", response_class=Response, responses=described(XLSX) | said(404, 422), operation_id="list_xlsx")
    @demands(Right.READ_JOB)
    def list_xlsx(kind: ListKind) -> Response:
        """Return a list of the job as a workbook without formulas."""
        state = current(session)
        made = xlsx_bytes(rows_out(state.text, kind), sheet=kind, numbers=number_columns(kind))
        return answer(made, XLSX, tag_of(state), _download(f"{kind}.xlsx"))


def _unless_known(state: State, known: str, media_type: str, made: Callable[[State], bytes]) -> Response:
    """Return what is made of the state, or that it is what the other side has already."""
    tag = tag_of(state)
    if known and names_tag(known, tag, weak=True):
        return Response(status_code=304, headers={"ETag": tag})
    return answer(made(state), media_type, tag)


def _ok(described: dict[str, Any]) -> Described:
    return {200: described}


def _download(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}
