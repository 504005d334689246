"""What other programs may change: edits, undo and redo, and the document as a whole."""

from __future__ import annotations

import hashlib
from typing import Annotated, Any

from fastapi import APIRouter, Body, Header, Request
from starlette.responses import Response

from loopwright.job.document import Job
from loopwright.job.edit import Edit
from loopwright.job.splice import difference
from loopwright.job.tree import MOST_BYTES, as_text
from loopwright.store.person import Right
from loopwright.values.error import Problem
from loopwright.web.api.answer import JSON, JobForm, answer, job_form, names_tag, tag_of, written
from loopwright.web.api.document import said
from loopwright.web.api.problem import Refused
from loopwright.web.api.reading import YAML
from loopwright.web.api.sent import Edits, edit_of
from loopwright.web.rights import demands
from loopwright.web.session import Overtaken, Session, Unsaved
from loopwright.web.visitor import visitor_of

IfMatch = Annotated[str, Header(max_length=1000, description="The ETag of the job as you saw it, or * for whatever it is now.")]
Key = Annotated[
    str,
    Header(max_length=100, alias="Idempotency-Key", description="Any words of your own: the same edits under the same key are made once."),
]
NOT_THAT = "The job is no longer the one named in If-Match. Read it again; ETag names the one it is now."
NEEDED = "Say in If-Match which revision of the job you mean; its ETag names it."
WHOLE = {"type": "object", "description": "A job document; the schema Job has its form."}
MADE: dict[int | str, dict[str, Any]] = {
    200: {"description": "It is made and kept; the job as it stands now.", "headers": {"ETag": {"schema": {"type": "string"}}}}
}


def changing(session: Session) -> APIRouter:
    """Return what can be changed."""
    routes = APIRouter(tags=["changing"])
    _add_edits(routes, session)
    _add_steps(routes, session)
    _add_whole(routes, session)
    return routes


def _add_edits(routes: APIRouter, session: Session) -> None:
    @routes.post("/edits", response_model=JobForm, responses=MADE | said(409, 411, 412, 422), operation_id="edit")
    @demands(Right.CHANGE_JOB)
    def edit(sent: Edits, request: Request, if_match: IfMatch = "", key: Key = "") -> Response:
        """Make edits, one after the other, all or none, as one revision. Without If-Match they are made to whatever the job is now."""
        by = visitor_of(request).name
        with session.held():
            session.changed_on_disk()
            made = session.edit(lambda job: _if_still(session, if_match, edit_of(sent)), by=by, mark=_mark(by, key, sent))
            return _told(session, made, by)


def _add_steps(routes: APIRouter, session: Session) -> None:
    def step(request: Request, if_match: str, word: str, way: int) -> Response:
        if not if_match:
            raise Refused(428, NEEDED)
        by = visitor_of(request).name
        with session.held():
            _still(session, if_match)
            tag = {"ETag": tag_of(session.state)}
            if session.next_step(way, by=by) is None:
                raise Refused(409, f"There is nothing to {word}.", headers=tag)
            if clashes := session.clashes(way, by=by):
                problems = [Problem(path=each.path, line=0, column=0, message="Others have changed this since.") for each in clashes]
                raise Refused(409, f"Others have changed the same since: {', '.join(each.path for each in clashes)[:400]}.", problems, tag)
            return _told(session, session.undo(by=by) if way < 0 else session.redo(by=by), by)

    @routes.post("/undo", response_model=JobForm, responses=MADE | said(409, 412, 422, 428), operation_id="undo")
    @demands(Right.CHANGE_JOB)
    def undo(request: Request, if_match: IfMatch = "") -> Response:
        """Take back the last step made with this token, from the revision named in If-Match."""
        return step(request, if_match, "undo", -1)

    @routes.post("/redo", response_model=JobForm, responses=MADE | said(409, 412, 422, 428), operation_id="redo")
    @demands(Right.CHANGE_JOB)
    def redo(request: Request, if_match: IfMatch = "") -> Response:
        """Do again what was taken back last with this token, from the revision named in If-Match."""
        return step(request, if_match, "redo", 1)


def _add_whole(routes: APIRouter, session: Session) -> None:
    @routes.put(
        "/job.yaml",
        response_model=JobForm,
        responses=MADE | said(409, 411, 412, 422, 428),
        operation_id="put_job_text",
        openapi_extra={"requestBody": {"required": True, "content": {YAML: {"schema": WHOLE}}}},
    )
    @demands(Right.CHANGE_JOB)
    def put_job_text(
        request: Request, text: Annotated[bytes, Body(media_type=YAML, max_length=MOST_BYTES)], if_match: IfMatch = ""
    ) -> Response:
        """Put a whole document in the place of the one named in If-Match. It is read first; one that is no job changes nothing."""
        if not if_match:
            raise Refused(428, NEEDED)

        def whole(job: Job) -> Edit:
            return _if_still(session, if_match, difference(session.state.text, as_text(text)))

        by = visitor_of(request).name
        with session.held():
            return _told(session, session.edit(whole, by=by), by)


def _if_still(session: Session, if_match: str, edit: Edit) -> Edit:
    """Return the edit, if the job it is to be made to is the one that was named."""
    if if_match:
        _still(session, if_match)
    return edit


def _still(session: Session, if_match: str) -> None:
    session.changed_on_disk()
    tag = tag_of(session.state)
    if not names_tag(if_match, tag, weak=False):
        raise Refused(412, NOT_THAT, headers={"ETag": tag})


def _mark(by: str, key: str, sent: Edits) -> str:
    """Return the mark of a change that may arrive twice; the same key with other edits is another change."""
    return hashlib.sha256("\0".join((by, key, sent.model_dump_json())).encode("utf-8")).hexdigest() if key else ""


def _told(session: Session, problems: tuple[Problem, ...], by: str) -> Response:
    """Return the job as it stands now, or what kept the change from being made."""
    tag = tag_of(session.state)
    if not problems:
        return answer(written(job_form(session, by)), JSON, tag)
    if any(isinstance(each, Unsaved) for each in problems):
        # What somebody else has written has to be put right there; what cannot be written at all has to wait.
        raise Refused(409 if any(isinstance(each, Overtaken) for each in problems) else 503, problems[0].message, problems, {"ETag": tag})
    many = f" And {len(problems) - 1} more." if len(problems) > 1 else ""
    raise Refused(422, f"{problems[0]}{many}", problems, {"ETag": tag})
