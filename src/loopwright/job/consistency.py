"""What no data sheet can say: numbers that are each in bounds and cannot stand beside each other."""

from __future__ import annotations

import math
from itertools import pairwise

from loopwright.job.document import Job
from loopwright.job.reading import Run
from loopwright.job.sheet import Band, BatterySheet


def check_sheets(run: Run, job: Job) -> None:
    """Note every discharge table that rises with the hours, every band over another or inside out,
    every watch without room, and every battery whose volts are not those of its cells.
    """
    for name, battery in job.sheets.batteries.items():
        _check_discharge(run, f"sheets/batteries/{name}/discharge", battery)
        _check_full(run, f"sheets/batteries/{name}", battery)
    for name, sheet in job.sheets.equipment.items():
        for topology, bands in sheet.inputs.bands.items() if sheet.inputs else ():
            _check_bands(run, f"sheets/equipment/{name}/inputs/bands/{topology}", bands)
        for output, spec in sheet.outputs.items():
            watch = spec.supervision
            if watch is not None and not 0 < watch.short_below_ohm < watch.open_above_ohm:
                here = f"sheets/equipment/{name}/outputs/{output}/supervision/short_below_ohm"
                low, high = watch.short_below_ohm, watch.open_above_ohm
                message = f"An output that is shorted below {low:g} Ω and open above {high:g} Ω is never right."
                run.refuse(run.nodes[here], here, message, "above 0 Ω and below open_above_ohm")


def _check_discharge(run: Run, path: str, battery: BatterySheet) -> None:
    order = sorted(range(len(battery.discharge)), key=lambda number: battery.discharge[number].hours)
    for before, after in pairwise(order):
        first, second = battery.discharge[before], battery.discharge[after]
        here = f"{path}/{after}/current_a"
        if second.hours == first.hours or second.current_a >= first.current_a:
            message = f"{second.current_a:g} A for {second.hours:.3g} h does not fit beside {first.current_a:g} A for {first.hours:.3g} h."
            run.refuse(run.nodes[here], here, message, "less current for more hours, each row with hours of its own")


def _check_full(run: Run, path: str, battery: BatterySheet) -> None:
    # A lead-acid cell is called 2 V and rests a little above that when full; 2.4 V leaves room for every kind.
    nominal, full = battery.nominal_v, battery.full_v
    if not nominal < full <= 1.2 * nominal:
        here = f"{path}/full_v" if f"{path}/full_v" in run.nodes else f"{path}/nominal_v"
        message = f"A battery of {nominal:g} V does not rest at {full:g} V when full."
        run.refuse(run.nodes[here], here, message, f"full_v above {nominal:g} V and no more than {1.2 * nominal:g} V")


def _check_bands(run: Run, path: str, bands: tuple[Band, ...]) -> None:
    end, order = 0.0, sorted(range(len(bands)), key=lambda number: bands[number].from_ohm)
    for number in order:
        band = bands[number]
        here = f"{path}/{number}"
        top = math.inf if band.to_ohm is None else band.to_ohm
        if band.from_ohm < end:
            run.refuse(run.nodes[here], here, f"The band {band.reads} lies over the one before it.", f"from_ohm of {end:g} or more")
        elif top <= band.from_ohm:
            run.refuse(run.nodes[here], here, f"The band {band.reads} ends where it begins or before.", "to_ohm above from_ohm")
        end = max(end, top)
