"""What the desk asks first: dangers, what a caller may ring about, and the questions that lead from there to something the model knows."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

from loopwright.explain.expected.trouble import TroubleKind

HOURS, ZONE, KEYPAD, AREA = "hours", "zone", "keypad", "area"


@dataclass(frozen=True, kw_only=True, slots=True)
class Danger:
    """Something that ends every other question, and what is said at once."""

    key: str
    words: str
    say: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Complaint:
    """What a caller may ring about: what may be said to anybody, the questions it opens with, and what it tells explain by itself."""

    key: str
    words: str
    say: tuple[str, ...]
    ask: tuple[str, ...]
    seen: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """One answer: what it tells explain, the trouble it names, the questions it opens, or the end it is.

    ``also`` is a second thing it tells explain; ``part`` is the part of the room On site in which an end is gone on with.
    """

    key: str
    words: str
    seen: Mapping[str, str] = field(default_factory=dict)
    also: Mapping[str, str] = field(default_factory=dict)
    trouble: TroubleKind | None = None
    then: tuple[str, ...] = ()
    end: str = ""
    part: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ask:
    """One question of the desk. ``of`` says what an answer is where it is none of ``answers``: hours, or a place of the design.

    ``none`` are the words for none of them, which tells ``none_seen``; ``guarded`` questions are for an identified caller.
    """

    key: str
    words: str
    answers: tuple[Choice, ...] = ()
    of: str = ""
    seen: Mapping[str, str] = field(default_factory=dict)
    trouble: TroubleKind | None = None
    none: str = ""
    none_seen: Mapping[str, str] = field(default_factory=dict)
    guarded: bool = False


@cache
def dangers() -> Mapping[str, Danger]:
    """Return the dangers by their key, in the order in which they are asked."""
    return {key: Danger(key=key, **row) for key, row in _table()["danger"].items()}


@cache
def complaints() -> Mapping[str, Complaint]:
    """Return what a caller may ring about, by its key."""
    return {
        key: Complaint(key=key, words=row["words"], say=tuple(row["say"]), ask=tuple(row["ask"]), seen=row.get("seen", {}))
        for key, row in _table()["complaint"].items()
    }


@cache
def asks() -> Mapping[str, Ask]:
    """Return every question by its key."""
    return {key: _ask(key, dict(row)) for key, row in _table()["ask"].items()}


def _ask(key: str, row: dict[str, Any]) -> Ask:
    answers = tuple(_choice(dict(each)) for each in row.pop("answers", ()))
    trouble = row.pop("trouble", None)
    return Ask(key=key, answers=answers, trouble=TroubleKind(trouble) if trouble else None, **row)


def _choice(row: dict[str, Any]) -> Choice:
    trouble, then = row.pop("trouble", None), tuple(row.pop("then", ()))
    return Choice(trouble=TroubleKind(trouble) if trouble else None, then=then, **row)


@cache
def _table() -> dict[str, dict[str, Any]]:
    table: dict[str, dict[str, Any]] = tomllib.loads(files("loopwright.desk").joinpath("questions.toml").read_text(encoding="utf-8"))
    return table
