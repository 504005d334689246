"""Rulesets: dated data, each number and each word with its source, read from ``rulesets/*.toml`` and ``further/*.toml``.

A job names one ruleset, and further ones beside it; a ruleset may bring further ones along. Local law is entered in the job.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field, replace
from functools import cache
from importlib.resources import files
from typing import Any

from loopwright.job.document import Job, LocalLevel, LocalLimit
from loopwright.power.sizing import FORMULAS
from loopwright.power.standby import Requirement
from loopwright.values.source import source


@dataclass(frozen=True, kw_only=True, slots=True)
class Limit:
    """One number of a ruleset: the least and the most allowed (None where there is no bound), unit, source key, clause.

    ``usual`` is the value a unit is delivered with, where the ruleset says so; ``at_m`` [m] at which distance a level is meant.
    """

    least: float | None = None
    most: float | None = None
    usual: float | None = None
    at_m: float | None = None
    unit: str = ""
    source: str
    clause: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """One choice of the programme that a ruleset does not leave free: the words allowed, source key, clause."""

    allowed: tuple[str, ...]
    source: str
    clause: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ruleset:
    """One set of rules of one edition. ``limits`` by name, see the files; ``formula`` is a key of the capacity formulas.

    ``choices`` are by their place below ``programme`` in the job; ``brings`` names the further rulesets that come with it.
    """

    key: str
    title: str
    edition: str
    as_of: str
    formula: str = ""
    limits: dict[str, Limit]
    choices: dict[str, Choice] = field(default_factory=dict)
    brings: tuple[str, ...] = ()

    def limit(self, name: str) -> Limit | None:
        """Return a limit by name; None when the ruleset says nothing about it."""
        return self.limits.get(name)

    def limits_on(self, quantity: str) -> tuple[Limit, ...]:
        """Return every limit on a quantity: ``entry_s`` itself and ``entry_s.cp-01`` beside it."""
        return tuple(limit for name, limit in self.limits.items() if name.partition(".")[0] == quantity)


@cache
def rulesets() -> dict[str, Ruleset]:
    """Return every ruleset by key, read once."""
    return _read("rulesets")


@cache
def further_rulesets() -> dict[str, Ruleset]:
    """Return every ruleset a job may be under beside the one it names, by key, read once."""
    return _read("further")


def _read(folder: str) -> dict[str, Ruleset]:
    found = {}
    for entry in sorted(files("loopwright.rules").joinpath(folder).iterdir(), key=lambda item: item.name):
        if entry.name.endswith(".toml"):
            key = entry.name.removesuffix(".toml")
            found[key] = _ruleset(key, tomllib.loads(entry.read_text(encoding="utf-8")))
    return found


def _ruleset(key: str, row: dict[str, Any]) -> Ruleset:
    limits = {name: Limit(**fields) for name, fields in row.get("limits", {}).items()}
    choices = {name: Choice(**(fields | {"allowed": tuple(fields["allowed"])})) for name, fields in row.get("choices", {}).items()}
    return Ruleset(
        key=key, title=row["title"], edition=row["edition"], as_of=str(row["as_of"]), formula=row.get("formula", ""), limits=limits,
        choices=choices, brings=tuple(row.get("brings", ())),
    )  # fmt: skip


def ruleset_of(job: Job) -> Ruleset:
    """Return the ruleset a job names with everything that holds beside it; ``custom`` when it names none that is known (a finding says so).

    A limit from beside it is called ``quantity.key``: the same quantity may be limited more than once, and each limit holds.
    """
    named = rulesets().get(job.region.ruleset, rulesets()["custom"])
    limits, choices = dict(named.limits), dict(named.choices)
    for beside in beside_of(job):
        limits |= {f"{name}.{beside.key}": limit for name, limit in beside.limits.items()}
        choices |= {f"{name}.{beside.key}": choice for name, choice in beside.choices.items()}
    for name, law in job.region.local_law.items():
        limits[f"{name}.local"] = Limit(least=law.least_s, most=law.most_s, unit="s", source="job-document", clause=_clause(law))
    for place, level in job.region.local_level.items():
        limits[f"{place}.local"] = Limit(
            least=level.least_db, most=level.most_db, at_m=level.at_m, unit="dB(A)", source="job-document", clause=_clause(level)
        )
    return replace(named, limits=limits, choices=choices)


def _clause(law: LocalLimit | LocalLevel) -> str:
    return f"{law.law}{f' ({law.seen})' if law.seen else ''}"


def beside_of(job: Job) -> tuple[Ruleset, ...]:
    """Return the further rulesets a job is under: those its ruleset brings along, and those it names itself."""
    named = rulesets().get(job.region.ruleset, rulesets()["custom"])
    return tuple(further_rulesets()[key] for key in dict.fromkeys((*named.brings, *job.region.also)))


def requirement_of(job: Job, ruleset: Ruleset) -> Requirement:
    """Return the standby asked for: the job's own hours where it states them, else the ruleset's."""
    name = "standby_h_reported" if job.signalling.sends("mains-failure") and ruleset.limit("standby_h_reported") else "standby_h"
    standby, alarm, recharge = ruleset.limit(name), ruleset.limit("alarm_min"), ruleset.limit("recharge_h")
    own = job.region.standby_h
    hours = own if own is not None else (standby.least if standby and standby.least is not None else 0.0)
    minutes = job.region.alarm_min if job.region.alarm_min is not None else (alarm.least if alarm and alarm.least is not None else 0.0)
    return Requirement(
        standby_h=hours,
        alarm_h=minutes / 60,
        formula=FORMULAS[ruleset.formula],
        source="job-document" if own is not None else (standby.source if standby else "practice"),
        clause="stated in the job" if own is not None else (standby.clause if standby else ""),
        recharge_h=recharge.most if recharge else None,
        recharge_source=recharge.source if recharge else "practice",
    )


def binding(*keys: str) -> bool:
    """Return whether every one of these sources may carry a *must*."""
    return all(source(key).binding for key in keys)
