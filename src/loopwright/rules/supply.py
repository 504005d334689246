"""Checks on the volts every device gets."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from loopwright.job.sheet import LoadLaw
from loopwright.netlist.conductor import Basis, conductor_of, resistance_20
from loopwright.power.forecast import LoadForecast, label_of, scenario_words, volts_figure
from loopwright.power.remedy import remedy_of, run_drops, volts_without
from loopwright.rules.facts import Facts
from loopwright.rules.feeding import sagging, supplies_behind, without_return
from loopwright.rules.worked import length_words, severity_by
from loopwright.values.finding import Finding, Severity

MOST_SOLVED = 3
"""Runs for which a remedy is searched for; further ones wait until these are put right."""
MOST_SUSPECTS = 8
"""Loads tried when looking for the one that pulls an output down."""


@dataclass(frozen=True, kw_only=True, slots=True)
class _Short:
    """A load below its minimum: in which scenario worst, and by how much [V]."""

    load: LoadForecast
    scenario: str
    margin_v: float


def check_device_volts(facts: Facts) -> list[Finding]:
    """Every device has at least its minimum working volts in every state its output is live in."""
    short = sorted(_short_loads(facts), key=lambda item: item.margin_v)
    leaders: dict[str, _Short] = {}
    found = []
    for item in short:
        if item.load.landing.output is None:
            found.append(_own_board(facts, item))
            continue
        run = item.load.landing.runs[0] if item.load.landing.runs else ""
        if run and len(leaders) < MOST_SOLVED:
            leaders.setdefault(run, item)
        found.append(_below(facts, item, leaders.get(run)))
    return found


def _short_loads(facts: Facts) -> list[_Short]:
    """Return the loads below their minimum; what an overloaded or absent supply explains is left to those findings."""
    held, behind = sagging(facts), supplies_behind(facts.power)
    solution = facts.power.solution
    apart = set(facts.power.unfed) | {load.name for load in without_return(facts.power)}
    out = []
    for load in facts.power.loads:
        if load.name in apart:
            continue
        margin = np.where(solution.energised[solution.index[load.landing.plus]], load.margin_v, np.inf)
        supply = behind[load.name]
        if supply is not None and supply in held:
            margin = np.where(held[supply], np.inf, margin)
        margin = np.where(np.isnan(margin), np.inf, margin)
        worst = int(np.argmin(margin))
        if margin[worst] < -1e-6:
            out.append(_Short(load=load, scenario=facts.power.names[worst], margin_v=float(margin[worst])))
    return out


def _own_board(facts: Facts, item: _Short) -> Finding:
    """Return the finding that a unit's own board falls short inside its own box."""
    figure = volts_figure(facts.job, facts.power, item.load, item.scenario)
    equipment = item.load.landing.equipment
    at_end = item.scenario.endswith("battery-end")
    supply = facts.job.sheet_of(equipment).supply
    no_room = at_end and supply is not None and item.load.draw.min_v >= supply.cut_out_v
    return Finding(
        code="board-below-minimum",
        severity=Severity.NOTE if at_end else Severity.MUST,
        subject=f"equipment/{equipment}",
        sentence=f"The board of {label_of(facts.job, equipment)} gets {figure} {scenario_words(item.scenario)}; its sheet asks for "
        f"{item.load.draw.min_v:.1f} V" + (", no less than the volts at which it lets its battery go." if no_room else "."),
        remedy="Nothing on site changes this; keep the battery leads short and do not count on the last minutes."
        if at_end
        else "Take load off this supply.",
        source="data-sheet",
        figures=(figure,),
    )


def _below(facts: Facts, item: _Short, leader: _Short | None) -> Finding:
    """Return the finding that a device falls short; its remedy is searched for where it is the worst on its run."""
    job, load = facts.job, item.load
    name = label_of(job, load.landing.equipment)
    figure = volts_figure(job, facts.power, load, item.scenario)
    sentence = f"{name} gets {figure} {scenario_words(item.scenario)}; it needs {load.draw.min_v:.1f} V."
    remedy: str | Callable[[], str]
    if leader is None:
        remedy = "Use thicker cable or more cores in parallel, shorten the run, or feed it from a nearer supply."
    elif leader is item:
        worst = max(run_drops(job, facts.power, load, item.scenario), key=lambda drop: drop.drop_v)
        run = job.cables[worst.run]
        sentence += f" Run {worst.run} ({length_words(job, run.length_m + run.slack_m)}{' with its slack' if run.slack_m else ''}, "
        sentence += f"{job.sheets.cables[run.sheet].gauge}) alone takes {worst.drop_v:.2f} V of it."
        remedy = partial(_remedy_words, facts, item)
    else:
        remedy = f"Begin with {label_of(job, leader.load.landing.equipment)}, which is worst on the same run."
    return Finding(
        code="volts-below-minimum",
        severity=_by_cables(facts, load),
        subject=f"equipment/{load.landing.equipment}",
        sentence=sentence,
        remedy=remedy,
        clause="minimum working volts",
        source="data-sheet",
        figures=(figure,),
    )


def _by_cables(facts: Facts, load: LoadForecast) -> Severity:
    """Return *must*, but *should* where the ohms of a run on the way are themselves no more than common practice."""
    sheets = {facts.job.cables[run].sheet for run in load.landing.runs}
    return severity_by(*(resistance_20(conductor_of(facts.job.sheets.cables[name]), Basis.NOMINAL).source for name in sheets))


def _remedy_words(facts: Facts, item: _Short) -> str:
    """Return what would put a device right that is reached over cables."""
    job, made = facts.job, remedy_of(facts.job, facts.power, item.load, item.scenario)
    assert made is not None
    ways = []
    if made.gauge is not None:
        ways.append(f"{made.gauge} cable in {made.run}")
    elif made.way_gauge is not None:
        ways.append(f"{made.way_gauge} cable in every run from the supply ({', '.join(item.load.landing.runs)})")
    if made.cores is not None:
        ways.append(f"{made.cores} cores in parallel each way in {made.run}")
    if made.longest_m is not None:
        ways.append(f"no more than {length_words(job, made.longest_m)} of {made.run} as it is")
    if ways:
        return f"Any one of these just meets the minimum: {'; '.join(ways)}; or a supply of its own nearer to it. Leave some in hand."
    if made.bare_v < item.load.draw.min_v:
        return f"No cable is enough: without any it would get {made.bare_v:.2f} V. Feed it from a nearer or larger supply."
    return "No single change of cable is enough. Feed it from a second supply nearer to it."


def check_device_volts_high(facts: Facts) -> list[Finding]:
    """No device gets more than its maximum working volts."""
    found = []
    for load in facts.power.loads:
        most = load.draw.max_v
        if most is None:
            continue
        volts = np.where(load.live & np.isfinite(load.volts_v), load.volts_v, -np.inf)
        worst = int(np.argmax(volts))
        if volts[worst] <= most + 1e-6:
            continue
        scenario = facts.power.names[worst]
        figure = volts_figure(facts.job, facts.power, load, scenario)
        found.append(
            Finding(
                code="volts-above-maximum",
                severity=Severity.MUST,
                subject=f"equipment/{load.landing.equipment}",
                sentence=f"{label_of(facts.job, load.landing.equipment)} gets {figure} {scenario_words(scenario)}; it bears {most:.1f} V.",
                remedy=f"Feed it from a supply that gives no more than {most:.1f} V, or through a regulator.",
                clause="maximum working volts",
                source="data-sheet",
                figures=(figure,),
            )
        )
    return found


def check_collapse(facts: Facts) -> list[Finding]:
    """No output is pulled below half its supply's volts, where loads that hold their current can no longer work together."""
    held, behind = sagging(facts), supplies_behind(facts.power)
    worst: dict[str, tuple[float, LoadForecast, int]] = {}
    apart = {load.name for load in without_return(facts.power)}
    for load in facts.power.loads:
        supply, output = behind[load.name], load.landing.output
        if supply is None or output is None or load.name in apart or load.draw.law is LoadLaw.RESISTIVE:
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            share = load.volts_v / facts.power.supply(supply).volts_v
        share = np.where(load.live & np.isfinite(share) & ~held.get(supply, np.False_), share, np.inf)
        column = int(np.argmin(share))
        if share[column] < 0.5 and share[column] < worst.get(output, (0.5,))[0]:
            worst[output] = (float(share[column]), load, column)
    return [_collapse(facts, output, load, column) for output, (_, load, column) in worst.items()]


def _collapse(facts: Facts, output: str, load: LoadForecast, column: int) -> Finding:
    job, scenario = facts.job, facts.power.names[column]
    figure = volts_figure(job, facts.power, load, scenario)
    unit, _, terminal = output.partition(".")
    return Finding(
        code="volts-collapse",
        severity=_by_cables(facts, load),
        subject=f"equipment/{unit}",
        sentence=f"Output {terminal} of {label_of(job, unit)} collapses {scenario_words(scenario)}: "
        f"{label_of(job, load.landing.equipment)} is left with {figure} of the {load.draw.min_v:.1f} V it needs.",
        remedy=partial(_culprit_words, facts, output, scenario),
        source="data-sheet",
        figures=(figure,),
    )


def _culprit_words(facts: Facts, output: str, scenario: str) -> str:
    """Return which load to take off: the one without which the worst off of the others is best off."""
    state = facts.power.solution.scenarios[facts.power.column(scenario)].state
    fellows = [load for load in facts.power.loads if load.landing.output == output and load.draw.amperes()[state] > 0]
    if len(fellows) < 2:
        return "It is alone on the output: see what its run needs."
    suspects = sorted(fellows, key=lambda load: load.draw.amperes()[state], reverse=True)[:MOST_SUSPECTS]
    margins = volts_without(facts.power, fellows, scenario, [load.name for load in suspects])
    margins -= np.array([[load.draw.min_v] for load in fellows])
    for column, suspect in enumerate(suspects):
        margins[fellows.index(suspect), column] = np.inf
    best = int(np.argmax(np.min(margins, axis=0)))
    left = float(np.min(margins[:, best]))
    then = "every other device on it has its volts" if left >= 0 else f"the worst of the others still lacks {-left:.2f} V"
    return f"Take {label_of(facts.job, suspects[best].landing.equipment)} off this output first: without it {then}."
