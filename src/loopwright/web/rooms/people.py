"""The people, as those see them who keep them: who there is, what each may do, who is in, and when somebody was last here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from loopwright.store.audit import Line, parsed
from loopwright.store.login import Session
from loopwright.store.person import RIGHTS, Person, Right, Role

SIGNED_IN = "signed in"
MOST_LINES = 500


@dataclass(frozen=True, kw_only=True, slots=True)
class PersonRow:
    """One person on the sheet. ``fixed``: why whoever looks may not change this one; empty when they may."""

    person: Person
    sessions: tuple[Session, ...]
    last_in: str
    fixed: str


def fixed_for(keeper: Person, person: Person) -> str:
    """Return why a keeper may not change a person; empty when they may. The owner is changed by an owner, nobody by themselves."""
    if keeper.name == person.name:
        return "that is you"
    return "for the owner alone" if person.owner and not keeper.owner else ""


def view(keeper: Person, rows: Sequence[tuple[Person, tuple[Session, ...]]], lines: Sequence[bytes]) -> Mapping[str, Any]:
    """Return what the sheet shows."""
    last = last_in(lines)
    return {
        "rows": [
            PersonRow(person=each, sessions=sessions, last_in=last.get(each.name, ""), fixed=fixed_for(keeper, each))
            for each, sessions in rows
        ],
        "roles": [(role.value, [right.value for right in Right if right in RIGHTS[role]]) for role in Role],
    }


def last_in(lines: Sequence[bytes]) -> dict[str, str]:
    """Return when each person last signed in, by the trail: ``2026-03-02 08:00``."""
    found: dict[str, str] = {}
    for line in filter(None, (parsed(raw) for raw in lines)):
        if line[0].act == SIGNED_IN:
            found[line[0].subject.rpartition(" from ")[0]] = moment_words(line[0])
    return found


def moment_words(line: Line) -> str:
    """Return the moment of a line to the minute."""
    return datetime.fromisoformat(line.at).strftime("%Y-%m-%d %H:%M")
