"""Blind faults, a technician who takes the advised check each time, and three simpler ways of working beside it.

What is wrong and what is read comes from ``bench/world.py``. Run from the project's root with ``PYTHONPATH=src``: ``--cases N`` single
faults, half of them again with blunders and a tenth as many pairs; ``--seed S``; ``--jobs J`` generated premises; ``--workers W``;
``--minutes M`` stops early and tells what was done.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import math
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from loopwright.demo.synthetic import synthetic
from loopwright.explain.catalogue import GROUPS, faults
from loopwright.explain.explain import Inquiry, Weighed
from loopwright.explain.observation import Observations, read_observations
from loopwright.explain.weigh.likelihood import Seen
from loopwright.explain.weigh.next_check import alike
from loopwright.explain.weigh.outcome import forecast, outcomes
from loopwright.job.read import read
from premises import premises
from simpler import SURE, Known, Simple
from world import Unknown, World, blind

MOST_CHECKS = 40
"""A guard against a visit without end, not a stop rule: words are many and short."""
WRONG_MINUTES = 240.0
SIMPLER_EVERY = 4
"""Of so many cases one is also worked in the simpler ways."""
APART_EVERY = 20
"""Of so many cases one is of the whole, and another of a zone that gave alarms nobody meant."""
KINDS = ("circuit", "power", "sounder", "bus")
APART = ("whole", "alarms")
"""What is told alone is drawn by the chances the program itself states, so cases that begin with it stand apart."""
NAMES = {
    "circuit": "wiring of circuits",
    "sees": "what detectors see",
    "power": "supplies",
    "sounder": "outputs",
    "bus": "bus",
    "nothing": "nothing wrong",
    "whole": "what is told, apart",
    "alarms": "unmeant alarms, apart",
}
NOTHING = "nothing"
AS_SURE = 0.99
"""How sure the advice is on average when it stops, with wrong answers at what the program takes them for."""
SIMPLER = {
    "weight a minute, anew": (True, True, SURE),
    "the same, until 99 % sure": (True, True, AS_SURE),
    "weight a minute": (True, False, SURE),
    "down the list": (False, False, SURE),
}
"""The simpler ways: whether by weight a minute, whether each check weighs every fault anew or its own alone, and until how sure."""


@dataclass
class Run:
    """How a case went: minutes, checks, whether the leading answer holds the truth, whether one of three does; what was believed when.

    ``spent`` is the minutes until each step. ``beside`` says that the case was worked in the simpler ways too; ``alone`` is whether the
    leading cause is the truth or one that no check of the premises parts from it; ``causes`` counts the causes of the leading answer.
    """

    way: str
    group: str
    fault: str
    minutes: float
    checks: int
    right: bool
    third: bool
    alone: bool = True
    causes: int = 1
    beside: bool = False
    believed: tuple[tuple[float, bool], ...] = ()
    spent: tuple[float, ...] = ()
    cpu: tuple[float, ...] = ()
    instead: str = ""


def classes(weighed: Weighed) -> list[tuple[float, set[str]]]:
    """Return the answers, likeliest first: probability and the keys of their hypotheses."""
    rows, out = weighed.rows, defaultdict(lambda: [0.0, set()])
    for position, row in enumerate(weighed.keep.tolist()):
        owner = int(rows.owner[row])
        entry = out[int(weighed.group[position])]
        entry[0] += float(weighed.after.rows[row])
        entry[1].add(rows.hypotheses[owner].key if owner >= 0 else NOTHING)
    out[-1] = [weighed.after.none_of_these, {"none"}]
    return sorted(((p, keys) for p, keys in out.values()), key=lambda each: -each[0])


def never_parted(weighed: Weighed) -> dict[str, int]:
    """Return for each hypothesis the number of the class of those that no check at all parts from it."""
    rows = weighed.rows
    known = forecast(rows, weighed.used[0].meter)
    every = np.arange(rows.part.size)
    outs = outcomes(known, rows, every, np.arange(len(known.checks)))
    weight = np.append(np.where(rows.owner >= 0, rows.share, 1.0), 1.0)
    group = alike(outs, np.append(rows.owner + 1, len(rows.hypotheses) + 1), weight)
    return {rows.hypotheses[owner].key if owner >= 0 else NOTHING: int(group[row]) for row, owner in enumerate(rows.owner.tolist())}


class Shift:
    """All cases on one job; what is worked out of a place once serves every case there."""

    def __init__(self, number: int, seed: int) -> None:
        self.job = premises(seed * 1000 + number)
        self.inquiry = Inquiry(self.job)
        self.draw = Random(seed * 7919 + number)
        self.parted: dict[tuple[str, ...], dict[str, int]] = {}
        self.simple: dict[tuple[str, ...], Known] = {}
        self.unknown: Counter[str] = Counter()
        self.drawn = 0

    def case(self, groups: tuple[str, ...], blunders: float) -> tuple[World, list[Seen]]:
        """Return the next blind case that shows something."""
        while True:
            try:
                self.drawn += 1
                found = blind(self.job, self.inquiry, groups, self.draw, blunders)
            except Unknown as unknown:
                self.unknown[str(unknown)] += 1
                continue
            if found is not None:
                return found

    def single(self, group: str, blunders: float, *, simpler: bool) -> list[Run]:
        """Work one case; with ``simpler`` in the simpler ways too."""
        world, first = self.case((group,), blunders)
        fault, truth = (world.truths[0].fault.id, world.truths[0].key) if world.truths else (NOTHING, NOTHING)
        sees = group == "circuit" and truth != NOTHING and world.truths[0].part == "system"
        named = NOTHING if truth == NOTHING and group not in APART else "sees" if sees else group
        seen, minutes, believed, spent, cpu = list(first), 0.0, [], [], []
        while True:
            start = time.process_time()
            weighed, _ = self.inquiry.weigh(Observations(seen=tuple(seen), meter=world.meter))
            cpu.append(time.process_time() - start)
            ranked = classes(weighed)
            # No case has two faults, or one that no row knows: what is believed is taken given that.
            known = max(1 - weighed.after.two_faults - weighed.after.none_of_these, 1e-9)
            believed.append((min(ranked[0][0] / known, 1.0) if ranked[0][1] != {"none"} else 0.0, truth in ranked[0][1]))
            spent.append(minutes)
            advice = weighed.advised
            if advice.stop or not advice.checks or len(seen) - len(first) >= MOST_CHECKS:
                break
            check = advice.checks[0].check
            minutes += check.minutes
            seen.append(world.check(check))
        right = truth in ranked[0][1]
        leading = max(ranked[0][1], key=lambda key: self._chance(weighed, key))
        runs = [
            Run(
                way="advised",
                group=named,
                fault=fault,
                minutes=minutes,
                checks=len(seen) - len(first),
                right=right,
                third=any(truth in keys for _, keys in ranked[:3]),
                alone=leading == truth or right and self._never(weighed, leading, truth),
                causes=len(ranked[0][1]),
                beside=simpler,
                believed=tuple(believed),
                spent=tuple(spent),
                cpu=tuple(cpu),
                instead=leading.partition("@")[0],
            )
        ]
        if simpler:
            key = tuple(h.key for h in weighed.rows.hypotheses)
            if key not in self.simple:
                self.simple[key] = Known(weighed.rows, self._parted(weighed))
            for name, (by_weight, anew, sure) in SIMPLER.items():
                again = replace(world, draw=Random(self.draw.random()))
                again.seed = world.seed
                minutes, checks, keys = Simple(again, self.simple[key], first).run(by_weight=by_weight, anew=anew, sure=sure)
                alone = keys[0] == truth or self._never(weighed, keys[0], truth)
                third = any(k == truth or self._never(weighed, k, truth) for k in keys)
                runs.append(Run(name, named, fault, minutes, checks, alone, third, alone))
        return runs

    def _chance(self, weighed: Weighed, key: str) -> float:
        if key == NOTHING:
            return weighed.after.nothing
        return next((float(p) for h, p in zip(weighed.rows.hypotheses, weighed.after.hypotheses, strict=True) if h.key == key), 0.0)

    def _never(self, weighed: Weighed, one: str, other: str) -> bool:
        """Return whether no check parts two hypotheses."""
        known = self._parted(weighed)
        return one in known and other in known and known[one] == known[other]

    def _parted(self, weighed: Weighed) -> dict[str, int]:
        names = tuple(h.key for h in weighed.rows.hypotheses)
        if names not in self.parted:
            self.parted[names] = never_parted(weighed)
        return self.parted[names]

    def inseparable(self) -> set[str]:
        """Return the faults that no check parts, as they were met: of one place, or "elsewhere" where two places are not parted."""
        out = set()
        for known in self.parted.values():
            classes = defaultdict(set)
            for key, number in known.items():
                classes[number].add(key)
            for keys in (some for some in classes.values() if len(some) > 1):
                places = {key.partition("@")[2] for key in keys}
                faults_ = sorted({key.partition("@")[0] for key in keys})
                out.add(" = ".join(faults_) + (f" at {len(places)} places" if len(places) > 1 and len(faults_) == 1 else ""))
        return out

    def pair(self, blunders: float) -> Run:
        """Work one case of two faults in different parts."""
        world, first = self.case(self.draw.choice([("circuit", "circuit"), ("circuit", "circuit"), ("circuit", "sounder")]), blunders)
        seen, minutes = list(first), 0.0
        while True:
            weighed, _ = self.inquiry.weigh(Observations(seen=tuple(seen), meter=world.meter))
            advice = weighed.advised
            if advice.stop or not advice.checks or len(seen) - len(first) >= 2 * MOST_CHECKS:
                break
            minutes += advice.checks[0].check.minutes
            seen.append(world.check(advice.checks[0].check))
        keys = [h.key for h in weighed.rows.hypotheses]
        wanted = {truth.key for truth in world.truths}
        place = None
        named: list[set[str]] = []
        for pair in weighed.after.pairs:
            both = {keys[pair.first], keys[pair.second]}
            if any(self._same_pair(weighed, both, other) for other in named):
                continue
            named.append(both)
            if self._same_pair(weighed, both, wanted):
                place = len(named)
                break
        return Run(
            "advised",
            "pair",
            "+".join(sorted(t.fault.id for t in world.truths)),
            minutes,
            len(seen) - len(first),
            place == 1,
            place is not None and place <= 3,
        )

    def _same_pair(self, weighed: Weighed, one: set[str], other: set[str]) -> bool:
        return all(any(a == b or self._never(weighed, a, b) for b in other) for a in one)


def shift(asked: tuple[int, int, float, int, int, int]) -> tuple[list[Run], list[Run], list[Run], Counter[str], int, set[str]]:
    """Return the runs on one job: plain, with blunders, pairs; what the simulators do not know; how many faults were drawn;
    the faults no check parts.

    Each kind ends when its cases are done, or its share of the job's minutes is over.
    """
    number, seed, minutes, plain, blundered, pairs = asked
    work, start = Shift(number, seed), time.time()
    over = [start + 60 * minutes * share for share in (0.55, 0.9, 1.0)]
    weight = [sum(f.weight for f in faults().values() if f.group == group and not f.unmodelled) for group in KINDS]
    out: tuple[list[Run], list[Run]] = ([], [])
    for runs, count, blunders, end in ((out[0], plain, 0.0, over[0]), (out[1], blundered, 0.02, over[1])):
        for case in range(count):
            if time.time() > end:
                break
            apart = {5: APART[0], 15: APART[1]}.get(case % APART_EVERY)
            group = apart or work.draw.choices(KINDS, weight)[0]
            runs += work.single(group, blunders, simpler=case % SIMPLER_EVERY == 0)
    two: list[Run] = []
    while len(two) < pairs and time.time() < over[2]:
        two.append(work.pair(0.0))
    return out[0], out[1], two, work.unknown, work.drawn, work.inseparable()


def until_sure(run: Run) -> Run:
    """Return how a case went had it ended where the simpler ways end: as soon as one answer is believed so much."""
    at = next((n for n, (p, _) in enumerate(run.believed) if p >= SURE), len(run.believed) - 1)
    right = run.believed[at][1]
    return replace(run, minutes=run.spent[at], checks=at, right=right, third=right, alone=right)


def table(title: str, runs: list[Run]) -> None:
    """Print how every way of working did."""
    print(f"\n{title}")
    print(
        "way of working                cases  first %  one cause %  first three %  causes  checks  minutes  minutes, wrong answers at 240"
    )
    ways = [(f"advised, {name}", [r for r in runs if r.way == "advised" and r.group == g]) for g, name in NAMES.items()]
    runs = [r for r in runs if r.group not in APART]
    ways += [("advised", [r for r in runs if r.way == "advised"]), ("advised, the cases below", [r for r in runs if r.beside])]
    ways += [("the same, until 95 % sure", [until_sure(r) for r in runs if r.beside])]
    ways += [(way, [r for r in runs if r.way == way]) for way in SIMPLER]
    for name, some in ways:
        if some:
            minutes = np.array([r.minutes for r in some])
            paid = minutes + WRONG_MINUTES * np.array([not r.right for r in some])
            shares = [np.mean([getattr(r, word) for r in some]) for word in ("right", "alone", "third")]
            means = [np.mean([r.causes for r in some]), np.mean([r.checks for r in some]), minutes.mean(), paid.mean()]
            print(f"{name:27s} {len(some):6d} {shares[0]:8.2%} {shares[1]:11.2%} {shares[2]:13.2%} " + " ".join(f"{m:8.2f}" for m in means))
    calibration([r for r in runs if r.way == "advised"])
    wrong = Counter(f"{r.fault}>{r.instead}" for r in runs if r.way == "advised" and not r.right)
    print("wrong: " + ", ".join(f"{name} {count}" for name, count in wrong.most_common(14)))


def calibration(runs: list[Run]) -> None:
    """Print the reliability of the leading answer over all steps in ten bins, its error, and what chance alone makes of it.

    Chance is that of one step a case: the steps of one case go together.
    """
    every = [each for run in runs for each in run.believed]
    p, right = np.array([e[0] for e in every]), np.array([float(e[1]) for e in every])
    bins = np.minimum((p * 10).astype(int), 9)
    used = [(b, bins == b) for b in range(10) if (bins == b).any()]
    error = sum(abs(p[rows].mean() - right[rows].mean()) * rows.mean() for _, rows in used)
    share = len(runs) / p.size
    chance = sum(math.sqrt(2 / math.pi * (p[rows] * (1 - p[rows])).sum() / share) for _, rows in used) / p.size
    print("believed " + "  ".join(f"{p[rows].mean():.3f}" for _, rows in used))
    print("right    " + "  ".join(f"{right[rows].mean():.3f}" for _, rows in used))
    print("steps    " + "  ".join(f"{rows.sum():5d}" for _, rows in used))
    last = np.array([r.believed[-1] for r in runs], dtype=float)
    print(
        f"calibration error {error:.4f} (chance alone {chance:.4f}), tilt {right.mean() - p.mean():+.4f}; "
        f"of the last answers: believed {last[:, 0].mean():.4f}, right {last[:, 1].mean():.4f}"
    )


def times() -> None:
    """Print how long the first answer and the next ones take on 200 devices."""
    job = read(synthetic(200, 1)).job
    firsts, nexts = [], []
    for name in list(job.circuits)[:24]:
        device = job.circuits[name].path[0].device
        entries = ("shows: active", "reading: OL", f"state: lid open {device}, shows: tamper")
        texts = [f"  - {{where: {name}, {entry}}}\n" for entry in entries]
        inquiry = Inquiry(job)
        for count in range(1, 4):
            observed = read_observations(job, "readings:\n" + "".join(texts[:count]))
            start = time.process_time()
            inquiry.explain(observed)
            (firsts if count == 1 else nexts).append(1000 * (time.process_time() - start))
    told = [f"{name} {np.median(some):.0f} ms (worst {max(some):.0f})" for name, some in (("first answer", firsts), ("next", nexts))]
    print(f"\n200 devices: {', '.join(told)}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=40)
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=math.inf)
    options = parser.parse_args()
    start, jobs = time.time(), options.jobs
    share = options.minutes * options.workers / jobs
    counts = [options.cases, options.cases // 2, options.cases // 10]
    each = [[count // jobs + (number < count % jobs) for count in counts] for number in range(jobs)]
    with ProcessPoolExecutor(options.workers) as pool:
        done = list(pool.map(shift, [(number, options.seed, share, *each[number]) for number in range(jobs)]))
    plain, blundered, two = ([run for part in done for run in part[n]] for n in range(3))
    unknown = sum((part[3] for part in done), Counter[str]())
    drawn = sum(part[4] for part in done)
    same = Counter(each for part in done for each in part[5])
    took = f"{(time.time() - start) / 60:.0f} min with {options.workers} at once"
    print(f"{jobs} premises, seed {options.seed}, {len(faults())} rows of {len(GROUPS)} groups, {took}")
    print(f"{drawn} faults drawn, {unknown.total()} of kinds the simulators do not know: {', '.join(sorted(unknown)) or 'none'}")
    print("parted by no check, with the number of premises: " + "; ".join(f"{name} ({count})" for name, count in same.most_common()))
    table("blind single faults, measured as said", plain)
    table("blind single faults, 2 % of readings a blunder", blundered)
    if two:
        shares = [np.mean([getattr(r, word) for r in two]) for word in ("right", "third")]
        print(
            f"\n{len(two)} pairs of faults: first {shares[0]:.1%}, first three {shares[1]:.1%}, {np.mean([r.minutes for r in two]):.1f} min"
        )
    cpu = 1000 * np.array([c for r in plain + blundered for c in r.cpu])
    print(
        f"an answer takes {np.median(cpu):.1f} ms in the middle, 95 of 100 under {np.quantile(cpu, 0.95):.0f} ms (parts solved once a job)"
    )
    times()


if __name__ == "__main__":
    main()
