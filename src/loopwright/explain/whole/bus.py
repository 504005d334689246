"""The data bus as a part that can be at fault. No reading of the model shows it yet: troubles at the keypad and looks do."""

from __future__ import annotations

import numpy as np

from loopwright.explain.catalogue import of_group
from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.circuit.check import label
from loopwright.explain.circuit.place import Spot
from loopwright.explain.hypothesis import Floats, Hypothesis, Part
from loopwright.explain.whole.worded import worded
from loopwright.job.document import Job

PART = "bus"
SHOWN = {"missing": "missing", "others": "and others missing", "tamper": "with its cover open", "ghost": "as one nobody knows"}
"""What the keypad may show of a device on the bus, by the word it is written with."""
NOT_SHOWN = 0.01
UNFED_MISSING = 0.97
"""How often something unrelated is shown, and how often a device without a supply is missed (judgement)."""


def on_bus(job: Job) -> tuple[str, ...]:
    """Return the equipment with an address on the bus."""
    return tuple(name for name in job.equipment if job.sheet_of(name).addressed)


def bus_part(job: Job, devices: tuple[str, ...]) -> Part:
    """Return the bus with the hypotheses about ``devices`` and about the bus as a whole."""
    hypotheses = _hypotheses(job, devices)
    dark = list(dict.fromkeys([*(frozenset({device}) for device in devices), frozenset(devices)]))
    checks = tuple(
        Check(
            kind=CheckKind.TROUBLE,
            where=device,
            scenario=word,
            minutes=0.5,
            words=f"Does the keypad show {label(job, device)} {words}?",
            outcomes=YES_NO,
            by="caller",
        )
        for device in devices
        for word, words in SHOWN.items()
    )

    def chances(_: int, check: Check) -> Floats:
        yes = np.array([NOT_SHOWN, *(_shows(hypothesis, check) for hypothesis in hypotheses), *(_unfed(some, check) for some in dark)])
        return np.stack((yes, 1 - yes), axis=1)

    known = worded(PART, hypotheses, len(dark), checks, chances)
    first = 1 + len(hypotheses)
    return Part(name=PART, hypotheses=tuple(hypotheses), predicted=known, hidden={some: first + n for n, some in enumerate(dark)})


def _unfed(dark: frozenset[str], check: Check) -> float:
    """Return how likely the keypad shows it of a device when those in ``dark`` have no supply."""
    missing = check.where in dark if check.scenario == "missing" else len(dark) > 1 and check.scenario == "others"
    return UNFED_MISSING if missing else NOT_SHOWN


def _hypotheses(job: Job, devices: tuple[str, ...]) -> list[Hypothesis]:
    units = [name for name in job.equipment if job.sheet_of(name).bus is not None]
    facts = set()
    if any(sheet.terminate_ohm for name in units if (sheet := job.sheet_of(name).bus) is not None):
        facts.add("terminated")
    if sum(job.sheet_of(name).supply is not None for name in job.equipment) > 1:
        facts.add("several-supplies")
    whole = [Spot(place="", words="the bus", names={}, facts=frozenset(facts))]
    each = [Spot(place=device, words=label(job, device), names={}, facts=frozenset(facts)) for device in devices]
    return [
        Hypothesis(fault=fault, part=PART, place=spot.place, words=spot.words, weight=fault.weight)
        for fault in of_group("bus")
        for spot in (whole if fault.at == "bus" else each)
        if spot.has(fault.needs)
    ]


def _shows(hypothesis: Hypothesis, check: Check) -> float:
    """Return how likely a fault makes the keypad show it of the device asked about."""
    chances = hypothesis.fault.trouble
    if hypothesis.place in ("", check.where):
        return chances.get(check.scenario, NOT_SHOWN)
    return chances.get("others", NOT_SHOWN) if check.scenario in ("missing", "others") else NOT_SHOWN
