"""The rehearsal from the job to the verdict: seconds of processor, states, memory; one changed cell; and the search by the clock.

Run from the project's root with ``PYTHONPATH=src``. Beside the model checker SPIN: ``bench/rehearse_spin.py``.
"""

from __future__ import annotations

import resource
import time
from dataclasses import replace
from random import Random
from statistics import median

from loopwright import demo
from loopwright.job.document import Area, Job, User, Zone
from loopwright.job.read import read
from loopwright.rehearse.part import part_of, reached
from loopwright.rehearse.reading import programme_of
from loopwright.rehearse.rehearsal import rehearse
from loopwright.rehearse.search import search
from loopwright.rehearse.timed import by_the_clock

TIMES = 3
CELLS = 8
RESPONSES = ("immediate", "immediate", "immediate", "entry-route", "final-exit", "24-hour")


def said(job: Job) -> Job:
    """Return a job with every cell said and every zone expected to alarm in full set."""
    states = ("unset", "full", *job.programme.part_sets)
    zones = {
        name: replace(zone, watched="full", response={state: zone.response.get(state, "ignored") for state in states})
        for name, zone in job.zones.items()
    }
    return replace(job, zones=zones)


def generated(areas: int, zones: int, users: int, seed: int = 1) -> Job:
    """Return a job of so many areas, the last of them shared by the two before it, so many zones and users."""
    random, job = Random(seed), read(demo.text("dwelling")).job
    names = [f"area{number}" for number in range(1, areas + 1)]
    made = {name: Area(name=f"Area {name[4:]}", entry_s=30.0, exit_s=60.0) for name in names}
    made[names[-1]] = replace(made[names[-1]], common_to=(names[-3], names[-2]))
    found = {}
    for number in range(1, zones + 1):
        does = random.choice(RESPONSES)
        part = does if random.random() < 0.7 or does == "24-hour" else "ignored"
        response = {"unset": "24-hour" if does == "24-hour" else random.choice(["ignored", "chime"]), "full": does, "stay": part}
        lies = (names[number % areas],) if number > 3 else (names[0], names[1])
        found[f"z{number:03}"] = Zone(
            number=number, text=f"Zone {number}", circuit=f"p{1 + number % 11:02}", areas=lies, response=response, watched="full"
        )
    rights = ("both", "both", "set", "unset", "none")
    people = {
        f"user{number}": User(role=f"user {number}", areas={name: random.choice(rights) for name in names[:-1]}) for number in range(users)
    }
    return replace(job, areas=made, zones=found, users=people)


def measured(words: str, job: Job) -> None:
    """Print a row: from nothing known, and after one cell is changed, several cells in turn."""
    spent, changed_s = [], []
    cells = [name for name, zone in job.zones.items() if zone.response["full"] == "immediate"][:CELLS]
    for _ in range(TIMES):
        reached.cache_clear()
        start = time.process_time()
        found = rehearse(job)
        spent.append(time.process_time() - start)
        for name in cells:
            zone = job.zones[name]
            changed = replace(job, zones={**job.zones, name: replace(zone, response={**zone.response, "full": "ignored"})})
            start = time.process_time()
            rehearse(changed)
            changed_s.append(time.process_time() - start)
    most_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    row = (
        words, found.searches, f"{found.states:,}", len(found.broken), f"{min(spent):.2f}",
        f"{median(changed_s):.2f}", f"{max(changed_s):.2f}", f"{most_mb:.0f}",
    )  # fmt: skip
    print("|", " | ".join(map(str, row)), "|", flush=True)


def main() -> None:
    """Print the tables."""
    print("| | searches | states | broken | to the verdict, s | after one cell, s | most of them, s | most memory, MB |")
    print("|---|---|---|---|---|---|---|---|")
    measured("dwelling, 11 zones", said(read(demo.text("dwelling")).job))
    measured("business, 32 zones, 3 areas and their lobby", said(read(demo.text("business")).job))
    measured("64 zones, 8 areas, 40 users", generated(8, 64, 40))
    whole = programme_of(read(demo.text("dwelling")).job)
    house = replace(whole.areas["house"], entry_s=240.0, exit_s=255.0)
    part = part_of(
        replace(whole, areas={"house": house}, told=replace(whole.told, trips=3, abort_s=31.0)), ["house"], ["z03"], observers=["report"]
    )
    start = time.process_time()
    found = search(part)
    tabled = time.process_time()
    timed = by_the_clock(found)
    ended = time.process_time()
    print(
        f"\none zone and its reports, by the second: {timed.size:,} states, {len(found.table.rows)} rows tabled in {tabled - start:.3f} s,",
        end=" ",
    )
    print(f"{timed.size / (ended - tabled):,.0f} states/s")


if __name__ == "__main__":
    main()
