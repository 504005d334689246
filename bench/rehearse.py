"""The rehearsal of the example dwelling, from the job to the verdict, and how many states a second its searches take.

Run from the project's root with ``PYTHONPATH=src``.
"""

from __future__ import annotations

import time
from dataclasses import replace

from loopwright import demo
from loopwright.job.read import read
from loopwright.rehearse.part import part_of, reached
from loopwright.rehearse.reading import programme_of
from loopwright.rehearse.rehearsal import rehearse
from loopwright.rehearse.search import search
from loopwright.rehearse.table import table_of
from loopwright.rehearse.timed import by_the_clock

TIMES = 5


def main() -> None:
    """Print the table."""
    job = read(demo.text("dwelling")).job
    job = replace(job, zones={name: replace(zone, watched="full") for name, zone in job.zones.items()})
    spent = []
    for _ in range(TIMES):
        reached.cache_clear()
        start = time.process_time()
        found = rehearse(job)
        spent.append(time.process_time() - start)
    print(f"dwelling, {found.searches} searches, {found.states} states: {min(spent):.3f} s of processor to the verdict")
    whole = programme_of(job)
    house = replace(whole.areas["house"], entry_s=240.0, exit_s=255.0)
    told = replace(whole.told, trips=3, abort_s=31.0)
    part = part_of(replace(whole, areas={"house": house}, told=told), ["house"], ["z03"], observers=["report"])
    start = time.process_time()
    table = table_of(part)
    tabled = time.process_time()
    timed = by_the_clock(search(table))
    ended = time.process_time()
    rate = timed.size / (ended - tabled)
    tabled_s = tabled - start
    print(f"one zone and its reports, by the second: {timed.size} states, {len(table.rows)} rows, tabled in {tabled_s:.3f} s,", end=" ")
    print(f"{rate:,.0f} states/s")


if __name__ == "__main__":
    main()
