"""The JSON Schema says what the reader says, references and written-out quantities aside."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from loopwright.job.edit import content
from loopwright.job.read import read
from loopwright.job.schema import json_schema
from loopwright.job.shape import MapShape, RecordShape, shape_at
from loopwright.job.tree import compose
from loopwright.values.error import JobError

SAMPLE = (Path(__file__).parent / "sample.yaml").read_text(encoding="utf-8")
SCHEMA = json_schema()
VALID = jsonschema.Draft202012Validator(SCHEMA)
DOCUMENT: Any = content(compose(SAMPLE)[1])
MUTANTS: tuple[object, ...] = ("", "?", [], {}, ["x"], {"x": 1}, -1, 1.5, 10**12, True, None)


def accepted(document: object) -> bool:
    """Return whether the reader takes the form of a document; names that lead nowhere do not count."""
    try:
        read(json.dumps(document))
    except JobError as error:
        return all(any(sign in problem.message for sign in NAMES_NOTHING) for problem in error.problems)
    return True


NAMES_NOTHING = (
    "There is no ", " has no ", "starts and ends at", "feed itself", "is not a set state", "stands on line", "has this name too",
    "Contacts stand here", "cannot be called", "Two part sets", "in another storey",
)  # fmt: skip


def spots(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the path of every value in a document."""
    children = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in children:
        yield (*path, key)
        yield from spots(child, (*path, key))


def alone(document: Any, path: tuple[Any, ...]) -> tuple[Any, Any]:
    """Return a document without the other entries of the mappings on the way to a path, and the collection that holds the value there."""
    left = copy.deepcopy(document)
    holder = left[path[0]] if len(path) > 1 else left
    for depth, key in enumerate(path[1:-1], start=1):
        if isinstance(shape_at("/".join(map(str, path[:depth]))), MapShape):
            for other in holder.keys() - {key}:
                del holder[other]
        holder = holder[key]
    return left, holder


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["additionalProperties"] is False
    assert "Ω" in json.dumps(SCHEMA["$defs"]["ResistorSet"], ensure_ascii=False)


def test_the_sample_is_valid() -> None:
    assert not list(VALID.iter_errors(DOCUMENT))
    assert accepted(DOCUMENT)


@pytest.mark.parametrize("part", sorted(DOCUMENT))
def test_schema_and_reader_take_and_refuse_the_same(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Numbers that cannot stand beside each other, like names that lead nowhere, are beyond a schema and left out here.

    Every field of every record that the sample holds is taken out, or replaced by something of another kind, in a document of that
    part and what no document may lack.
    """
    monkeypatch.setattr("loopwright.job.read.check_sheets", lambda run, job: None)
    done = set()
    schema = VALID.evolve(schema=SCHEMA["properties"][part])
    document = {name: DOCUMENT[name] for name in DOCUMENT if name == part or name in SCHEMA["required"]}
    assert accepted(document)
    for path in spots(DOCUMENT[part], (part,)):
        shape = shape_at("/".join(str(key) for key in path[:-1]))
        place = (shape, path[-1] if isinstance(shape, RecordShape) else "")
        if place in done:
            continue
        done.add(place)
        mutant, holder = alone(document, path)
        for value in MUTANTS:
            holder[path[-1]] = value
            assert schema.is_valid(mutant[part]) == accepted(mutant), (path, value)
        if isinstance(holder, dict):
            del holder[path[-1]]
            assert schema.is_valid(mutant[part]) == accepted(mutant), path
            holder["Unheard-of!"] = 1
            assert not schema.is_valid(mutant[part])
            assert not accepted(mutant)
