"""Power: the tree of what hangs on what, volts at every device, outputs and supplies against their limits, the battery's hours."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import groupby
from typing import Any

from loopwright.drawing.battery_curve import battery_curve, device_words
from loopwright.drawing.power_tree import power_tree
from loopwright.drawing.state import State, standing_of
from loopwright.job.sheet import STATES
from loopwright.power.forecast import (
    CONDITION_WORDS,
    CONDITIONS,
    LoadForecast,
    heat_w,
    label_of,
    scenario_words,
    transformer_va,
    volts_figure,
)
from loopwright.power.reading import (
    cut_out_figure,
    first_short_figure,
    fitted_figure,
    least_figure,
    mains_figure,
    most_output_scenario,
    most_supply_scenario,
    output_figure,
    supply_figure,
)
from loopwright.power.standby import StandbyForecast, longest_figure, recharge_figure, required_figure
from loopwright.web.page import SCENARIOS, Page

ALWAYS = ("mains", "battery", "battery-end")
ROOM_BELOW_PX = 60
STATE_WORDS = {"unset": "unset", "set": "set", "entry": "in entry", "alarm": "in alarm"}


def view(page: Page) -> Mapping[str, Any]:
    """Return what the power room shows."""
    scenario = page.query.scenario
    loads = page.appraisal.power.loads
    page.plan((f"equipment/{load.landing.equipment}" if _bears_notes(page, load) else "" for load in loads), below=ROOM_BELOW_PX)
    page.plan(f"equipment/{supply.name}" for supply in page.appraisal.power.supplies)
    state, _, condition = scenario.partition("/")
    columns = [name for name in SCENARIOS if name.partition("/")[2] in (*ALWAYS, condition)]
    groups = [(key, CONDITION_WORDS[key], len(list(rows))) for key, rows in groupby(columns, key=lambda name: name.partition("/")[2])]
    return {
        "scenario": scenario,
        "scenario_words": scenario_words(scenario),
        "states": [(name, STATE_WORDS[name], f"{name}/{condition}", name == state) for name in (str(item) for item in STATES)],
        "conditions": [(name, CONDITION_WORDS[name], f"{state}/{name}", name == condition) for name in CONDITIONS],
        "condition": condition,
        "groups": groups,
        "columns": [(name, STATE_WORDS[name.partition("/")[0]], name.partition("/")[2]) for name in columns],
        "tree_wide": power_tree(page.appraisal, scenario),
        "tree_narrow": power_tree(page.appraisal, scenario, narrow=True),
        "devices": [_device(page, load, columns) for load in page.appraisal.power.loads],
        "outputs": _outputs(page),
        "supplies": supply_rows(page),
        "curve": lambda name, narrow: battery_curve(page.appraisal, name, narrow=narrow),
    }


def _bears_notes(page: Page, load: LoadForecast) -> bool:
    """Return whether a row bears its device's notes: the first of a device does; a supply's own notes stand with the supplies."""
    sheet = page.job.sheet_of(load.landing.equipment)
    return sheet.supply is None and load.landing.load == next(iter(sheet.loads))


def _device(page: Page, load: LoadForecast, columns: list[str]) -> dict[str, Any]:
    """Return the row of one supply input: its volts in every column, with a word where it is short, too high or off."""
    job, forecast = page.job, page.appraisal.power
    unit = load.landing.equipment
    several = len(job.sheet_of(unit).loads) > 1
    cells = []
    for name in columns:
        standing = standing_of(page.appraisal, load, forecast.column(name))
        off = standing.state in (State.OFF, State.UNFED)
        word = {State.SHORT: "short", State.OVER: "over"}.get(standing.state, "")
        cells.append((name.partition("/")[2], None if off else volts_figure(job, forecast, load, name), standing.words if off else word))
    return {
        "unit": unit,
        "label": label_of(job, unit) + (f", {load.landing.load}" if several else ""),
        "least": least_figure(job, load),
        "output": load.landing.output or "",
        "first": _bears_notes(page, load),
        "cells": cells,
    }


def _outputs(page: Page) -> list[dict[str, Any]]:
    job, forecast = page.job, page.appraisal.power
    rows = []
    for output in forecast.outputs:
        most = most_output_scenario(forecast, output)
        unit, _, terminal = output.name.partition(".")
        rows.append(
            {
                "name": output.name,
                "unit": unit,
                "label": f"{label_of(job, unit)}, {terminal}",
                "now": output_figure(job, forecast, output, page.query.scenario),
                "most": output_figure(job, forecast, output, most),
                "when": scenario_words(most),
                "limit": f"sheets/equipment/{job.equipment[unit].sheet}/outputs/{terminal}/limit_a",
                "over": bool(output.amps_a[forecast.column(most)] > output.limit_a),
            }
        )
    return rows


def supply_rows(page: Page) -> list[dict[str, Any]]:
    """Return one row for each supply: currents against its limit, and its battery."""
    job, forecast = page.job, page.appraisal.power
    standby = {item.supply: item for item in page.appraisal.standby}
    rows = []
    for supply in forecast.supplies:
        most = most_supply_scenario(forecast, supply)
        sheet = job.equipment[supply.name].sheet
        rows.append(
            {
                "key": supply.name,
                "label": label_of(job, supply.name),
                "set": supply_figure(job, forecast, supply, "set/mains"),
                "alarm": supply_figure(job, forecast, supply, "alarm/mains"),
                "most": mains_figure(job, forecast, supply, most),
                "when": scenario_words(most),
                "limit": f"sheets/equipment/{sheet}/supply/limit_a",
                "over": bool(supply.mains_a[forecast.column(most)] > supply.limit_a),
                "heat": heat_w(job, forecast, supply.name),
                "va": transformer_va(job, forecast, supply.name),
                "battery": _battery(page, standby[supply.name]) if supply.name in standby else None,
            }
        )
    return rows


def _battery(page: Page, item: StandbyForecast) -> dict[str, Any]:
    job, need = page.job, item.requirement
    return {
        "path": f"equipment/{item.supply}/battery",
        "required": required_figure(job, item),
        "fitted": fitted_figure(job, item),
        "longest": longest_figure(job, item),
        "limited_by": device_words(job, item.longest.limited_by),
        "cut_out": cut_out_figure(job, item),
        "first_short": first_short_figure(job, item),
        "first": label_of(job, item.first_short.split(".")[0]) if item.first_short else "",
        "recharge": recharge_figure(job, item),
        "standby_h": need.standby_h,
        "alarm_min": need.alarm_h * 60,
        "recharge_h": need.recharge_h,
    }
