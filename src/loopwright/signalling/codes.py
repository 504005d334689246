"""What the codes mean, in this project's own words: 322 of Contact ID (DC-05), 305 of DC-03.

The sets of codes are those of the 2016 and 2017 editions, compared with two public lists; the words were written for this project.
Two codes of DC-03, CG and CJ, are told differently by different sources: here CG stands for an area and CJ for a user.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import StringIO


@dataclass(frozen=True, kw_only=True, slots=True)
class Code:
    """One code: its meaning, its class (alarm, trouble, ...), and what its number or address counts."""

    code: str
    meaning: str
    kind: str
    addressed: str


@cache
def contact_id_codes() -> Mapping[str, Code]:
    """Return the codes of Contact ID by their three digits; the number counts a zone, a user or something else."""
    return _table("contact_id_codes.tsv", addressed="addr")


@cache
def event_codes() -> Mapping[str, Code]:
    """Return the codes of DC-03 by their two letters."""
    return _table("sia_event_codes.tsv", addressed="address")


def _table(name: str, *, addressed: str) -> dict[str, Code]:
    text = files(__package__).joinpath("tables", name).read_text(encoding="utf-8")
    rows = csv.DictReader(StringIO(text), delimiter="\t", quoting=csv.QUOTE_NONE)
    return {
        code: Code(code=code, meaning=row["meaning"], kind=row["class"], addressed=row[addressed])
        for row in rows
        for code in _each(row["code"])
    }


def _each(code: str) -> list[str]:
    """Return the codes a row stands for: one, or all of a run such as ``750-789``."""
    first, _, last = code.partition("-")
    return [str(number) for number in range(int(first), int(last) + 1)] if last else [code]
