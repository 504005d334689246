"""Checks on switched outputs that watch their cable."""

from __future__ import annotations

import math

from loopwright.circuits.forecast import CircuitForecast, ohm_figure
from loopwright.job.sheet import Reads, Supervision
from loopwright.netlist.loop import ActKind
from loopwright.power.forecast import label_of
from loopwright.rules.facts import Facts
from loopwright.rules.worked import some
from loopwright.values.finding import Finding, Severity


def check_supervision(facts: Facts) -> list[Finding]:
    """Every watched output sees a resistor within its limits, cable included; an unused one has it on its terminals."""
    found = []
    for item in facts.watches:
        unit, _, terminal = item.circuit.partition(".")
        watch = facts.job.sheet_of(unit).outputs[terminal].supervision
        if watch is None:
            continue
        if item.rest.right:
            found += _unwatched(facts, item)
            continue
        if not item.network.landed and math.isinf(item.rest.field_ohm):
            found.append(_unused(facts, unit, terminal, watch))
        else:
            found.append(_misread(facts, item, watch))
    return found


def _unused(facts: Facts, unit: str, terminal: str, watch: Supervision) -> Finding:
    return Finding(
        code="output-without-resistor",
        severity=Severity.SHOULD,
        subject=f"equipment/{unit}",
        sentence=f"Output {terminal} of {label_of(facts.job, unit)} watches its cable and feeds nothing: open, it shows a trouble.",
        remedy=f"Put {watch.resistor_ohm:g} Ω across its terminals (1 kΩ is common) and enter it, or switch the output off.",
        source="practice",
    )


def _unwatched(facts: Facts, item: CircuitForecast) -> list[Finding]:
    """Return one finding naming every sounder whose cable may be cut without a trouble: the resistor stands on another branch."""
    silent = [act.act.device for act in item.acts if act.act.kind is ActKind.CUT and act.taken_for is Reads.REST and act.act.device]
    if not silent:
        return []
    unit, _, terminal = item.circuit.partition(".")
    return [
        Finding(
            code="output-branch-unwatched",
            severity=Severity.NOTE,
            subject=f"equipment/{silent[0]}",
            sentence=f"A cut in the cable to {some([label_of(facts.job, name) for name in silent])} shows no trouble: output {terminal} of "
            f"{label_of(facts.job, unit)} sees its resistor at the end of another branch.",
            remedy="Loop the cable from sounder to sounder, the resistor at the last (look at the volts first), or give each an output.",
            source="practice",
        )
    ]


def _misread(facts: Facts, item: CircuitForecast, watch: Supervision) -> Finding:
    unit, _, terminal = item.circuit.partition(".")
    figure = ohm_figure(facts.job, item, item.rest)
    shown = "shorted" if item.rest.taken_for is Reads.SHORT else "cut"
    return Finding(
        code="supervision-out-of-band",
        severity=Severity.MUST,
        subject=f"equipment/{unit}",
        sentence=f"Output {terminal} of {label_of(facts.job, unit)} sees {figure}, cable included, and takes it as {shown}; "
        f"it wants {watch.short_below_ohm:g} to {watch.open_above_ohm:g} Ω.",
        remedy=f"Fit the sheet's own {watch.resistor_ohm:g} Ω at the last sounder; shorten the way or use thicker cable to it.",
        clause="supervision limits",
        source="data-sheet",
        figures=(figure,),
    )
