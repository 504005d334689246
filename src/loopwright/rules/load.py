"""Checks on amperes: what outputs, supplies and transformers are asked for against what their sheets say they give."""

from __future__ import annotations

import numpy as np

from loopwright.power.forecast import LoadForecast, OutputForecast, SupplyForecast, label_of, scenario_words, transformer_va, volts_figure
from loopwright.power.reading import output_figure
from loopwright.rules.facts import Facts
from loopwright.rules.feeding import FULL, Demand, overloads, supplies_behind
from loopwright.rules.worked import given, some, worked
from loopwright.values.figure import Figure, Input, Origin
from loopwright.values.finding import Finding, Severity

MOST_TERMS = 8


def check_output_load(facts: Facts) -> list[Finding]:
    """No output gives more than its limit in any state."""
    found = []
    for output in facts.power.outputs:
        worst = int(np.argmax(np.nan_to_num(output.amps_a)))
        if not output.amps_a[worst] > output.limit_a * (1 + 1e-6):
            continue
        unit, _, terminal = output.name.partition(".")
        state = facts.power.solution.scenarios[worst].state
        fed = [load for load in facts.power.loads if load.landing.output == output.name]
        scenario = facts.power.names[worst]
        figure = output_figure(facts.job, facts.power, output, scenario)
        excess = float(output.amps_a[worst]) - output.limit_a
        found.append(
            Finding(
                code="output-over-limit",
                severity=Severity.MUST,
                subject=f"equipment/{unit}",
                sentence=f"Output {terminal} of {label_of(facts.job, unit)} gives {figure} {scenario_words(scenario)}; "
                f"its limit is {output.limit_a:.3g} A.",
                remedy=_lighten(facts, fed, state, excess) + f" Or feed part of it from another output with {excess:.3f} A to spare.",
                clause="output limit",
                source="data-sheet",
                figures=(figure, _limit_figure(output)),
            )
        )
    return found


def check_supply_load(facts: Facts) -> list[Finding]:
    """Every supply carries its loads on mains alone, its battery taken out, and in alarm with a flat battery charging."""
    worst: dict[str, Demand] = {}
    for demand in overloads(facts):
        held = worst.get(demand.supply.name)
        # What the loads alone ask for is the plainer fault of the two.
        if held is None or (not demand.charging_a, demand.amps_a) > (not held.charging_a, held.amps_a):
            worst[demand.supply.name] = demand
    return [_overload(facts, demand) for demand in worst.values()]


def _overload(facts: Facts, demand: Demand) -> Finding:
    job, name, limit, column = facts.job, demand.supply.name, demand.supply.limit_a, facts.power.column(demand.scenario)
    behind = supplies_behind(facts.power)
    fed = [load for load in facts.power.loads if behind[load.name] == name]
    key, label = f"demand/{name}/{demand.scenario}", f"{label_of(job, name)}, asked for"
    figure = _sum_figure(facts, key, label, demand.amps_a, fed, column, charging_a=demand.charging_a)
    short = sorted((load for load in fed if load.margin_v[column] < 0), key=lambda load: load.margin_v[column])
    tail, figures = f" Its volts sag to {demand.supply.volts_v[column]:.2f} V.", [figure]
    if short:
        lowest = volts_figure(job, facts.power, short[0], demand.scenario)
        figures.append(lowest)
        fall = "device falls" if len(short) == 1 else "devices fall"
        tail = f"{tail[:-1]}: {len(short)} {fall} short, {label_of(job, short[0].landing.equipment)} to {lowest}."
    part = f" ({demand.charging_a:.3g} A of it charges the battery)" if demand.charging_a else ""
    excess = demand.amps_a - limit
    less = f" Or let it charge with no more than {demand.charging_a - excess:.2f} A." if demand.charging_a > excess else ""
    return Finding(
        code="supply-overloaded-charging" if demand.charging_a else "supply-overloaded",
        severity=Severity.MUST,
        subject=f"equipment/{name}",
        sentence=f"{label_of(job, name)} is asked for {figure} {scenario_words(demand.scenario)}{part}; it gives {limit:.3g} A.{tail}",
        remedy=f"{_lighten(facts, fed, demand.state, excess)}{less} Or fit a supply of {demand.amps_a:.2f} A or more.",
        clause="supply limit, loads and charging together",
        source="data-sheet",
        figures=tuple(figures),
    )


def _sum_figure(
    facts: Facts, key: str, label: str, value: float, fed: list[LoadForecast], column: int, *, charging_a: float = 0.0
) -> Figure:
    """Return a current with the loads that make it up, the largest named."""
    state = facts.power.solution.scenarios[column].state
    rows = sorted(fed, key=lambda load: load.draw.amperes()[state], reverse=True)
    inputs = [
        Input(
            name=f"{label_of(facts.job, load.landing.equipment)} ({load.landing.load})",
            value=round(load.draw.amperes()[state], 4),
            unit="A",
            origin=Origin.SHEET,
            path=f"sheets/equipment/{facts.job.equipment[load.landing.equipment].sheet}/loads/{load.landing.load}",
        )
        for load in rows[:MOST_TERMS]
    ]
    rest = sum(load.draw.amperes()[state] for load in rows[MOST_TERMS:])
    if rest > 0:
        inputs.append(Input(name=f"{len(rows) - MOST_TERMS} more", value=round(rest, 4), unit="A", origin=Origin.SHEET))
    if charging_a > 0:
        inputs.append(Input(name="charging a flat battery", value=charging_a, unit="A", origin=Origin.SHEET))
    terms = " + ".join(f"{item.value:.4g}" for item in inputs)
    notes = ("the currents are those of the sheets; the value is of the solved network, where some follow the volts",)
    return worked(key, label, float(value), "A", formula="I = Σ I_n", inputs=inputs, substituted=terms, notes=notes)


def _limit_figure(output: OutputForecast) -> Figure:
    unit, _, terminal = output.name.partition(".")
    limit = Input(name="output limit", value=output.limit_a, unit="A", origin=Origin.SHEET)
    return worked(f"limit/{unit}.{terminal}", f"output {output.name}, limit", output.limit_a, "A", formula="as stated", inputs=(limit,))


def _lighten(facts: Facts, fed: list[LoadForecast], state: int, excess: float) -> str:
    """Return which devices to move so that the excess is gone: the smallest one that is enough, else the largest until it is."""
    rows = sorted((load for load in fed if load.landing.output is not None), key=lambda load: load.draw.amperes()[state])
    single = next((load for load in rows if load.draw.amperes()[state] >= excess), None)
    moved = [] if single is None else [single]
    total = 0.0 if single is None else single.draw.amperes()[state]
    while total < excess and rows and single is None:
        moved.append(rows.pop())
        total += moved[-1].draw.amperes()[state]
    names = some([label_of(facts.job, load.landing.equipment) for load in moved])
    several = len(moved) > 1
    return f"Move {excess:.3f} A elsewhere: {names} make {total:.3f} A." if several else f"Move {names} ({total:.3f} A) elsewhere."


def check_charge_left(facts: Facts) -> list[Finding]:
    """A supply has its full charging current to spare while the system is unset or set."""
    over = {(demand.supply.name, demand.state) for demand in overloads(facts)}
    found = []
    for supply in facts.power.supplies:
        sheet = facts.job.sheet_of(supply.name).supply
        limit = sheet.charger.limit_a if sheet is not None else None
        column = facts.power.column("set/recharging")
        if limit is None or facts.job.equipment[supply.name].battery is None or (supply.name, 1) in over:
            continue
        if supply.mains_a[column] >= supply.limit_a * FULL and supply.charge_a[column] < limit * FULL:
            found.append(_held_back(facts, supply, limit, float(supply.charge_a[column])))
    return found


def _held_back(facts: Facts, supply: SupplyForecast, limit: float, left: float) -> Finding:
    job = facts.job
    load = float(supply.load_a[facts.power.column("set/recharging")])
    figure = worked(
        f"charge-left/{supply.name}",
        f"{label_of(job, supply.name)}, left for charging",
        left,
        "A",
        formula="I = I_limit - I_load",
        inputs=(
            Input(name="supply limit", value=supply.limit_a, unit="A", origin=Origin.SHEET),
            Input(name="load with the system set", value=round(load, 4), unit="A", origin=Origin.COMPUTED),
        ),
        substituted=f"{supply.limit_a:.3g} - {load:.3f}",
    )
    return Finding(
        code="charge-held-back",
        severity=Severity.NOTE,
        subject=f"equipment/{supply.name}",
        sentence=f"{label_of(job, supply.name)} has {figure} left for charging with the system set; its charger could give {limit:.3g} A.",
        remedy="The recharge takes longer; see the hours to 80 %. Less load on this supply shortens it.",
        figures=(figure,),
    )


def check_transformer(facts: Facts) -> list[Finding]:
    """No transformer is asked for more volt-amperes than its rating."""
    found = []
    for supply in facts.power.supplies:
        sheet = facts.job.sheet_of(supply.name).supply
        figure = transformer_va(facts.job, facts.power, supply.name)
        if sheet is None or sheet.transformer_va is None or figure is None or figure.value is None or figure.value <= sheet.transformer_va:
            continue
        path = f"sheets/equipment/{facts.job.equipment[supply.name].sheet}/supply/efficiency"
        assumed = given(facts.job, path) is Origin.DEFAULT
        found.append(
            Finding(
                code="transformer-over-rating",
                severity=Severity.SHOULD if assumed else Severity.MUST,
                subject=f"equipment/{supply.name}",
                sentence=f"The transformer of {label_of(facts.job, supply.name)} gives {figure}; it is rated {sheet.transformer_va:g} VA"
                + (f" (efficiency {sheet.efficiency:.0%} is assumed)." if assumed else "."),
                remedy=f"Take load off, or fit a larger transformer the supply's own sheet allows: {figure.value:.0f} VA is the least, "
                "with nothing for the rectifier. Mains work is for those licensed to do it.",
                clause="transformer rating",
                source="data-sheet",
                figures=(figure,),
            )
        )
    return found
