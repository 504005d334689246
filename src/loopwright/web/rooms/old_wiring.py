"""Taking over old wiring: what was read of each old pair, how it seems to be wired, and what has to change."""

from __future__ import annotations

from typing import Any

from loopwright.explain.circuit.check import label
from loopwright.explain.old.job import wired_words
from loopwright.explain.old.take_over import ONE_KIND, plan_words
from loopwright.store.visit import Visit
from loopwright.web.page import Page
from loopwright.web.site_old import CELLS, taken_over, units_of

MOST_WAYS = 4
HEADS = ("At rest", "Operated", "Lid open", "Fault shown", "Shorted at the device")


def view(page: Page, visit: Visit) -> dict[str, Any]:
    """Return what the section shows."""
    asked = dict(page.query.asked)
    units = units_of(page.job)
    unit = asked.get("unit", "") if asked.get("unit", "") in units else next(iter(units), "")
    found = taken_over(page.job, visit, unit)
    groups = [(each.pairs, wired_words(found.wired[each.pairs[0]][0])) for each in found.groups] if found else []
    others = {name: [wired_words(way) for way in ways[1:MOST_WAYS]] for name, ways in found.wired.items()} if found else {}
    return {
        "shown": bool(visit.old) or asked.get("old", "") == "yes",
        "rows": [(row, [getattr(row, name) for name in CELLS], others.get(row.name, [])) for row in visit.old],
        "cells": list(zip(CELLS, HEADS, strict=True)),
        "groups": groups,
        "unexplained": found.unexplained if found else (),
        "plans": [plan_words(plan) for plan in found.plans] if found else [],
        "one_kind": ONE_KIND,
        "unit": unit,
        "units": [(name, label(page.job, name)) for name in units],
    }
