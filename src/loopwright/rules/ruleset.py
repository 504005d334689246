"""Rulesets: dated data, each number with its source, read from the package's ``rulesets/*.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from loopwright.job.document import Job
from loopwright.power.sizing import FORMULAS
from loopwright.power.standby import Requirement
from loopwright.values.source import source


@dataclass(frozen=True, kw_only=True, slots=True)
class Limit:
    """One number of a ruleset: the least and the most allowed (None where there is no bound), unit, source key, clause."""

    least: float | None = None
    most: float | None = None
    unit: str = ""
    source: str
    clause: str = ""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ruleset:
    """One set of rules of one edition. ``limits`` by name, see the files; ``formula`` is a key of the capacity formulas."""

    key: str
    title: str
    edition: str
    as_of: str
    formula: str
    limits: dict[str, Limit]

    def limit(self, name: str) -> Limit | None:
        """Return a limit by name; None when the ruleset says nothing about it."""
        return self.limits.get(name)

    def limits_on(self, quantity: str) -> tuple[Limit, ...]:
        """Return every limit on a quantity: ``entry_s`` itself and ``entry_s.cp-01`` beside it."""
        return tuple(limit for name, limit in self.limits.items() if name.partition(".")[0] == quantity)


@cache
def rulesets() -> dict[str, Ruleset]:
    """Return every ruleset by key, read once."""
    out = {}
    for entry in sorted(files("loopwright.rules").joinpath("rulesets").iterdir(), key=lambda item: item.name):
        if entry.name.endswith(".toml"):
            row = tomllib.loads(entry.read_text(encoding="utf-8"))
            limits = {name: Limit(**fields) for name, fields in row.get("limits", {}).items()}
            key = entry.name.removesuffix(".toml")
            out[key] = Ruleset(
                key=key, title=row["title"], edition=row["edition"], as_of=str(row["as_of"]), formula=row["formula"], limits=limits
            )
    return out


def ruleset_of(job: Job) -> Ruleset:
    """Return the ruleset a job names; ``custom`` when it names none that is known (a finding then says so)."""
    return rulesets().get(job.region.ruleset, rulesets()["custom"])


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
