"""The rehearsal of the example dwelling, from the job to the verdict, and how many rows of events a second its search takes.

Run from the project's root with ``PYTHONPATH=src``.
"""

from __future__ import annotations

import time
from dataclasses import replace

from loopwright import demo
from loopwright.job.read import read
from loopwright.rehearse.plan import plan_of
from loopwright.rehearse.promise import rehearse
from loopwright.rehearse.search import search
from loopwright.rehearse.table import Packing, table_of

TIMES = 5


def main() -> None:
    """Print the table."""
    job = read(demo.text("dwelling")).job
    job = replace(job, zones={name: replace(zone, watched="full") for name, zone in job.zones.items()})
    spent = []
    for _ in range(TIMES):
        start = time.process_time()
        found = rehearse(job)
        spent.append(time.process_time() - start)
    print(f"dwelling, {found.searches} zones followed, {found.states} states: {min(spent):.3f} s of processor to the verdict")
    plan = replace(plan_of(job, "house", "z01"), entry=240, exit=255, tick_s=1.0, trips=3)
    packing = Packing(plan)
    start = time.process_time()
    rows = table_of(plan, packing)
    tabled = time.process_time()
    reached = search(rows)
    ended = time.process_time()
    size = reached.states.size
    print(f"one zone, seconds as ticks: {size} states, {len(rows)} rows in {tabled - start:.3f} s, {size / (ended - tabled):,.0f} states/s")


if __name__ == "__main__":
    main()
