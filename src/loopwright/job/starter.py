"""The document a new job starts from: what must be there, and comments that say what else can be."""

from __future__ import annotations

from importlib.resources import files

from loopwright.job.edit import SetField, apply
from loopwright.job.read import read


def starter() -> str:
    """Return the commented document a new job starts from."""
    return files("loopwright.job").joinpath("starter.yaml").read_text(encoding="utf-8")


def fresh(*, title: str, name: str, country: str, ruleset: str, units: str) -> str:
    """Return a new job's document with its first facts in place. Raises JobError when one of them cannot stand."""
    text = starter()
    facts = {"title": title, "premises/name": name, "region/country": country, "region/ruleset": ruleset, "region/units": units}
    for path, fact in facts.items():
        text = apply(text, SetField(path, fact)).text
    read(text)
    return text
