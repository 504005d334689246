"""Where a number comes from: the register of published sources and of marks."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib.resources import files


class Standing(StrEnum):
    """How well a source stands: only what was seen, or computed from first principles, may carry a *must*."""

    SEEN = "seen"
    MEMORY = "from memory"
    PRACTICE = "common practice, no source"
    WITHHELD = "published, page not named"
    DERIVED = "computed from first principles"


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """One published source, or one honest mark that there is none."""

    key: str
    title: str
    where: str = ""
    standing: Standing
    note: str = ""

    @property
    def binding(self) -> bool:
        """Return whether a finding may call itself a *must* on this source alone."""
        return self.standing in (Standing.SEEN, Standing.DERIVED)

    def __str__(self) -> str:
        """Return the title with its mark, as printed beside a figure."""
        if self.standing.startswith(self.title):
            return str(self.standing)
        return self.title if self.standing in (Standing.SEEN, Standing.DERIVED) else f"{self.title} ({self.standing})"


@cache
def sources() -> dict[str, Source]:
    """Return every registered source by key, read once from the package's ``sources.toml``."""
    text = files("loopwright.values").joinpath("sources.toml").read_text(encoding="utf-8")
    return {
        key: Source(key=key, title=row["title"], where=row.get("where", ""), standing=Standing(row["standing"]), note=row.get("note", ""))
        for key, row in tomllib.loads(text).items()
    }


def source(key: str) -> Source:
    """Return one source. Raises KeyError when the key is not registered (a fault in the program)."""
    return sources()[key]
