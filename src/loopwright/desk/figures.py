"""What the figures of a design say to a caller's trouble: a keypad's volts in an alarm, its bus, where a leak is halved, what creeps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from loopwright.appraisal.appraise import Appraisal
from loopwright.appraisal.trend import WATCH_DAYS, Course, chance_of_a_trip, of_circuit, trends
from loopwright.explain.along.earth_branch import CAUTION, boxes, earth_plan
from loopwright.job.document import Job
from loopwright.power.forecast import LoadForecast, label_of
from loopwright.power.remedy import remedy_of
from loopwright.values.finding import Severity

SOUNDING = ("alarm/mains", "alarm/battery")
AT_TIMES, IN_ALARM = "at-times", "sounding"
BUS_CODES = ("address-", "bus-", "off-the-bus")
"""Findings that may make a unit on the bus drop out, by how their codes begin."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Verdict:
    """What follows before any fault is thought of. ``normal`` None: it is neither said to be normal nor not.

    ``never`` is what must not be done about it, ``caution`` in brief, ``guarded`` what is for an identified caller only; ``part`` is the
    part of the room On site in which it is gone on with.
    """

    normal: bool | None
    words: str
    never: str = ""
    caution: str = ""
    guarded: bool = False
    part: str = ""


def keypad_verdicts(on_file: bool, appraisal: Appraisal, keypad: str, when: str) -> Iterator[Verdict]:  # noqa: FBT001
    """Yield what the design says of a keypad that fails in an alarm, or that comes and goes."""
    if when not in (IN_ALARM, AT_TIMES) or keypad not in appraisal.job.equipment:
        return
    lead = "" if on_file else "With what is assumed of the system: "
    for load in appraisal.power.loads:
        if load.landing.equipment == keypad:
            yield _volts(appraisal, load, lead)
    if when == AT_TIMES:
        # A finding about several units stands at one of them and names them all.
        name = label_of(appraisal.job, keypad)
        wrong = [
            each.sentence
            for each in appraisal.findings
            if each.code.startswith(BUS_CODES)
            and each.severity in (Severity.MUST, Severity.SHOULD)
            and (each.code.startswith("bus-") or each.subject == f"equipment/{keypad}" or name in each.sentence)
        ]
        found = " ".join(wrong) or "Length, forks, addresses and common 0 V of its bus are as the sheet asks."
        rest = (
            "It answers at times, so its data cores are not swapped and its address is not wrong: what comes and goes is as a rule "
            "a joint, damp, volts that fall, or a second one with its address that is not in the design."
        )
        yield Verdict(normal=False if wrong else None, words=f"{lead}{found}{'' if wrong else f' {rest}'}", guarded=True)


def _volts(appraisal: Appraisal, load: LoadForecast, lead: str) -> Verdict:
    """Say what a device is forecast to get in an alarm, on mains and on battery, against what it needs, and what would put it right."""
    power, needs_v = appraisal.power, load.draw.min_v
    name = label_of(appraisal.job, load.landing.equipment)
    volts = {state: float(load.volts_v[power.column(state)]) for state in SOUNDING}
    told = f"{lead}{name} should have {volts[SOUNDING[0]]:.1f} V in an alarm on mains and {volts[SOUNDING[1]]:.1f} V on battery"
    worst = min(SOUNDING, key=lambda state: volts[state])
    if volts[worst] >= needs_v:
        rest = (
            "A battery that is aged, a joint on its way or more load than was designed takes the rest: "
            "the visit reads the volts at it with the siren on."
        )
        return Verdict(normal=None, words=f"{told}; {needs_v:g} V are enough. {rest}", caution="noise", guarded=True)
    remedy = remedy_of(appraisal.job, power, load, worst)
    way = "a supply nearer to it"
    if remedy is not None:
        gauge, runs = (remedy.gauge, f"run {remedy.run}") if remedy.gauge is not None else (remedy.way_gauge, "every run on its way")
        way = f"{gauge} in {runs}" if gauge is not None else way
    words = f"{told}, and needs {needs_v:g} V: that the siren makes it restart follows from the design. What would do: {way}."
    return Verdict(normal=False, words=words, guarded=True)


def earth_verdict(on_file: bool, job: Job) -> Iterator[Verdict]:  # noqa: FBT001
    """Yield how a leak to earth is found at the box with most cables, where the design has one; what is only assumed names no cable."""
    box = next(iter(boxes(job)), "")
    if not box:
        return
    found = earth_plan(job, box)
    many, visits = len(found.runs), f"about {found.plan.expected_visits:.0f} readings"
    if on_file:
        words = (
            f"Where: {many} cables leave {found.words}. Parted half by half, the likely ones first, the leak is found after {visits}; "
            f"the first: {', '.join(found.runs[:3])}."
        )
    else:
        words = (
            f"Where: the cables are parted half by half at the control unit, those outdoors or in the damp first. "
            f"With {many} of them, as is assumed, the leak is found after {visits}."
        )
    yield Verdict(normal=None, words=words, caution=CAUTION, guarded=True, part=f"?find=earth:{box}#where")


def trend_verdict(appraisal: Appraisal, zone: str) -> Iterator[Verdict]:
    """Yield what the readings on record of a zone's circuit say over the years; nothing where the zone has no circuit."""
    circuit = appraisal.job.zones[zone].circuit if zone in appraisal.job.zones else None
    if circuit is None:
        return
    found = of_circuit(trends(appraisal), circuit)
    watch = (
        f"A meter left on min and max for {WATCH_DAYS} days sees a fault that comes twice a year in "
        f"{100 * chance_of_a_trip(2, WATCH_DAYS):.0f} of 100 cases."
    )
    if not found:
        words = f"Of circuit {circuit} there is at most one reading on record, so nothing says whether it creeps: the visit reads it first."
        yield Verdict(normal=None, words=f"{words} {watch}", guarded=True, part=f"?circuit={circuit}#five")
    for each in found:
        moved = each.course is not Course.STEADY
        words = f"Circuit {circuit}, {each.state}, over the years. {each.sentence}{'' if moved else f' {watch}'}"
        yield Verdict(normal=False if moved else None, words=words, guarded=True, part=f"?circuit={circuit}#five")
