"""Checks on the way of a detection circuit along its cables: whether the runs meet, and whose contacts they come to."""

from __future__ import annotations

from collections.abc import Iterator

from loopwright.job.document import Circuit, Job
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.worked import some
from loopwright.values.finding import Finding, Severity


def check_ways(facts: Facts) -> list[Finding]:
    """Every circuit's runs follow on one another from its input, and each comes to the device it is said to."""
    found = []
    for name, circuit in facts.job.circuits.items():
        for number, sentence in _breaks(facts.job, name, circuit):
            found.append(
                Finding(
                    code="circuit-way-broken",
                    severity=Severity.MUST,
                    subject=f"circuits/{name}/path/{number}",
                    sentence=sentence,
                    remedy="Name the runs in order from the input, each starting where the one before it ended.",
                    source="job-document",
                )
            )
    return found


def _breaks(job: Job, name: str, circuit: Circuit) -> Iterator[tuple[int, str]]:
    """Yield the step and the words of every break in a circuit's way; a run may be taken from either end."""
    at = circuit.input.partition(".")[0] if circuit.input else None
    for number, hop in enumerate(circuit.path):
        run = job.cables[hop.cable]
        ends = {run.start: run.end, run.end: run.start}
        if at is not None and at not in ends:
            there = some([_called(job, place) for place in ends])
            yield number, f"Circuit {name} is at {_called(job, at)}, and its next run {hop.cable} starts and ends elsewhere ({there})."
        far = ends[at] if at is not None and at in ends else hop.device if hop.device in ends else None
        if hop.device is not None and hop.device not in ends:
            yield number, f"Circuit {name} is said to come to {_called(job, hop.device)} by run {hop.cable}, which does not go there."
        at = far


def _called(job: Job, place: str) -> str:
    return label_of(job, place) if place in job.equipment else place


def check_contacts_shared(facts: Facts) -> list[Finding]:
    """No contact stands in two circuits: one pair of terminals takes one pair of cores."""
    seen: dict[tuple[str, str], str] = {}
    found = []
    for name, circuit in facts.job.circuits.items():
        for number, hop in enumerate(circuit.path):
            for contact in hop.contacts if hop.device is not None else ():
                device = hop.device or ""
                first = seen.setdefault((device, contact), name)
                if first == name:
                    continue
                found.append(
                    Finding(
                        code="contact-in-two-circuits",
                        severity=Severity.MUST,
                        subject=f"circuits/{name}/path/{number}",
                        sentence=f"The {contact} contact of {label_of(facts.job, device)} stands in circuit {first} and in {name}.",
                        remedy="Leave it in the circuit it is wired in; a contact has one pair of terminals.",
                        source="job-document",
                    )
                )
    return found
