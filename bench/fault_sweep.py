"""A thousand single wiring faults, twelve watched pairs: one factorisation beside solving each fault by itself.

Run from the project's root with ``PYTHONPATH=src``.
"""

from __future__ import annotations

import time
from random import Random

import numpy as np

from loopwright.demo.synthetic import synthetic
from loopwright.job.read import read
from loopwright.netlist.compile import compile_power, scenarios
from loopwright.netlist.element import Resistance
from loopwright.netlist.fault import ChangeOhm, Fault, Leak, OpenCore, apply
from loopwright.netlist.solve import solve
from loopwright.netlist.sweep import sweep

FAULTS, WATCHED, CHECKED, COLUMN = 1000, 12, 60, 11


def main() -> None:
    """Print the table for three sizes."""
    print(f"{FAULTS} single faults × {WATCHED} pairs, in alarm on battery at the cut-out")
    print("devices  sweep ms  by itself ms  each alone ms    ratio   worst V")
    for devices in (50, 200, 800):
        network = compile_power(read(synthetic(devices, 1)).job)
        wanted = scenarios()
        solution = solve(network.netlist, wanted)
        random = Random(1)
        wires = [e for e in network.netlist.elements if isinstance(e, Resistance)]
        faults: list[Fault] = []
        for _ in range(FAULTS):
            wire, kind = random.choice(wires), random.randrange(3)
            faults.append((OpenCore(wire.name), ChangeOhm(wire.name, 8 * wire.ohm), Leak(wire.a, wire.b, 200.0))[kind])
        pairs = [(m.plus, m.minus) for m in random.sample(network.landings, WATCHED)]
        spent = []
        for _ in range(5):
            start = time.perf_counter()
            found = sweep(solution, COLUMN, faults, pairs)
            spent.append(time.perf_counter() - start)
        start = time.perf_counter()
        worst = 0.0
        for position in range(0, FAULTS, FAULTS // CHECKED):
            alone = solve(apply(network.netlist, faults[position]), (wanted[COLUMN],))
            expected = np.array([float(alone.across(*pair)[0]) for pair in pairs])
            worst = max(worst, float(np.nanmax(np.abs(found.volts_v[:, position] - expected))))
        each = (time.perf_counter() - start) / len(range(0, FAULTS, FAULTS // CHECKED))
        took = float(np.median(spent))
        print(f"{devices:7d} {1000 * took:9.1f} {int(found.alone.sum()):13d} {1000 * each:14.2f} {each * FAULTS / took:7.0f}× {worst:9.1e}")


if __name__ == "__main__":
    main()
