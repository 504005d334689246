"""Checks on whether current can get anywhere: what is not fed, and 0 V that nothing joins."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from loopwright.job.document import Stage
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.feeding import without_return, zero_groups
from loopwright.rules.worked import due, some
from loopwright.values.finding import Finding, Severity


def check_fed(facts: Facts) -> list[Finding]:
    """Every supply input gets current from somewhere."""
    found = []
    landings = {f"{m.equipment}.{m.load}": m for m in facts.power.network.landings}
    for name in facts.power.unfed:
        landing = landings[name]
        label = label_of(facts.job, landing.equipment)
        where = "" if landing.load == "supply" else f" ({landing.load})"
        if landing.output is None:
            sentence = f"{label}{where} is fed from no output: no run with a feed reaches it."
            remedy = "Add a feed to the runs that lead to it, from the output on."
        else:
            sentence = f"{label}{where} hangs on {landing.output}, which no supply reaches in any state."
            remedy = f"Feed {landing.output.partition('.')[0]} first."
        found.append(
            Finding(
                code="not-fed",
                severity=due(facts.job, Stage.POWER_UP, Severity.MUST),
                subject=f"equipment/{landing.equipment}",
                sentence=sentence,
                remedy=remedy,
                source="job-document",
            )
        )
    return found


def check_feeds_arrive(facts: Facts) -> list[Finding]:
    """Every run that is said to carry an output is reached by it."""
    found = []
    for run, output in facts.power.network.astray:
        cable, unit = facts.job.cables[run], output.partition(".")[0]
        ends = some([label_of(facts.job, place) if place in facts.job.equipment else place for place in (cable.start, cable.end)])
        found.append(
            Finding(
                code="feed-astray",
                severity=Severity.MUST,
                subject=f"cables/{run}",
                sentence=f"Run {run} is said to carry {output}, which comes to neither of its ends ({ends}).",
                remedy=f"Start the run at {label_of(facts.job, unit)}, bring the output there by another run, or name the one it carries.",
                source="job-document",
            )
        )
    return found


def check_common_zero(facts: Facts) -> list[Finding]:
    """Equipment that works together over a feed or a circuit has its 0 V joined."""
    out = []
    for code, units, what in (*_split_feeds(facts), *_split_circuits(facts)):
        on_circuit = code == "circuit-without-common-0v"
        names = some([label_of(facts.job, unit) for unit in units])
        out.append(
            Finding(
                code=code,
                severity=Severity.SHOULD if on_circuit else Severity.MUST,
                subject=f"equipment/{units[0]}",
                sentence=f"{names} have no common 0 V, yet {what}.",
                remedy="Join their 0 V with a core (zero_v_cores of a run between them); never join the plus of two supplies.",
                source="practice" if on_circuit else "first-principles",
            )
        )
    return out


def _split_feeds(facts: Facts) -> Iterator[tuple[str, tuple[str, str], str]]:
    for load in without_return(facts.power):
        unit = (load.landing.output or "").partition(".")[0]
        yield "feed-without-return", (load.landing.equipment, unit), f"one feeds the other ({load.landing.load})"


def apart(groups: Mapping[str, str], one: str, other: str) -> bool:
    """Return whether two pieces of equipment have no 0 V in common; False for one of which no conductor is known."""
    a, b = groups.get(f"{one}.0v"), groups.get(f"{other}.0v")
    return a is not None and b is not None and a != b


def _split_circuits(facts: Facts) -> Iterator[tuple[str, tuple[str, str], str]]:
    job, seen, groups = facts.job, set(), zero_groups(facts.power)
    for name, circuit in job.circuits.items():
        unit = circuit.input.partition(".")[0] if circuit.input else None
        for hop in circuit.path:
            if unit is None or hop.device is None or not job.sheet_of(hop.device).loads or (unit, hop.device) in seen:
                continue
            seen.add((unit, hop.device))
            if hop.device not in {p.partition(".")[0] for p in facts.power.unfed} and apart(groups, unit, hop.device):
                yield "circuit-without-common-0v", (unit, hop.device), f"circuit {name} joins them"
