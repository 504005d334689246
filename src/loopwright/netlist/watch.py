"""Supervised outputs as networks: the cable of a siren output, watched while the output is off, with every act that can be done to it.

While the output is off the control unit watches its cable through a resistance, as it watches a detection circuit. The sounders on it do
not conduct then (they are blocked by a diode or fed the other way round: common practice, no source), so that what is
seen is the resistor at the far end through the cable. Returns that run in other cables are left out: they lower the few ohms of the
cable, never the resistor.
"""

from __future__ import annotations

import math

from loopwright.job.document import Job
from loopwright.job.sheet import Supervision
from loopwright.netlist.compile import LEAST_OHM, PowerNetwork, cores_through
from loopwright.netlist.element import Element, Netlist, PullUp, Resistance
from loopwright.netlist.loop import CABLE_BEST, Act, ActKind, LoopNetwork, Variable

RESISTOR_TOLERANCE = 0.05
"""Tolerance of a resistor across an output when nobody stated one: 5 per cent (common practice, no source)."""
CABLE_WORST = 1.2
"""Worst cable against its table value: 7/0.2 mm reads 80 to 85 and may read 96 ohm per km (DIN VDE 0295 against typical)."""


def compile_watches(job: Job, power: PowerNetwork) -> tuple[LoopNetwork, ...]:
    """Return the network of every supervised output of ``job``, used or not."""
    out = []
    for unit in job.equipment:
        for output, spec in job.sheet_of(unit).outputs.items():
            if spec.supervision is not None:
                out.append(_compile(job, power, unit, output, spec.supervision))
    return tuple(out)


def _compile(job: Job, power: PowerNetwork, unit: str, output: str, watch: Supervision) -> LoopNetwork:
    name, common = f"{unit}.{output}", f"{unit}.0v"
    fitted = job.equipment[unit].end_resistors.get(output)
    ways = sorted((m for m in power.landings if m.output == name and m.runs), key=lambda m: len(m.runs), reverse=True)
    runs = tuple(dict.fromkeys(run for way in ways for run in way.runs))
    cores = {run: cores_through(job, run, name) for run in runs}
    wanted = {core for pair in cores.values() for core in pair}
    wires = [e for e in power.netlist.elements if isinstance(e, Resistance) and e.name in wanted]
    far = (ways[0].plus, ways[0].minus) if ways else (name, common)
    used = bool(ways)
    ohm = fitted.ohm if fitted is not None else (watch.resistor_ohm if used else math.inf)
    resistor = f"{name}.end"
    pull_up = PullUp(f"{name}.watch", name, common, watch.pull_up_v, watch.pull_up_ohm)
    elements: list[Element] = [pull_up, *wires, Resistance(resistor, *far, ohm)]
    acts = [Act(kind=ActKind.REST, device=None, changes=())]
    if math.isfinite(ohm):
        acts.append(Act(kind=ActKind.NO_RESISTOR, device=None, changes=((resistor, math.inf),)))
    for way in ways:
        short = f"{name}.{way.equipment}.short"
        elements.append(Resistance(short, way.plus, way.minus, math.inf))
        acts.append(Act(kind=ActKind.SHORTED, device=way.equipment, changes=((short, LEAST_OHM),)))
        acts.append(Act(kind=ActKind.CUT, device=way.equipment, changes=((cores[way.runs[-1]][0], math.inf),)))
    share = RESISTOR_TOLERANCE if fitted is None else fitted.tolerance_pct / 100
    variables = [Variable(name=resistor, members=(resistor,), low=1 - share, high=1 + share)]
    if wires:
        variables.append(Variable(name=f"{name}.cable", members=tuple(e.name for e in wires), low=CABLE_BEST, high=CABLE_WORST))
    return LoopNetwork(
        circuit=name,
        netlist=Netlist(elements=tuple(elements), references=(common,), title=f"output {name}"),
        terminal=name,
        common=common,
        pull_up=pull_up,
        landed=used,
        acts=tuple(acts),
        variables=tuple(variables),
    )
