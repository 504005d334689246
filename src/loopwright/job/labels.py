"""What people call the fields and rows of the document, so that no screen shows a key of the file."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files

from loopwright.job.document import Job
from loopwright.job.shape import ListShape, MapShape, RecordShape, Shape, job_shape

ROWS = {
    "sheets/equipment": "data sheet", "sheets/batteries": "battery sheet", "sheets/cables": "cable sheet",
    "equipment": "piece of equipment", "cables": "run", "circuits": "circuit", "joints": "joint", "zones": "zone",
    "areas": "area", "users": "user", "parties": "party", "storeys": "storey", "outputs": "output rule",
    "programme/part_sets": "part set", "signalling/paths": "transmission path", "observations": "reading on record",
    "region/local_law": "limit of local law", "region/local_level": "level of local law",
}  # fmt: skip
"""What one row of each part of the document is called."""


@cache
def _table() -> dict[str, dict[str, str]]:
    table: dict[str, dict[str, str]] = tomllib.loads(files("loopwright.job").joinpath("labels.toml").read_text(encoding="utf-8"))
    return table


@cache
def label_in(record: type, name: str) -> str:
    """Return what people call a field of a record."""
    table = _table()
    own = table.get(record.__name__, {})
    return own.get(name) or table["*"].get(name) or name.replace("_", " ")


@cache
def label_at(path: str) -> str:
    """Return what people call the value at a path: its field's words, and the entry's own name where it is an entry of a field.

    >>> label_at('cables/W01/length_m'), label_at('zones/z01/response/full'), label_at('sheets/equipment/pir/loads/supply/min_v')
    ('length', 'does, full', 'least working voltage')
    """
    shape: Shape = job_shape()
    words = ""
    for name in path.split("/"):
        if isinstance(shape, RecordShape) and name in shape.fields:
            words, shape = label_in(shape.record, name), shape.fields[name].shape
        elif isinstance(shape, MapShape):
            words, shape = f"{words}, {name.replace('-', ' ')}", shape.value
        elif isinstance(shape, ListShape) and name.isdecimal():
            words, shape = f"{words} {int(name) + 1}", shape.item
        else:
            return path
    return words


def row_at(path: str) -> tuple[str, str]:
    """Return the part of the document a path's row stands in, and the row's own name; the name is empty for a part without rows.

    >>> row_at('cables/W01/length_m'), row_at('sheets/cables/six-core/gauge'), row_at('region/units')
    (('cables', 'W01'), ('sheets/cables', 'six-core'), ('region', ''))
    """
    parts = path.split("/")
    deep = 2 if parts[0] == "sheets" or path.startswith(("programme/part_sets", "signalling/paths")) else 1
    part = "/".join(parts[:deep])
    return (part, parts[deep]) if part in ROWS and len(parts) > deep else (parts[0], "")


def row_words(job: Job, path: str) -> str:
    """Return a row as people name it: a zone by its number, equipment by its label, the rest by their own name."""
    part, name = row_at(path)
    if part == "zones" and name in job.zones:
        return f"zone {job.zones[name].number}"
    if part == "equipment" and name in job.equipment:
        return job.equipment[name].label or name
    if part == "observations" and name.isdecimal() and int(name) < len(job.observations):
        return f"the reading at {job.observations[int(name)].where}"
    return f"{ROWS[part]} {name}" if name and part not in ("cables", "circuits", "equipment") else name


def place_words(job: Job, path: str) -> str:
    """Return a place of the document as people say it: ``cables/W31/length_m`` → length of W31."""
    row = row_words(job, path)
    part, name = row_at(path)
    if name and path == f"{part}/{name}":
        return row
    return f"{label_at(path)} of {row}" if row else label_at(path)
