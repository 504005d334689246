"""The order of work: document to network, network to figures, figures to findings. One call for screen, paper and command line."""

from __future__ import annotations

from dataclasses import dataclass, replace

from loopwright.circuits.forecast import CircuitForecast, forecast_circuits, forecast_watches
from loopwright.job.document import Job
from loopwright.keying.check import check_keyed
from loopwright.netlist.compile import compile_power
from loopwright.power.forecast import PowerForecast, forecast_power
from loopwright.power.standby import Requirement, StandbyForecast, forecast_standby
from loopwright.rules.facts import Facts
from loopwright.rules.register import CHECKS, CODE_CHECKS, run_checks
from loopwright.rules.ruleset import Ruleset, requirement_of, ruleset_of
from loopwright.values.code import CodeFacts
from loopwright.values.finding import Finding, Severity
from loopwright.values.recent import Recent

_Electric = tuple[PowerForecast, tuple[StandbyForecast, ...]]
KEPT: Recent[_Electric] = Recent(most_names=1)
"""Power as it was forecast last: an edit of names, zones, circuits or people leaves it as it is."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Appraisal:
    """Everything computed from one revision of a job, frozen.

    What was found by facts of the codes stands in ``private``, apart from the findings everybody reads.
    """

    job: Job
    ruleset: Ruleset
    power: PowerForecast
    standby: tuple[StandbyForecast, ...]
    circuits: tuple[CircuitForecast, ...]
    watches: tuple[CircuitForecast, ...]
    findings: tuple[Finding, ...]
    private: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        """Hold the law that a private finding never stands among those everybody reads."""
        if any(finding.private for finding in self.findings):
            raise ValueError("a private finding stands among those everybody reads")

    def count(self, severity: Severity) -> int:
        """Return how many findings have a severity."""
        return sum(1 for finding in self.findings if finding.severity is severity)

    def about(self, subject: str) -> tuple[Finding, ...]:
        """Return the findings whose subject is a document path or lies below it."""
        return tuple(f for f in self.findings if f.subject == subject or f.subject.startswith(f"{subject}/"))


def appraise(job: Job, codes: tuple[CodeFacts, ...] = ()) -> Appraisal:
    """Return the appraisal of a job. Raises nothing for a wrong design, which is a finding.

    What equals the job appraised before in everything it depends on (a circuit, the whole of power) is taken over from there.
    ``codes`` are facts of the codes, where they are known.
    """
    ruleset = ruleset_of(job)
    power, standby = _electric(job, requirement_of(job, ruleset))
    circuits = forecast_circuits(job)
    watches = forecast_watches(job, power.network)
    facts = Facts(job=job, ruleset=ruleset, power=power, standby=standby, circuits=circuits, watches=watches)
    found = run_checks(facts, (*CHECKS, check_keyed))
    whole = Appraisal(job=job, ruleset=ruleset, power=power, standby=standby, circuits=circuits, watches=watches, findings=found)
    return replace(whole, private=judge_codes(whole, codes)) if codes else whole


def _electric(job: Job, need: Requirement) -> _Electric:
    """Return power and standby; both depend on the network, the equipment, its sheets and the standby asked for."""
    network = compile_power(job)
    arguments = (network, job.equipment, job.sheets, need)
    known = KEPT.find("power", arguments)
    if known is None:
        power = forecast_power(job, network=network)
        known = (power, forecast_standby(job, power, need))
        KEPT.put("power", arguments, known)
    return known


def judge_codes(known: Appraisal, codes: tuple[CodeFacts, ...]) -> tuple[Finding, ...]:
    """Return what is found by facts of the codes of an appraised job; nothing else is computed anew."""
    facts = Facts(
        job=known.job, ruleset=known.ruleset, power=known.power, standby=known.standby, circuits=known.circuits, watches=known.watches,
        codes=codes,
    )  # fmt: skip
    return run_checks(facts, CODE_CHECKS)
