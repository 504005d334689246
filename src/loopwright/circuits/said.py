"""What a reading is taken for, and what a part of a circuit is, in the words of its own circuit."""

from __future__ import annotations

from loopwright.job.document import Job
from loopwright.job.sheet import Reads, Topology


def taken_words(job: Job, circuit_id: str, reads: Reads | None) -> str:
    """Return what a reading is taken for; on a circuit that carries two zones it is one of them, or both, that is active.

    The circuit may be one of the job or a supervised output, which carries no zone.
    """
    if reads is None:
        return "nothing the sheet promises"
    circuit = job.circuits.get(circuit_id)
    if circuit is not None and circuit.topology is Topology.PAIR:
        if reads is Reads.BOTH:
            return "both zones active"
        for zone in job.zones.values():
            if zone.circuit == circuit_id and reads is (Reads.FAULT if zone.part == "b" else Reads.ACTIVE):
                return f"zone {zone.number} active"
    return str(reads).replace("-", " ")


def part_words(job: Job, circuit_id: str, name: str) -> str:
    """Return what people call a part of a circuit's network: ``W23, core out``, ``alarm resistor in Yard door``.

    A part of a network that is no circuit of the job, such as a supervised output, keeps its own name.
    """
    circuit = job.circuits.get(circuit_id)
    if circuit is None:
        return name
    number, _, part = name.removeprefix(f"{circuit_id}.").partition(".")
    if number == "end":
        return "end-of-line resistor"
    if not number.isdecimal() or int(number) >= len(circuit.path):
        return name
    hop = circuit.path[int(number)]
    if part.startswith("core-"):
        return f"{hop.cable}, {part.replace('-', ' ')}"
    device = job.equipment[hop.device].label or hop.device if hop.device is not None else hop.cable
    word, _, resistor = part.partition("-")
    return f"{word} {resistor or 'contact'} in {device}"
