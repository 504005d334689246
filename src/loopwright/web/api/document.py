"""The OpenAPI document of the API, with the form of a job in it as ``loopwright schema`` prints it."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi
from pydantic import TypeAdapter

from loopwright import __version__
from loopwright.job.schema import json_schema
from loopwright.web.api.entry import ROOT
from loopwright.web.api.problem import MEDIA_TYPE, ProblemForm

Schema = dict[str, Any]
COMPONENTS = "#/components/schemas/"
JOB = "Job"
ABOUT = (
    "What the workbench does, for other programs: the job, what is computed from it, edits, history, papers and lists. "
    "Every request carries a token made at the machine (`loopwright token`). "
    "Quantities are in the unit their key names (`length_m`, `volts_v`). "
    "A job is under ETags: send the one you saw as If-Match, and nothing is changed that you have not seen. "
    "What goes wrong is told as problem details (RFC 9457), each fault with its place in the document."
)
MEANS = {
    401: "No token, or none that counts.",
    403: "The token is not for this.",
    404: "There is nothing here.",
    409: "Another program has written what cannot be taken in, others have changed the same, or there is nothing to take back.",
    411: "The length of the body is not said.",
    412: "The job is no longer the one named in If-Match; ETag names the one it is now.",
    413: "The body is too long.",
    422: "What was sent cannot be done: each fault is named with its place.",
    428: "If-Match is needed here.",
    503: "The file or its store cannot be reached now; nothing was changed.",
}


def said(*statuses: int) -> dict[int | str, Schema]:
    """Return the description of the answers with these statuses, beside those that any request may get."""
    content = {MEDIA_TYPE: {"schema": {"$ref": f"{COMPONENTS}{ProblemForm.__name__}"}}}
    return {status: {"description": MEANS[status], "content": content} for status in sorted({401, 403, 413, 503, *statuses})}


def document(app: FastAPI) -> Schema:
    """Return the OpenAPI document (3.1)."""
    made = get_openapi(
        title="Loopwright", version=__version__, summary="The API of one open job", description=ABOUT, routes=app.routes,
        servers=[{"url": f"..{ROOT}"}], license_info={"name": "MIT", "identifier": "MIT"},
    )  # fmt: skip
    schemas = made.setdefault("components", {}).setdefault("schemas", {})
    problem = TypeAdapter(ProblemForm).json_schema(ref_template=COMPONENTS + "{model}")
    schemas.update(problem.pop("$defs"))
    schemas[ProblemForm.__name__] = problem
    schemas.update(_job_schemas())
    schemas["Entry"]["description"] = "A value with everything in it, as in the JSON form of a job."
    for operation in (operation for methods in made["paths"].values() for operation in methods.values()):
        if "428" in operation["responses"]:
            # It is needed, and yet taken without, so that the answer can say what it is for.
            needed = next(each for each in operation["parameters"] if each["name"] == "if-match")
            needed |= {"required": True, "schema": {"type": "string", "minLength": 1}}
    return made


def _job_schemas() -> Schema:
    """Return the schemas of a job document, its parts under names of their own."""
    job = json_schema()
    parts = job.pop("$defs")
    job.pop("$schema")
    return {JOB: _moved(job)} | {f"{JOB}.{name}": _moved(part) for name, part in parts.items()}


def _moved(schema: Any) -> Any:  # noqa: ANN401 - whatever JSON holds
    """Return a schema whose references lead to where its parts stand now."""
    if isinstance(schema, list):
        return [_moved(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    return {
        key: f"{COMPONENTS}{JOB}.{value.rpartition('/')[2]}" if key == "$ref" and isinstance(value, str) else _moved(value)
        for key, value in schema.items()
    }
