"""What other programs may ask for by name: what a word finds, what should be read at a thing, and what has been read there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from loopwright.appraisal.appraise import Appraisal
from loopwright.appraisal.findings_form import FigureForm, figure_form
from loopwright.appraisal.forecast_form import ForecastForm
from loopwright.appraisal.observed import Held, held_readings
from loopwright.job.document import Observation
from loopwright.store.person import Right
from loopwright.web.api.answer import FOUND, JSON, answer, current, tag_of, written
from loopwright.web.api.document import said
from loopwright.web.rights import demands
from loopwright.web.search import LONGEST_QUERY, Finder
from loopwright.web.session import Session

LONGEST_NAME = 120
Of = Annotated[str, Query(max_length=LONGEST_NAME, description="Only what has this name: `c11`, `control.aux-1`.")]


@dataclass(frozen=True, kw_only=True, slots=True)
class FoundForm:
    """One thing that has the words: what kind of thing, its name, what is told of it, and where the workbench shows it."""

    kind: str
    name: str
    words: str
    link: str


@dataclass(frozen=True, kw_only=True, slots=True)
class SearchForm:
    """What was found, the likeliest first; ``many`` is how much there is in all."""

    found: tuple[FoundForm, ...]
    many: int


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadingForm:
    """A reading on record, as it was noted, held against the forecast.

    ``subject`` is the row of the document it was taken at, empty where the place names none. ``verdict`` says whether it is as
    forecast, ``words`` by how much or why it is not compared; ``expected`` is null where there is no figure to compare it with.
    """

    path: str
    at: str
    by: str
    where: str
    state: str
    reading: str
    instrument: str
    subject: str
    verdict: str
    words: str
    expected: FigureForm | None


@dataclass(frozen=True, kw_only=True, slots=True)
class ReadingsForm:
    """Readings on record, in the order of the document."""

    readings: tuple[ReadingForm, ...]


def asking(session: Session) -> APIRouter:
    """Return what can be asked for by name."""
    routes = APIRouter(tags=["reading"])
    _add_search(routes, session)
    _add_readings(routes, session)
    return routes


def _add_search(routes: APIRouter, session: Session) -> None:
    finder = Finder()

    @routes.get("/search", response_model=SearchForm, response_description=FOUND, responses=said(422), operation_id="search")
    @demands(Right.READ_JOB)
    def search(q: Annotated[str, Query(max_length=LONGEST_QUERY, description="Beginnings of words, in any order.")]) -> Response:
        """Return everything of the job that has a name and whose words begin so, as Search in the workbench finds it."""
        state = current(session)
        found, many = finder.of(state).find(q)
        return answer(written(SearchForm(found=tuple(FoundForm(**each._asdict()) for each in found), many=many)), JSON, tag_of(state))


def _add_readings(routes: APIRouter, session: Session) -> None:
    @routes.get("/readings", response_model=ReadingsForm, response_description=FOUND, responses=said(422), operation_id="readings")
    @demands(Right.READ_JOB)
    def readings(of: Of = "") -> Response:
        """Return the readings on record, each held against the forecast; with a name, those taken there."""
        state = current(session)
        return answer(written(ReadingsForm(readings=_readings(state.appraisal, of))), JSON, tag_of(state))


def _readings(appraisal: Appraisal, of: str) -> tuple[ReadingForm, ...]:
    rows = enumerate(zip(appraisal.job.observations, held_readings(appraisal), strict=True))
    return tuple(
        _reading(number, item, held) for number, (item, held) in rows if not of or of in (item.where, held.subject.partition("/")[2])
    )  # fmt: skip


def _reading(number: int, item: Observation, held: Held) -> ReadingForm:
    return ReadingForm(
        path=f"observations/{number}", at=str(item.at), by=item.by, where=item.where, state=item.state, reading=item.reading,
        instrument=item.instrument, subject=held.subject, verdict=held.verdict, words=held.words,
        expected=None if held.figure is None else figure_form(held.figure),
    )  # fmt: skip


def narrowed(form: ForecastForm, name: str) -> ForecastForm | None:
    """Return what a forecast says of one name, and of the outputs of what has that name; None when it says nothing."""

    def named(each: str) -> bool:
        return each == name or each.startswith(f"{name}.")

    def only(rows: Iterable[str]) -> tuple[str, ...]:
        return tuple(each for each in rows if named(each))

    found = replace(
        form, terminals=tuple(each for each in form.terminals if each.equipment == name or each.fed_from == name), unfed=only(form.unfed),
        outputs=tuple(each for each in form.outputs if named(each.output)),
        supplies=tuple(each for each in form.supplies if each.supply == name),
        batteries=tuple(each for each in form.batteries if each.supply == name),
        circuits=tuple(each for each in form.circuits if each.circuit == name),
        supervised_outputs=tuple(each for each in form.supervised_outputs if named(each.output)),
    )  # fmt: skip
    parts = (
        found.terminals, found.unfed, found.outputs, found.supplies, found.batteries, found.circuits, found.supervised_outputs,
    )  # fmt: skip
    return found if any(parts) else None
