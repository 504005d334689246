"""The search beside the model checker SPIN in one run: the same programmes, the same states, seconds of processor and states a second.

Needs spin and gcc. The model is the one written by hand from docs/programme.md (tests/oracles/area.pml), searched by depth and by breadth.
Run from the project's root with ``PYTHONPATH=src``; without spin and gcc it says so and ends.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from loopwright.programme.response import Response
from loopwright.rehearse.plan import AreaPlan, Choices, Person, Programme, ZonePlan
from loopwright.rehearse.search import search
from loopwright.rehearse.timed import by_the_clock

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
from oracles.by_hand import model, numbers  # noqa: E402

FLAGS = ("-O2", "-w", "-DSAFETY", "-DNOREDUCE", "-DMEMLIM=2048")
PATIENCE_S = 3000
TIMES = 2
Result = TypeVar("Result")


def timed(work: Callable[[], Result]) -> tuple[float, Result]:
    """Return the seconds of processor some work takes, those of programs it starts among it, and what it gives."""
    before = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    result = work()
    after = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(b.ru_utime + b.ru_stime - a.ru_utime - a.ru_stime for a, b in zip(before, after, strict=True)), result


def one_area(entry_s: float, exit_s: float) -> Programme:
    """Return one area with two zones followed and one that is not, its reports watched."""
    word = Response
    zones = {
        "z0": ZonePlan(areas=("a0",), does=(word.CHIME, word.FINAL_EXIT, word.FINAL_EXIT)),
        "z1": ZonePlan(areas=("a0",), does=(word.IGNORED, word.IMMEDIATE, word.IMMEDIATE)),
        "z2": ZonePlan(areas=("a0",), does=(word.IGNORED, word.ENTRY_ROUTE, word.IGNORED), contact=False, followed=False),
    }
    told = Choices(
        trips=2, exit_restart=True, prevents=(("open", "user"), ("memory", "never")), abort_s=31.0, reports=frozenset({"alarm"})
    )  # fmt: skip
    return Programme(
        areas={"a0": AreaPlan(name="House", entry_s=entry_s, exit_s=exit_s)}, zones=zones, states=("full", "stay"),
        people=(Person(name="Ana", may=(("a0", "both"),)),), told=told, observers=frozenset({"report"}),
    )  # fmt: skip


def shared(entry_s: float, exit_s: float) -> Programme:
    """Return two areas and the hall they share, one zone followed in the hall."""
    word = Response
    zones = {
        "z0": ZonePlan(areas=("hall",), does=(word.CHIME, word.FINAL_EXIT)),
        "z1": ZonePlan(areas=("a0",), does=(word.IGNORED, word.FINAL_EXIT), contact=False, followed=False),
    }
    areas = {name: AreaPlan(name=name, entry_s=entry_s, exit_s=exit_s) for name in ("a0", "a1")}
    areas["hall"] = AreaPlan(name="hall", entry_s=entry_s, exit_s=exit_s, serves=("a0", "a1"))
    people = (Person(name="Ana", may=(("a0", "both"), ("a1", "both"))),)
    return Programme(areas=areas, zones=zones, people=people, told=Choices(prevents=(("memory", "never"),), reports=frozenset({"alarm"})))


CASES = {
    "one area, two zones, reports": one_area(240.0, 254.0),
    "two areas and their hall": shared(80.0, 97.0),
}
"""Both by the second: their times have no larger divisor."""


def ours(programme: Programme) -> tuple[float, float, int]:
    """Return the seconds from the programme to all its states, those of the search by the clock alone, and the states."""
    spent, (reached, rest_s, size) = timed(lambda: _ours(programme))
    assert reached
    return spent, rest_s, size


def _ours(programme: Programme) -> tuple[bool, float, int]:
    reached = search(programme)
    begun = time.process_time()
    found = by_the_clock(reached)
    return True, time.process_time() - begun, found.size


def made(folder: Path, *, breadth: bool) -> tuple[float, Path]:
    """Return the seconds SPIN and gcc take to make a checker, and the checker: it is made once, and reads its programme when it starts."""
    folder.mkdir()
    (folder / "area.pml").write_text(model(breadth_first=breadth), encoding="utf-8")
    flags = (*FLAGS, "-DBFS") if breadth else FLAGS
    commands = (("spin", "-a", "area.pml"), ("gcc", *flags, "-o", "pan", "pan.c"))
    spent, _ = timed(lambda: [subprocess.run(each, cwd=folder, check=True, capture_output=True, timeout=PATIENCE_S) for each in commands])
    return spent, folder / "pan"


def theirs(checker: Path, programme: Programme, *, breadth: bool) -> tuple[float, int]:
    """Return the seconds a checker takes to run, and its states."""
    command = (str(checker), "-E", *(() if breadth else ("-m20000000",)), "-w24")
    environment = {**os.environ, "PROGRAMME": numbers(programme)}
    ran, done = timed(
        lambda: subprocess.run(command, cwd=checker.parent, env=environment, capture_output=True, text=True, timeout=PATIENCE_S)
    )
    found = re.search(r"(\d+) states, stored", done.stdout)
    if found is None or "error" in done.stderr:
        raise SystemExit(done.stdout + done.stderr)
    return ran, int(found[1]) - 1


def main() -> None:
    """Print the table, each case twice."""
    if not (shutil.which("spin") and shutil.which("gcc")):
        print("spin or gcc is not installed")
        return
    print("| programme | states | | whole, s | search, s | states/s | ours is |\n|---|---|---|---|---|---|---|")
    names = sys.argv[1:] or list(CASES)
    with tempfile.TemporaryDirectory() as name:
        checkers = {breadth: made(Path(name) / f"breadth-{breadth}", breadth=breadth) for breadth in (False, True)}
        for name in names:
            for _ in range(TIMES):
                compared(CASES[name], name, checkers)


def compared(programme: Programme, name: str, checkers: dict[bool, tuple[float, Path]]) -> None:
    """Print our row and those of SPIN, one after the other, and how many times theirs ours is."""
    whole, searched, size = ours(programme)
    print(f"| {name} | {size:,} | loopwright | {whole:.2f} | {searched:.2f} | {size / searched:,.0f} | |", flush=True)
    for breadth, (making, checker) in checkers.items():
        ran, states = theirs(checker, programme, breadth=breadth)
        same = "" if states == size else f" ({states:,} states!)"
        row = f"| | | SPIN, {'by breadth' if breadth else 'by depth'}{same} | {making + ran:.2f} | {ran:.2f} | {states / ran:,.0f} |"
        print(f"{row} {ran / searched:.1f} times, end to end {(making + ran) / whole:.0f} |", flush=True)


if __name__ == "__main__":
    main()
