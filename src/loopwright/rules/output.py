"""Checks on switched outputs that watch their cable."""

from __future__ import annotations

from loopwright.job.sheet import Supervision
from loopwright.netlist.element import Resistance
from loopwright.power.forecast import LoadForecast, label_of
from loopwright.rules.facts import Facts
from loopwright.rules.worked import worked
from loopwright.values.figure import Figure, Input, Origin
from loopwright.values.finding import Finding, Severity


def check_supervision(facts: Facts) -> list[Finding]:
    """Every watched output sees its resistor within its limits, cable included; an unused one has the resistor on its terminals."""
    found = []
    ends: dict[str, list[LoadForecast]] = {}
    for load in facts.power.loads:
        if load.landing.output is not None:
            ends.setdefault(load.landing.output, []).append(load)
    used = set(ends) | {feed.output for cable in facts.job.cables.values() for feed in cable.feeds}
    for unit in facts.job.equipment:
        for terminal, spec in facts.job.sheet_of(unit).outputs.items():
            watch, name = spec.supervision, f"{unit}.{terminal}"
            if watch is None:
                continue
            if name not in used:
                found.append(_unused(facts, unit, terminal, watch))
            elif name in ends:
                figure = _far_figure(facts, name, watch, ends[name])
                if figure.value is not None and not watch.short_below_ohm <= figure.value <= watch.open_above_ohm:
                    found.append(_misread(facts, unit, terminal, watch, figure))
    return found


def _unused(facts: Facts, unit: str, terminal: str, watch: Supervision) -> Finding:
    return Finding(
        code="output-without-resistor",
        severity=Severity.SHOULD,
        subject=f"equipment/{unit}",
        sentence=f"Output {terminal} of {label_of(facts.job, unit)} watches its cable and feeds nothing: open, it shows a trouble.",
        remedy=f"Put {watch.resistor_ohm:g} Ω across its terminals (1 kΩ is common), or switch the output off in the programme.",
        clause="common practice",
        source="practice",
    )


def _far_figure(facts: Facts, output: str, watch: Supervision, loads: list[LoadForecast]) -> Figure:
    """Return what the output sees of its resistor at the end of the longest way, cable out and back included."""
    ways = {load.name: _way_ohm(facts, load) for load in loads}
    far = max(ways, key=lambda name: ways[name])
    value = watch.resistor_ohm + ways[far]
    return worked(
        f"supervision/{output}",
        f"output {output}, watched through {far.partition('.')[0]}",
        value,
        "Ω",
        formula="R = R_end + R_cable",
        inputs=(
            Input(name="resistor at the far end", value=watch.resistor_ohm, unit="Ω", origin=Origin.SHEET),
            Input(name="cable, out and back", value=round(ways[far], 3), unit="Ω", origin=Origin.COMPUTED),
        ),
        substituted=f"{watch.resistor_ohm:g} + {ways[far]:.2f}",
    )


def _way_ohm(facts: Facts, load: LoadForecast) -> float:
    wanted = set()
    for run in load.landing.runs:
        for number, feed in enumerate(facts.job.cables[run].feeds):
            if feed.output == load.landing.output:
                tag = run if number == 0 else f"{run}/{number}"
                wanted |= {f"{tag}.plus", f"{tag}.minus"}
    return sum(e.ohm for e in facts.power.network.netlist.elements if e.name in wanted and isinstance(e, Resistance))


def _misread(facts: Facts, unit: str, terminal: str, watch: Supervision, figure: Figure) -> Finding:
    shown = "shorted" if figure.value is not None and figure.value < watch.short_below_ohm else "cut"
    return Finding(
        code="supervision-out-of-band",
        severity=Severity.MUST,
        subject=f"equipment/{unit}",
        sentence=f"Output {terminal} of {label_of(facts.job, unit)} would see {figure}, cable included, and take it as {shown}; "
        f"it wants {watch.short_below_ohm:g} to {watch.open_above_ohm:g} Ω.",
        remedy="Shorten the way or use thicker cable to the last sounder; keep the sheet's own resistor.",
        clause="supervision limits",
        source="data-sheet",
        figures=(figure,),
    )
