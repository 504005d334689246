"""Which entry of the document each row of a list is: the one of its id, the one it can only be, or a new one."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping

from loopwright.job.cellvalue import Meant, key_of
from loopwright.job.columns import Matching
from loopwright.job.intake import Gathered, Row
from loopwright.job.list_entry import Entry, slug_of
from loopwright.job.list_plan import ID, ListPlan
from loopwright.job.read import ACCEPTED_ID
from loopwright.job.read import ID as ID_FORM
from loopwright.job.tree import shorten

_NUMBERED = re.compile(r"([A-Za-z][A-Za-z_-]*?)(\d{1,6})", re.ASCII)


def named_rows(
    found: Gathered, plan: ListPlan, matching: Matching, said: list[tuple[Row, dict[str, Meant]]], present: Mapping[str, Entry]
) -> list[tuple[str, dict[str, Meant]]]:
    """Return what each row says under its id: its own, that of the entry it can only be, or a new one. Other rows are refused."""
    column = matching.of(ID)
    folded = {name.casefold(): name for name in present}
    named: dict[int, str] = {}
    for row, meanings in said:
        name = str(meanings.get(ID, ""))
        if not name:
            continue
        first = found.row_of.get(name)
        if first is not None:
            found.refuse(row.number, column, f"{shorten(name)} stands in row {first + 1} too.")
        elif not ID_FORM.fullmatch(name):
            found.refuse(row.number, column, f"'{shorten(name)}' cannot be an id. Accepted: {ACCEPTED_ID}.{_better(name)}")
        elif name not in present and name.casefold() in folded:
            found.refuse(row.number, column, f"{name} is written {folded[name.casefold()]} in the job.")
        else:
            found.row_of[name] = row.number
            named[row.number] = name
    _name_by_key(found, plan, matching, said, present, named)
    return [(named[row.number], meanings) for row, meanings in said if row.number in named]


def _better(name: str) -> str:
    """Return a sentence with an id made of a text that is none."""
    slug = re.sub(r"[^A-Za-z0-9_-]+", "-", name).strip("-_")[:40]
    return f" Write for example {slug}." if slug else ""


def _name_by_key(
    found: Gathered,
    plan: ListPlan,
    matching: Matching,
    said: list[tuple[Row, dict[str, Meant]]],
    present: Mapping[str, Entry],
    named: dict[int, str],
) -> None:
    """Name the rows without an id."""
    keys: dict[tuple[str, ...], list[str]] = {}
    for name, entry in present.items():
        key = key_of(plan, {field: entry.says(field) for field in plan.known_by})
        if key is not None:
            keys.setdefault(key, []).append(name)
    taken = set(present) | set(found.row_of)
    known_by = matching.of(plan.known_by[0])
    for row, meanings in said:
        if ID in row.cells:
            continue
        key = key_of(plan, meanings)
        met = keys.get(key, []) if key is not None else []
        if len(met) > 1:
            found.refuse(row.number, known_by, f"this may be {' or '.join(met[:4])}: write the id.")
            continue
        name = met[0] if met else _new_id(plan, meanings, taken)
        if name in found.row_of:
            found.refuse(row.number, known_by, f"{name} stands in row {found.row_of[name] + 1} too.")
            continue
        taken.add(name)
        found.row_of[name] = row.number
        named[row.number] = name


def _new_id(plan: ListPlan, meanings: Mapping[str, Meant], taken: set[str]) -> str:
    """Return an id nobody has: made of what the entry is called, or numbered on as those there are."""
    called = meanings.get(plan.named_after)
    if isinstance(called, str) and (slug := slug_of(called, taken)):
        return slug
    numbered = [parts for name in taken if (parts := _NUMBERED.fullmatch(name))]
    usual = Counter(parts[1] for parts in numbered).most_common(1)
    lead = usual[0][0] if usual and not plan.named_after else plan.new_id
    of_lead = [parts[2] for parts in numbered if parts[1] == lead]
    width = min((len(digits) for digits in of_lead), default=2)
    return f"{lead}{max((int(digits) for digits in of_lead), default=0) + 1:0{width}d}"
