"""The premises: where the job is, who has a part in it, its storeys and rooms, and the rules and units it is done by."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from loopwright.web.page import Page


def view(page: Page) -> Mapping[str, Any]:
    """Return what the premises room shows."""
    standing: dict[str, int] = {}
    for item in page.job.equipment.values():
        if item.room is not None:
            standing[item.room] = standing.get(item.room, 0) + 1
    page.plan(f"parties/{key}" for key in page.job.parties)
    return {"standing": standing, "ruleset": page.appraisal.ruleset}
