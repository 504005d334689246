"""Problems as a page says them: in the words beside the cells, and what keeps an entry in its place in one sentence."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loopwright.job.document import Job
from loopwright.job.labels import label_at, label_in, place_words, row_words
from loopwright.job.shape import RecordShape
from loopwright.values.error import Problem
from loopwright.web.change import Change
from loopwright.web.dictionary import fitting, shape_of_cell

MOST_NAMED = 12
_EMPTY = re.compile(r"'' (?:is|cannot be) (?:not )?an? [\w ]+")
_MISSING = re.compile(r"The key (\w+) is missing(?:: .*)?")


def told(problems: Sequence[Problem], change: Change, job: Job) -> list[dict[str, str]]:
    """Return each problem with the field of the form or cell it belongs to."""
    if change.do == "remove" and problems and all(item.path and not item.path.startswith(f"{change.path}/") for item in problems):
        return [{"path": change.path, "message": still_used(problems, change.path, job)}]
    if change.do == "set" and len(problems) > 1 and not any(item.path == change.path for item in problems):
        first, *rest = [_said(item, change, job) for item in problems]
        places = f"{len(rest)} more {'place' if len(rest) == 1 else 'places'}"
        return [{"path": change.path, "message": f"{first['message']} So it is in {places}: change those first."}]
    return [_said(item, change, job) for item in problems]


def still_used(problems: Sequence[Problem], path: str, job: Job) -> str:
    """Return one sentence that names every row which would lead nowhere."""
    name = path.rpartition("/")[2]
    if any(item.path == path for item in problems):
        return " ".join(dict.fromkeys(item.message for item in problems))
    rows = list(dict.fromkeys(row_words(job, item.path) or label_at(item.path) for item in problems))
    more = f" and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else ""
    return f"{name} is still used by {', '.join(rows[:MOST_NAMED])}{more}. Change these first."


def _said(problem: Problem, change: Change, job: Job) -> dict[str, str]:
    path, message = problem.path, fitting(problem.path, problem.message, job.region.units)
    shape = shape_of_cell(path) if path else None
    if change.do == "set" and path == change.path and not change.text.strip():
        message = _EMPTY.sub("This cannot be empty", message)
    missing = _MISSING.fullmatch(problem.message.strip())
    if missing and isinstance(shape, RecordShape) and missing[1] in shape.fields:
        path, message = f"{path}/{missing[1]}", f"{_capital(label_in(shape.record, missing[1]))} is missing."
    elif change.do == "add" and path and shape is not None:
        message = f"{_capital(label_at(path))}: {message}"
    elif path and path != change.path and shape is not None:
        message = f"{_capital(place_words(job, path))}: {message}"
    return {"path": path, "message": message + (f" Accepted: {problem.accepted}." if problem.accepted else "")}


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]
