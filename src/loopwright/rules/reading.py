"""Checks on what the control unit takes every detection circuit for, act by act."""

from __future__ import annotations

from typing import NamedTuple

from loopwright.circuits.forecast import ActForecast, CircuitForecast, limits, ohm_figure
from loopwright.circuits.misread import misread_figure, most_misread
from loopwright.circuits.said import taken_words
from loopwright.job.sheet import Reads, Topology
from loopwright.netlist.loop import ActKind
from loopwright.power.forecast import label_of
from loopwright.rules.circuit import NEEDS, WORDS, lacking, resistor_values
from loopwright.rules.facts import Facts
from loopwright.rules.worked import length_words
from loopwright.values.finding import Finding, Severity
from loopwright.values.recent import Recent

SURE = 1e-6
"""A chance of misreading below this is none."""
LIKELY = 0.01
"""A chance of misreading above this is a fault of the design, not of the day: our own line, so it makes a should, not a must."""


def check_readings(facts: Facts) -> list[Finding]:
    """Every act on every circuit is taken for what it is, tolerances included."""
    found = []
    for item in facts.circuits:
        if item.bands is None or lacking(facts.job.circuits[item.circuit]):
            continue
        acts = _sorted_out(item, pair=_is_pair(facts, item))
        if acts.wrong:
            found.append(_wrong(facts, item, acts.wrong))
        elif acts.near:
            found.append(_near(facts, item, acts.near))
        elif acts.crossing:
            found.append(_corner(facts, item, acts.crossing))
        if acts.blurred:
            found.append(_blurred(facts, item, acts.blurred))
    return found


class _Acts(NamedTuple):
    """The acts of a circuit about which something is to be said, by what it is."""

    wrong: list[ActForecast]
    near: list[ActForecast]
    crossing: list[ActForecast]
    blurred: list[ActForecast]


SORTED: Recent[_Acts] = Recent(most_names=1000)
"""Circuits as they were looked through last: of most there is nothing to say, and an edit concerns one or two."""


def _sorted_out(item: CircuitForecast, *, pair: bool) -> _Acts:
    arguments = (item.acts, item.bands, item.spreads, item.network.pull_up.ohm, pair)
    known = SORTED.find(item.circuit, arguments)
    if known is None:
        acts = [act for act in item.acts if act.act.kind is not ActKind.ALL_ACTIVATED or pair]
        blurred = [act for act in acts if _cannot_tell(item, act)]
        told = [act for act in acts if act not in blurred]
        known = _Acts(
            wrong=[act for act in told if not act.right or (act.misread or 0.0) > LIKELY],
            near=[act for act in told if SURE < (act.misread or 0.0) <= LIKELY and act.right],
            crossing=[act for act in told if act.right and (act.misread or 0.0) <= SURE and _crosses(item, act)],
            blurred=blurred,
        )
        SORTED.put(item.circuit, arguments, known)
    return known


def _is_pair(facts: Facts, item: CircuitForecast) -> bool:
    return facts.job.circuits[item.circuit].topology is Topology.PAIR


def _cannot_tell(item: CircuitForecast, act: ActForecast) -> bool:
    """Return whether the input has no band for what an act means, and takes it for something other than rest."""
    assert item.bands is not None
    return not act.meant & {read for read in item.bands.reads if read is not None} and act.taken_for not in (Reads.REST, None)


def _crosses(item: CircuitForecast, act: ActForecast) -> bool:
    """Return whether a worst-case corner of an act is taken for something it is not meant to be."""
    assert item.bands is not None
    pull, spread = item.network.pull_up.ohm, item.spreads[item.acts.index(act)]
    # The unit compares volts: a pull-up off its nominal value moves every edge with it.
    low, high = act.low_ohm * pull / spread.pull_up_high_ohm, act.high_ohm * pull / spread.pull_up_low_ohm
    between = [item.bands.taken_for(edge) for edge in item.bands.edges_ohm if low < edge <= high]
    return any(read not in act.meant for read in (item.bands.taken_for(low), item.bands.taken_for(high), *between))


def _act_words(facts: Facts, act: ActForecast) -> str:
    return f"{act.act.kind} ({label_of(facts.job, act.act.device)})" if act.act.device else str(act.act.kind)


def _more(acts: list[ActForecast]) -> str:
    if len(acts) < 2:
        return ""
    return " One further act likewise." if len(acts) == 2 else f" {len(acts) - 1} further acts of this circuit likewise."


def _edges_words(item: CircuitForecast, act: ActForecast) -> str:
    """Return the band an act should fall in, in words."""
    assert item.bands is not None
    bounds = (0.0, *item.bands.edges_ohm, float("inf"))
    rows = [(low, high) for low, high, read in zip(bounds, bounds[1:], item.bands.reads, strict=False) if read in act.meant]
    return " or ".join(f"{low:.0f} Ω and above" if high == float("inf") else f"{low:.0f} to {high:.0f} Ω" for low, high in rows)


def _wrong(facts: Facts, item: CircuitForecast, acts: list[ActForecast]) -> Finding:
    act = most_misread(acts)
    figure = ohm_figure(facts.job, item, act)
    words = f"Circuit {item.circuit}, {_act_words(facts, act)}, reads {figure}"
    if not act.right:
        taken = taken_words(facts.job, item.circuit, act.taken_for)
        sentence = f"{words} and is taken for {taken} instead of {_meant_words(facts, item, act)}.{_more(acts)}"
    else:
        sentence = f"{words} and is misread with a chance of {100 * (act.misread or 0.0):.1f} %, tolerances included.{_more(acts)}"
    return Finding(
        code="circuit-misread",
        severity=Severity.SHOULD if act.right else Severity.MUST,
        subject=f"circuits/{item.circuit}",
        sentence=sentence,
        remedy=_remedy(facts, item, act),
        clause="resistance bands",
        source="data-sheet",
        figures=(figure, misread_figure(facts.job, item, act)),
    )


def _meant_words(facts: Facts, item: CircuitForecast, act: ActForecast) -> str:
    return " or ".join(sorted(taken_words(facts.job, item.circuit, each) for each in act.meant))


def _remedy(facts: Facts, item: CircuitForecast, act: ActForecast) -> str:
    """Return what would bring an act into its band: the sheet's own resistors where they differ, else the band to reach."""
    circuit = facts.job.circuits[item.circuit]
    inputs = facts.job.sheet_of(circuit.input.partition(".")[0]).inputs if circuit.input else None
    asked = inputs.resistor_sets.get(circuit.topology) if inputs is not None else None
    band = f"It has to read {_edges_words(item, act)}." if _edges_words(item, act) else "The input has no band for it."
    if asked is not None and asked != circuit.resistors:
        names = [f"{WORDS[field]} {ohm:g} Ω" for field, ohm in resistor_values(asked)]
        return f"{band} Fit the resistors the sheet asks for: {', '.join(names)}."
    wiring = sum(float(o) for n, o in zip(item.reading.names, item.reading.ohm[0], strict=True) if ".core-" in n)
    tighter = tighter_words(circuit.resistor_tolerance_pct)
    return f"{band} The wiring is {wiring:.1f} Ω of it: shorten it, take thicker cable, or fit {tighter} resistors."


def tighter_words(tolerance_pct: float) -> str:
    """Return the next tighter tolerance on sale in words."""
    tighter = next((value for value in (5.0, 2.0, 1.0, 0.5, 0.1) if value < tolerance_pct), 0.1)
    return f"{tighter:g} %"


def _near(facts: Facts, item: CircuitForecast, acts: list[ActForecast]) -> Finding:
    act = most_misread(acts)
    figure, room = ohm_figure(facts.job, item, act), limits(facts.job, item)
    left = ""
    if act.act.kind is ActKind.REST and room.extra_m is not None:
        left = f" {length_words(facts.job, room.extra_m.nominal)} more cable would do it with every part at its middle."
    return Finding(
        code="circuit-near-edge",
        severity=Severity.SHOULD,
        subject=f"circuits/{item.circuit}",
        sentence=f"Circuit {item.circuit}, {_act_words(facts, act)}, reads {figure}, so near the edge of its band that it is misread "
        f"with a chance of {act.misread:.2g}.{left}{_more(acts)}",
        remedy=_remedy(facts, item, act),
        clause="resistance bands",
        source="data-sheet",
        figures=(figure, misread_figure(facts.job, item, act)),
    )


def _corner(facts: Facts, item: CircuitForecast, acts: list[ActForecast]) -> Finding:
    act = acts[0]
    figure = ohm_figure(facts.job, item, act)
    return Finding(
        code="circuit-corner-crosses",
        severity=Severity.NOTE,
        subject=f"circuits/{item.circuit}",
        sentence=f"Circuit {item.circuit}, {_act_words(facts, act)}, would be misread with every part at its worst at once "
        f"({act.low_ohm:.0f} to {act.high_ohm:.0f} Ω); the chance of that is below one in a million.{_more(acts)}",
        remedy="Nothing has to be done; closer resistors would give room.",
        source="data-sheet",
        figures=(figure,),
    )


def _blurred(facts: Facts, item: CircuitForecast, acts: list[ActForecast]) -> Finding:
    names = sorted({str(act.act.kind) for act in acts})
    taken = sorted({taken_words(facts.job, item.circuit, act.taken_for) for act in acts})
    return Finding(
        code="circuit-cannot-tell",
        severity=Severity.NOTE,
        subject=f"circuits/{item.circuit}",
        sentence=f"Circuit {item.circuit} cannot tell {', '.join(names)} apart: the input takes it for {', '.join(taken)}.",
        remedy="Use a topology with a band of its own for it where that matters.",
        source="data-sheet",
        figures=(ohm_figure(facts.job, item, acts[0]),),
    )


def check_several_devices(facts: Facts) -> list[Finding]:
    """Several devices on one pair, active together, are never taken for rest."""
    found = []
    for item in facts.circuits:
        if item.bands is None or _is_pair(facts, item) or lacking(facts.job.circuits[item.circuit]):
            continue
        act = next((act for act in item.acts if act.act.kind is ActKind.ALL_ACTIVATED), None)
        # With one resistor or none an open circuit is what an alarm reads as anyway.
        plain = NEEDS[facts.job.circuits[item.circuit].topology] in ((), ("end_ohm",))
        if act is None or (act.right and (plain or act.taken_for is not Reads.OPEN)):
            continue
        hidden = act.taken_for in (Reads.REST, Reads.SHORT) and not act.right
        figure = ohm_figure(facts.job, item, act)
        found.append(
            Finding(
                code="several-devices-on-circuit",
                severity=Severity.MUST if hidden else Severity.NOTE if act.right else Severity.SHOULD,
                subject=f"circuits/{item.circuit}",
                sentence=f"With all devices of circuit {item.circuit} active together it reads {figure} "
                f"and is taken for {taken_words(facts.job, item.circuit, act.taken_for)}.",
                remedy="Give each device a circuit of its own where the unit has inputs left.",
                source="data-sheet",
                figures=(figure,),
            )
        )
    return found
