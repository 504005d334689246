"""What the API answers with, beside the findings and the forecast, and how an answer carries the revision it is of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from pydantic_core import to_json
from starlette.responses import Response

from loopwright.store.store import Revision
from loopwright.web.session import Session, State

TAG_DIGITS = 32
JSON = "application/json"
FOUND = "What was asked for."
ANY = "*"


@dataclass(frozen=True, kw_only=True, slots=True)
class JobForm:
    """The job as it stands now.

    ``text_sha256`` is of the document, as sha256sum prints it; its first digits are the ETag, and the revision a paper carries.
    ``back`` and ``forward`` are the steps that were made with this token and can be taken back, or done again. ``changed_elsewhere``:
    another program has written something that cannot be taken in.
    """

    title: str
    stage: str
    revision: int
    text_sha256: str
    back: int
    forward: int
    changed_elsewhere: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class RevisionForm:
    """One revision of the history. ``note`` is the store's own remark; the hashes chain each to the one before."""

    number: int
    at: datetime
    by: str
    why: str
    summary: str
    note: str
    text_sha256: str
    previous_sha256: str
    sha256: str


@dataclass(frozen=True, kw_only=True, slots=True)
class HistoryForm:
    """A page of the history, the latest first; ``next_before`` asks for the next page, null when there is none."""

    revisions: tuple[RevisionForm, ...]
    next_before: int | None


@dataclass(frozen=True, kw_only=True, slots=True)
class NamesForm:
    """Names that can be asked for."""

    names: tuple[str, ...]


def job_form(session: Session, by: str) -> JobForm:
    """Return the job as it stands for somebody who holds the session. Raises StoreError."""
    elsewhere, state, stand = session.changed_on_disk(), session.state, session.stand(by=by)
    return JobForm(
        title=state.job.title,
        stage=str(state.job.stage),
        revision=state.revision,
        text_sha256=_digest(state),
        back=stand.back,
        forward=stand.forward,
        changed_elsewhere=elsewhere,
    )


def history_form(revisions: tuple[Revision, ...], most: int) -> HistoryForm:
    """Return a page of at most so many revisions."""
    listed = tuple(_revision(each) for each in revisions)
    return HistoryForm(revisions=listed, next_before=listed[-1].number if len(listed) == most and listed[-1].number > 1 else None)


def _revision(revision: Revision) -> RevisionForm:
    return RevisionForm(
        number=revision.number,
        at=revision.at,
        by=revision.by,
        why=revision.why,
        summary=revision.summary,
        note=revision.note,
        text_sha256=revision.text_sha256,
        previous_sha256=revision.previous_sha256,
        sha256=revision.sha256,
    )


def current(session: Session) -> State:
    """Return the job as it is now, with what others have written where it is kept."""
    session.changed_on_disk()
    return session.state


def tag_of(state: State) -> str:
    """Return the entity tag of a revision: digits of the hash of its text, so that every server of one job gives the same."""
    return f'"{_digest(state)[:TAG_DIGITS]}"'


def _digest(state: State) -> str:
    return sha256(state.text.encode("utf-8")).hexdigest()


def names_tag(header: str, tag: str, *, weak: bool) -> bool:
    """Return whether an If-Match or, with ``weak``, an If-None-Match names a tag (RFC 9110, 13.1.1 and 13.1.2).

    >>> names_tag('"a", "b"', '"b"', weak=False), names_tag('W/"b"', '"b"', weak=False), names_tag('W/"b"', '"b"', weak=True)
    (True, False, True)
    """
    return any(each == ANY or each == tag for each in _tags(header, weak=weak))


def _tags(header: str, *, weak: bool) -> Iterator[str]:
    for each in header.split(","):
        given = each.strip()
        yield given.removeprefix("W/") if weak else given


def written(record: object) -> bytes:
    """Return a record as JSON."""
    return to_json(record)


def answer(body: bytes, media_type: str, tag: str, headers: Mapping[str, str] | None = None) -> Response:
    """Return an answer that carries the revision it is of."""
    return Response(body, headers={"ETag": tag, **(headers or {})}, media_type=media_type)
