"""What a check may look at: the document and everything computed from it."""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.circuits.forecast import CircuitForecast
from loopwright.job.document import Job
from loopwright.power.forecast import PowerForecast
from loopwright.power.standby import StandbyForecast
from loopwright.rules.ruleset import Ruleset
from loopwright.values.code import CodeFacts


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Facts:
    """The document with its figures; a check reads these and nothing else. Two are the same only when they are one."""

    job: Job
    ruleset: Ruleset
    power: PowerForecast
    standby: tuple[StandbyForecast, ...]
    circuits: tuple[CircuitForecast, ...]
    watches: tuple[CircuitForecast, ...]
    codes: tuple[CodeFacts, ...] = ()
