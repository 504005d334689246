"""The JSON Schema of the job document, made from its records, for editors and other programs.

It describes the form of a document. That what is named exists, and that written-out quantities lie within bounds, only the
reader can tell.
"""

from __future__ import annotations

import re
from typing import Any

from loopwright.job.document import FORMAT
from loopwright.job.field import Quantity
from loopwright.job.quantity import bounds
from loopwright.job.read import ACCEPTED_ID, NO, YES
from loopwright.job.shape import (
    BoolShape,
    DateShape,
    FieldShape,
    GaugeShape,
    IdShape,
    ListShape,
    MapShape,
    NumberShape,
    RecordShape,
    Shape,
    TerminalShape,
    TextShape,
    WordShape,
    job_shape,
)
from loopwright.job.unit import EXAMPLES, FOLDED, UNITS

Schema = dict[str, Any]
_NAME = "[A-Za-z0-9][A-Za-z0-9_-]{0,39}"
_NUMBER = r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?"
# An equipment called 3 has an input 3.1, which JSON takes for a number.
_DOTTED = {"type": "number", "minimum": 0, "not": {"type": "integer"}}
_CODES = {"Ω": "[LRrKkMG]", "nF": "[pnuµμ]"}


def json_schema() -> Schema:
    """Return the schema (JSON Schema 2020-12) of a job document."""
    records: dict[str, RecordShape] = {}
    _gather(job_shape(), records)
    root = _record(job_shape())
    root["properties"]["format"] = {"enum": [FORMAT, str(FORMAT)], "description": "Format version of the document."}
    names = {"type": "string", "pattern": f"^{_NAME}$", "description": ACCEPTED_ID}
    ids = {"anyOf": [{"$ref": "#/$defs/name"}, {"type": "integer", "minimum": 0}, {"type": "boolean"}]}
    definitions = {name: _record(shape) for name, shape in sorted(records.items()) if shape is not job_shape()}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Job document",
        **root,
        "$defs": {"name": names, "id": ids, **definitions},
    }


def _gather(shape: Shape, records: dict[str, RecordShape]) -> None:
    match shape:
        case RecordShape():
            records[shape.record.__name__] = shape
            for each in shape.fields.values():
                _gather(each.shape, records)
        case ListShape():
            _gather(shape.item, records)
        case MapShape():
            _gather(shape.value, records)
        case _:
            pass


def _record(shape: RecordShape) -> Schema:
    return {
        "type": "object",
        "description": (shape.record.__doc__ or "").strip(),
        "properties": {name: _field(each) for name, each in shape.fields.items()},
        "required": [name for name, each in shape.fields.items() if each.required],
        "additionalProperties": False,
    }


def _field(each: FieldShape) -> Schema:
    inner = schema_of(each.shape)
    doc = " ".join(part for part in (each.doc, inner.pop("description", "")) if part)
    if each.required:
        return {"description": doc, **inner}
    return {"description": doc, "anyOf": [inner, {"type": "null"}]}


def schema_of(shape: Shape) -> Schema:
    """Return the schema of one value."""
    match shape:
        case RecordShape():
            return {"$ref": f"#/$defs/{shape.record.__name__}"}
        case ListShape():
            return {"type": "array", "items": _item(shape.item)}
        case MapShape():
            names = {"enum": list(shape.key.words)} if isinstance(shape.key, WordShape) else {"$ref": "#/$defs/name"}
            return {"type": "object", "propertyNames": names, "additionalProperties": _item(shape.value)}
        case NumberShape():
            return _number(shape.quantity, whole=shape.whole)
        case WordShape():
            return {"enum": list(shape.words)}
        case BoolShape():
            return {"enum": [True, False, *sorted(YES | NO)]}
        case GaugeShape():
            return {"type": "string", "pattern": "[0-9]", "description": f"Such as {EXAMPLES['mm²']}."}
        case TextShape():
            return {"type": ["string", "number", "boolean"], "maxLength": shape.longest}
        case DateShape():
            year = [] if shape.time else [{"type": "integer", "minimum": 1000, "maximum": 2999}]
            return {"anyOf": [{"type": "string", "pattern": f"^{shape.pattern}$"}, *year], "description": f"Written {shape.accepted}."}
        case TerminalShape():
            doc = f"equipment.terminal, one of the {shape.among}."
            return {"anyOf": [{"type": "string", "pattern": rf"^{_NAME}\.{_NAME}$"}, _DOTTED], "description": doc}
        case IdShape():
            return {"$ref": "#/$defs/id", **({"description": f"One of {shape.among.to}."} if shape.among else {})}


def _item(shape: Shape) -> Schema:
    """Return the schema of an entry; a record with nothing required may stand empty."""
    inner = schema_of(shape)
    if isinstance(shape, RecordShape) and not any(each.required for each in shape.fields.values()):
        return {"anyOf": [inner, {"type": "null"}]}
    return inner


def _number(quantity: Quantity, *, whole: bool) -> Schema:
    unit = quantity.unit
    names = [re.escape(name) for name in UNITS[unit]] + [_any_case(name) for name in FOLDED[unit]]
    pattern = f"{_NUMBER}\\s*({'|'.join(names)})?"
    if unit in _CODES:
        pattern += f"|[0-9]+{_CODES[unit]}[0-9]*|{_CODES[unit]}[0-9]+"
    if unit == "m":
        pattern += "|[0-9]+\\s*(ft|')\\s*[0-9]+(\\.[0-9]+)?\\s*(in|\")"
    plain = {"type": "integer" if whole else "number", "minimum": quantity.low, "maximum": quantity.high}
    doc = f"{f'In {unit}' if unit else 'A number'}, {bounds(quantity)}; such as {EXAMPLES[unit]}."
    return {"anyOf": [plain, {"type": "string", "pattern": f"^\\s*({pattern})\\s*$"}], "description": doc}


def _any_case(name: str) -> str:
    return "".join(f"[{letter.lower()}{letter.upper()}]" if letter.isalpha() and letter.isascii() else re.escape(letter) for letter in name)
