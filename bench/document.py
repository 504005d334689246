"""Reading and editing the job document: time by number of devices.

Run from the project's root with ``PYTHONPATH=src``.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

from loopwright.job.edit import AddItem, RemoveItem, RenameItem, SetField, apply
from loopwright.job.read import read

HEAD = """format: 1
title: Bench
premises: {name: Bench}
region: {country: GB, ruleset: custom}
storeys: {ground: {name: Ground, rooms: {hall: {name: Hall}}}}
sheets:
  equipment:
    panel:
      kind: control-unit
      maker: Example Works
      model: EX-N
      invented: true
      loads: {supply: {unset_a: 65 mA, min_v: 10.5}}
      outputs: {aux: {limit_a: 750 mA}}
      inputs: {count: 2000, pull_up_ohm: 4k7}
    pir:
      kind: detector
      maker: Example Works
      model: PIR
      invented: true
      loads: {supply: {unset_a: 12 mA, min_v: 9}}
      contacts: {alarm: {}, tamper: {}}
  cables:
    six: {cores: 6, gauge: 7/0.2}
areas: {house: {name: House}}
"""
DEVICE = "  d{n}: {{sheet: pir, label: Detector {n}, room: hall}}\n"
CABLE = """  w{n}:
    sheet: six
    start: control
    end: d{n}
    length_m: {n}.5 ft
    slack_m: 50 cm
    feeds:
      - {{output: control.aux, cores: 1}}
"""
CIRCUIT = """  c{n}:
    input: control.{n}
    topology: double
    resistors: {{end_ohm: 2k7, alarm_ohm: 6.8 kΩ}}
    path:
      - {{cable: w{n}, device: d{n}, contacts: [tamper, alarm]}}
"""
ZONE = "  z{n}: {{number: {n}, text: Zone {n}, circuit: c{n}, areas: [house], response: {{full: instant}}}}\n"


def document(devices: int) -> str:
    """Return a document with this many detectors, each with its cable, circuit and zone."""

    def each(template: str) -> str:
        return "".join(template.format(n=number) for number in range(1, devices + 1))

    equipment = "equipment:\n  control: {sheet: panel, room: hall}\n" + each(DEVICE)
    return f"{HEAD}{equipment}cables:\n{each(CABLE)}circuits:\n{each(CIRCUIT)}zones:\n{each(ZONE)}"


def best_ms(act: Callable[[], object], times: int = 9) -> float:
    """Return the shortest of a few runs [ms]."""
    runs = []
    for _ in range(times):
        began = time.perf_counter()
        act()
        runs.append(time.perf_counter() - began)
    return min(runs) * 1000


def main() -> None:
    """Print the table."""
    print("| devices | kB | values | read ms | set a length ms | add a cable ms | remove a zone ms | rename the control unit ms |")
    print("|---|---|---|---|---|---|---|---|")
    for devices in (20, 200, 1000):
        text = document(devices)
        edits = (
            SetField("cables/w7/length_m", "12"),
            AddItem("cables", "new", {"sheet": "six", "start": "control", "end": "d1", "length_m": 3}),
            RemoveItem("zones/z3"),
            RenameItem("equipment/control", "panel"),
        )
        times = [best_ms(partial(read, text)), *(best_ms(partial(apply, text, edit)) for edit in edits)]
        shown = " | ".join(f"{each:.1f}" for each in times)
        print(f"| {devices} | {len(text.encode()) / 1000:.0f} | {len(read(text).places)} | {shown} |")


if __name__ == "__main__":
    main()
