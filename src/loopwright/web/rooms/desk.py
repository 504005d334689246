"""Desk: a caller on the line, one question at a time, what may be so, and the cases there were."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from loopwright.desk.caller import caller_choice
from loopwright.desk.case import NOT_KNOWN, OPENING, OWN_WORDS, SKIPPED, Case, Said, cause_words
from loopwright.desk.course import NOT_UNTIL, SAFE, Course
from loopwright.desk.opening import asks, complaints, dangers
from loopwright.desk.question import NONE, choice_of
from loopwright.explain.catalogue import faults
from loopwright.explain.caution import in_full
from loopwright.explain.explanation import Explanation, chance_words
from loopwright.explain.learned import CATALOGUE, moved
from loopwright.store.file import StoreError
from loopwright.values.error import JobError
from loopwright.web.mark import PENCIL
from loopwright.web.page import Page
from loopwright.web.rooms.on_site import causes_of, share

if TYPE_CHECKING:
    from loopwright.web.desking import Desk

MOST_LISTED, MOST_CAUSES = 60, 6
LEAST_REST = 0.0005
PASSED = {SKIPPED: "passed over", NOT_KNOWN: "does not know", OWN_WORDS: ""}


def view(page: Page) -> Mapping[str, Any]:
    """Return what the room shows."""
    if page.desk is None:
        return {"trouble": "There is no desk here.", "case": None}
    return seen(page.desk, dict(page.query.asked))


def seen(desk: Desk, asked: Mapping[str, str]) -> dict[str, Any]:
    """Return what the sheet shows: the case that is asked for, its course, and the list of all."""
    common: dict[str, Any] = {
        "in_full": in_full, "chance": chance_words, "share": share, "cause_words": cause_words, "has_job": desk.session is not None,
        "dangers": dangers().values(), "complaints": complaints().values(), "safe": SAFE, "not_until": NOT_UNTIL,
        "pencil": PENCIL,
    }  # fmt: skip
    try:
        kept = desk.cases()
        case = next((each.as_of(desk.now()) for each in kept if each.id == asked.get("case")), None)
        cases = [each for each in kept if not each.silent or each.id == asked.get("case")]
        weights = desk.weights()
        course = desk.course(case) if case is not None and case.closed is None else None
    except (StoreError, JobError) as error:
        return common | {"trouble": str(error), "case": None, "cases": (), "more": 0, "moved": (), "weights": CATALOGUE, "course": None}
    return common | {
        "trouble": "",
        "case": case,
        "course": course,
        "answers": [_answer_row(desk, case, said) for said in case.said if not said.key.startswith("fact:")] if case is not None else [],
        "facts": desk.facts(case) if case is not None and not case.on_file else (),
        "rows": _causes(course),
        "cases": cases[:MOST_LISTED],
        "more": max(len(cases) - MOST_LISTED, 0),
        "moved": moved(weights),
        "weights": weights,
        "causes": [(fault.id, fault.words) for fault in faults().values()] if case is not None else [],
        "likeliest": _likeliest(course),
        "words_of_case": words_of_case,
        "desk": desk,
    }


def _causes(course: Course | None) -> list[dict[str, Any]]:
    """Return the likeliest of what may be so, and all the rest as one row, so that the shares make up the whole."""
    if course is None or course.found is None:
        return []
    rows = causes_of(course.found)
    rest = sum(row["chance"] for row in rows[MOST_CAUSES:])
    more = [{"chance": rest, "words": "Everything else, each less likely", "cause": None}] if rest > LEAST_REST else []
    return rows[:MOST_CAUSES] + more


def _likeliest(course: Course | None) -> str:
    found: Explanation | None = None if course is None else course.found
    if found is None or not found.answers or found.nothing > found.answers[0].probability:
        return ""
    cause = found.answers[0].causes[0]
    return f"{cause.fault} {cause.words}"


def words_of_case(case: Case) -> str:
    """Return a case in a line: who, what about."""
    who = case.caller.name or "no name yet"
    where = case.caller.premises
    about = (
        dangers()[case.danger].words if case.danger in dangers() else complaints()[case.complaint].words if case.complaint else "just begun"
    )
    return f"{who}{f', {where}' if where else ''}: {about}"


def _answer_row(desk: Desk, case: Case, said: Said) -> dict[str, Any]:
    """Return an answer for the list: in the words of its choice, and the other one of yes and no."""
    kind, _, name = said.key.partition(":")
    flips = kind != OPENING or (name in asks() and {each.key for each in asks()[name].answers} == {"yes", "no"})
    other = {"yes": "no", "no": "yes"}.get(said.answer, "") if flips else ""
    return {"said": said, "words": answer_words(desk, case, said), "other": other}


def answer_words(desk: Desk, case: Case, said: Said) -> str:
    """Return an answer as people say it."""
    if said.answer in PASSED:
        return said.text or PASSED[said.answer]
    kind, _, name = said.key.partition(":")
    if kind != OPENING or name not in asks():
        return caller_choice(said.answer)
    ask = asks()[name]
    choice = choice_of(ask, said.answer)
    if choice is not None:
        return choice.words
    if said.answer == NONE:
        return ask.none or "none"
    if ask.of == "hours":
        return f"{said.answer} h"
    job = desk.appraisal(case).job
    if said.answer in job.zones:
        return f"zone {job.zones[said.answer].number} {job.zones[said.answer].text}"
    if said.answer in job.areas:
        return job.areas[said.answer].name
    return said.answer if said.answer not in job.equipment else job.equipment[said.answer].label or said.answer
