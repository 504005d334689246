"""Power forecast, 4 states × 3 supply conditions: compile and solve here, beside ngspice driven in one process.

ngspice gets the twelve scenarios in one process in two ways: as copies in one deck with one operating point, and as twelve decks
loaded one after the other. The faster of the two is compared. Run from the project's root with
``PYTHONPATH=src``; one core with ``OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1``.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from loopwright.demo.synthetic import synthetic
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.netlist.compile import compile_power, scenarios
from loopwright.netlist.solve import Solution, solve
from loopwright.netlist.spice import deck
from loopwright.power.forecast import forecast_power

SIZES = (50, 200, 800)


def median_ms(act: Callable[[], object], times: int = 15) -> float:
    """Return the median of several runs [ms], after one that is not counted."""
    act()
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        spent.append(time.perf_counter() - start)
    return 1000 * float(np.median(spent))


def joint_deck(solution: Solution) -> str:
    """Return one deck holding a copy of the network for every scenario, printing one node of each and the times spent."""
    lines = ["* twelve copies"]
    options = ""
    for column, scenario in enumerate(solution.scenarios):
        near = dict(zip(solution.index, (round(v, 2) for v in solution.volts[:, column].tolist()), strict=True))
        for line in deck(solution.netlist, scenario, grounds=solution.references(column), start_v=near).splitlines()[1:]:
            if line.startswith(".options"):
                options = line
            elif line.startswith(".control"):
                break
            elif not line.startswith("*"):
                own = re.sub(r"\bn(\d+)\b", rf"s{column}n\1", line)
                lines.append(own if own.startswith(".") else re.sub(r"^(\S+)", rf"\1x{column}", own))
    node = len(solution.index) - 1
    prints = [f"print v(s{column}n{node})" for column in range(len(solution.scenarios))]
    return "\n".join([*lines[:1], options, *lines[1:], ".control", "set numdgt=15", "op", *prints, "rusage all", ".endc", ".end", ""])


def decks_in_turn(solution: Solution, folder: Path) -> str:
    """Write one deck a scenario and return a deck that loads and solves them one after the other in one process."""
    node = len(solution.index) - 1
    lines = ["* one after the other", "R1 a 0 1", ".control", "set numdgt=15"]
    for column, scenario in enumerate(solution.scenarios):
        near = dict(zip(solution.index, (round(v, 2) for v in solution.volts[:, column].tolist()), strict=True))
        whole = deck(solution.netlist, scenario, grounds=solution.references(column), start_v=near)
        path = folder / f"deck{column}.cir"
        path.write_text(re.sub(r"^\.control.*?^\.endc\n", "", whole, flags=re.MULTILINE | re.DOTALL))
        lines += [f"source {path}", "op", f"print v(n{node})", "rusage all"]
    return "\n".join([*lines, ".endc", ".end", ""])


def ngspice_ms(text: str, solution: Solution, times: int) -> tuple[float, float, float]:
    """Return ngspice's whole process [ms], its own analysis time [ms], and the worst difference [V] over the printed nodes."""
    spent, reported, worst = [], [], 0.0
    for _ in range(times):
        start = time.perf_counter()
        done = subprocess.run(["ngspice", "-b"], input=text, capture_output=True, text=True, check=False)
        spent.append(time.perf_counter() - start)
        out = done.stdout + done.stderr
        found = [float(x) for x in re.findall(r"^v\((?:s\d+)?n\d+\) = (\S+)", out, re.MULTILINE)]
        if len(found) != len(solution.scenarios):
            raise SystemExit(f"ngspice settled {len(found)} of {len(solution.scenarios)} scenarios")
        worst = max(worst, float(np.max(np.abs(np.array(found) - solution.volts[-1]))))
        reported.append(sum(float(x) for x in re.findall(r"Total analysis time \(seconds\) = (\S+)", out)))
    return 1000 * float(np.median(spent)), 1000 * float(np.median(reported)), worst


def row(job: Job, devices: int) -> str:
    """Return one line of the table."""
    network = compile_power(job)
    solution = solve(network.netlist, scenarios())
    whole = median_ms(lambda: forecast_power(job, further=False))
    compiled, solved = median_ms(lambda: compile_power(job)), median_ms(lambda: solve(network.netlist, scenarios()))
    line = f"{devices:7d} {len(solution.index):7d} {compiled:9.2f} {solved:9.2f} {whole:9.2f}"
    if shutil.which("ngspice") is None:
        return f"{line}   ngspice is not installed"
    copies, copies_own, worst = ngspice_ms(joint_deck(solution), solution, 1 if devices > 400 else 5)
    with tempfile.TemporaryDirectory() as folder:
        turn, turn_own, worst_turn = ngspice_ms(decks_in_turn(solution, Path(folder)), solution, 5)
    process, analysis = min(copies, turn), min(copies_own, turn_own)
    theirs = f"{copies:9.0f} {copies_own:9.0f} {turn:9.0f} {turn_own:9.0f}"
    return f"{line} {theirs} {process / whole:8.1f}× {analysis / whole:8.1f}× {max(worst, worst_turn):9.1e}"


def main() -> None:
    """Print the table."""
    print("Power forecast, 12 scenarios, times in ms (median); ngspice: whole process, and the analysis time it reports itself")
    print("                                             copies in one deck    decks in turn       fastest of both /")
    print("devices  points   compile     solve     whole   process  analysis   process  analysis   whole     analysis   worst V")
    for devices in SIZES:
        print(row(read(synthetic(devices, 1)).job, devices))


if __name__ == "__main__":
    main()
