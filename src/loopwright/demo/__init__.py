"""Example jobs: two invented premises as package data, and a generator of premises of any size."""

from __future__ import annotations

from importlib.resources import files

SUFFIX = ".yaml"


def names() -> tuple[str, ...]:
    """Return the names of the example jobs, the one that opens first at the front."""
    found = {entry.name.removesuffix(SUFFIX) for entry in files(__name__).iterdir() if entry.name.endswith(SUFFIX)}
    return tuple(sorted(found, key=lambda name: (name != "business", name)))


def text(name: str) -> str:
    """Return the text of an example job. Raises KeyError when there is none of that name."""
    if name not in names():
        raise KeyError(name)
    return files(__name__).joinpath(f"{name}{SUFFIX}").read_text(encoding="utf-8")
