"""The manual's page on the HTTP API, made from the API's own document."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

from loopwright.web.api.document import COMPONENTS, document
from loopwright.web.api.entry import MOST_POSTED, ROOT
from loopwright.web.api.problem import MEDIA_TYPE

Schema = dict[str, Any]
HEAD = f"""# The HTTP API

What the workbench does, for other programs, while `loopwright serve` runs. The page is made from the API's own description, which is
served at `{ROOT}/openapi.json` (OpenAPI 3.1), by `tools/write-api-page`; a test keeps it current.

## A first request

```text
loopwright token shop.yaml make stock-list > token.txt
curl -H "Authorization: Bearer $(cat token.txt)" http://127.0.0.1:8417{ROOT}/v1/findings
```

- **Tokens** are made at the machine, for one job: `read`, or `change`, which is read as well. A token is shown once; kept is its
  hash, in a file of your user's data folder (`tokens/`, mode 0600), for the place the job has on this machine: a copied or sent folder
  brings no token with it, and a job that gets another name or place needs new ones. Every one made or removed stands in a trail beside
  that. It ends on its day, or when it is removed, at once. It opens no page, and the key of the page opens no API. No token reaches
  secrets or people.
- **In a folder** (`loopwright serve jobs`) each job has its API below its own address, `/at/shop{ROOT}/v1/findings`. A token
  counts for its own job alone; the description is told to who brings one.
- **Revisions.** Every answer about the job has an `ETag`. Sent back as `If-Match`, nothing is changed that was not seen: the answer is
  412 when the job has moved on. As `If-None-Match` it saves sending what is there already (304). Undo, redo and putting in a whole
  document ask for it (428).
- **Waiting.** `GET {ROOT}/v1/job?wait_s=30` with the known `ETag` as `If-None-Match` is answered when the job has changed, or with 304
  when that time is over. The `ETag` is of the document's text: a reason given later is another revision with the same one.
- **By name.** `search?q=` finds whatever the workbench's Search finds; `forecast?of=c11` says what should be read there, `readings?of=c11`
  what has been, and whether that agrees.
- **Once.** Edits under the same `Idempotency-Key` are made once, so what was sent can be sent again when its answer was lost.
- **One revision.** Edits sent together are made in turn, all of them or none; they are one revision in the history, in the token's
  name, and one step of undo.
- **Units** stand in the names of keys (`length_m`, `volts_v`, `required_ah`). A reading over range is null, with `over_range` true
  beside it.
- **What is wrong** comes as `{MEDIA_TYPE}` (RFC 9457): `detail` in a sentence, `problems` with the place (`path`, `line`,
  `column`), the words the screen uses, and what is accepted.
- At most {MOST_POSTED:,} bytes are taken at once. Nothing is sent to any other machine.

## Operations
"""


def page(app: FastAPI) -> str:
    """Return the page in Markdown."""
    made = document(app)
    parts = [HEAD]
    for path, methods in made["paths"].items():
        for method, operation in methods.items():
            parts.append(_operation(method.upper(), f"{ROOT}{path}", operation))
    schemas = made["components"]["schemas"]
    parts.append("## What is sent and what comes back\n")
    parts += [_schema(name, schema) for name, schema in sorted(schemas.items()) if name != "Job" and not name.startswith("Job.")]
    parts.append("`Job` and its parts are the job document as [document.md](document.md) tells it.\n")
    return "\n".join(parts)


def _operation(method: str, path: str, operation: Schema) -> str:
    lines = [f"### {method} {path}\n", operation["description"], ""]
    lines += [_parameter(each) for each in operation.get("parameters", ())]
    if body := operation.get("requestBody"):
        lines += [f"- body, `{kind}`: {_type(content['schema'])}" for kind, content in body["content"].items()]
    for status, each in operation["responses"].items():
        kinds = ", ".join(f"`{kind}`: {_type(content['schema'])}" for kind, content in each.get("content", {}).items())
        if status.startswith(("2", "3")):
            lines.append(f"- {status}: {each['description']}{f' As {kinds}.' if kinds else ''}")
    refusals = [status for status in operation["responses"] if status.startswith(("4", "5"))]
    return "\n".join([*lines, f"- otherwise {', '.join(refusals)}\n"])


def _parameter(each: Schema) -> str:
    need = "" if each.get("required") else ", not needed"
    return f"- `{each['name']}` ({each['in']}{need}): {each.get('description') or _type(each['schema'])}"


def _schema(name: str, schema: Schema) -> str:
    lines = [f"### {name}\n", " ".join(schema.get("description", "").replace("``", "`").split())]
    rows = [
        f"| `{key}` | {_type(each)}{'' if key in schema.get('required', ()) else ', may be left out'} | {each.get('description', '')} |"
        for key, each in schema.get("properties", {}).items()
    ]
    table = (
        ["", "| key | type | |", "|---|---|---|", *rows] if rows else ["", _type(schema)] if "anyOf" in schema or "enum" in schema else []
    )
    return "\n".join([*lines, *table, ""])


def _type(schema: Schema) -> str:
    """Return a schema in a few words."""
    if "$ref" in schema:
        return str(schema["$ref"]).removeprefix(COMPONENTS)
    if "const" in schema:
        return f"`{schema['const']}`"
    for either in ("anyOf", "oneOf"):
        if either in schema:
            return " or ".join(dict.fromkeys(_type(each) for each in schema[either]))
    if "enum" in schema:
        return " or ".join(f"`{each}`" for each in schema["enum"])
    kind = str(schema.get("type", "anything"))
    if kind == "array":
        return f"list of {_type(schema.get('items', {}))}"
    if kind == "object" and isinstance(schema.get("additionalProperties"), dict):
        return f"object of {_type(schema['additionalProperties'])}"
    return kind
