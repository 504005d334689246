"""The next check held against the best there is: small problems solved by exhaustive search, and what each way of choosing costs on them.

A problem is up to six hypotheses and five checks cut out of a real belief: a generated circuit with something amiss, its likeliest
hypotheses, checks and outcomes as the program weighs them. What a way of choosing costs is the expected minutes to the end, a wrong answer
at its price. The best is found by dynamic programming over every set of outcomes, which shares nothing with the program's own
search. Run from the project's root with ``PYTHONPATH=src``; ``--problems N``, ``--seed S``.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
from collections.abc import Callable
from dataclasses import replace
from itertools import combinations
from random import Random

import numpy as np

from loopwright.demo.synthetic import synthetic
from loopwright.explain.explain import Inquiry
from loopwright.explain.observation import read_observations
from loopwright.explain.weigh.next_check import WRONG_MINUTES, advise
from loopwright.explain.weigh.outcome import Outcomes
from loopwright.job.read import read

MOST_HYPOTHESES, MOST_CHECKS, MOST_CELLS = 6, 5, 5
NEVER = 1e-4
"""States come to less often than this count as stopped at."""
Problem = tuple[Outcomes, np.ndarray, np.ndarray]
Choice = Callable[[Outcomes, np.ndarray, np.ndarray], int | None]


def problems(count: int, draw: Random) -> list[Problem]:
    """Return small problems: outcomes, probabilities of the rows, class of each row."""
    out = []
    while len(out) < count:
        job = read(synthetic(24, draw.randrange(10**6))).job
        inquiry = Inquiry(job)
        for name in draw.sample(list(job.circuits), 4):
            device = job.circuits[name].path[0].device
            entry = draw.choice(["shows: active", "shows: tamper", f"state: operated {device}, shows: rest"])
            weighed, _ = inquiry.weigh(read_observations(job, f"readings:\n  - {{where: {name}, {entry}}}\n"))
            assert weighed.outs is not None
            found = cut(weighed.outs, weighed.weight, weighed.group, draw)
            out += [found] if found else []
    return out[:count]


def cut(outs: Outcomes, weight: np.ndarray, group: np.ndarray, draw: Random) -> Problem | None:
    """Return a small problem out of a belief: some of its likelier classes, a row each, and checks that part every two of them."""
    classes = sorted(set(group.tolist()), key=lambda c: -weight[group == c].sum())[:14]
    chosen = draw.sample(classes, min(draw.randint(3, MOST_HYPOTHESES), len(classes)))
    rows = np.array([max(np.flatnonzero(group == c), key=lambda r: weight[r]) for c in chosen])
    p = np.array([weight[group == c].sum() for c in chosen])
    chance = outs.chance[:, rows]
    parts = np.abs(chance[:, :, None] - chance[:, None]).sum(axis=3)
    able = np.flatnonzero(parts.max(axis=(1, 2)) > 0.5).tolist()
    checks = draw.sample(able, min(draw.randint(2, MOST_CHECKS), len(able)))
    if parts[checks].max(axis=0)[~np.eye(len(rows), dtype=bool)].min() < 0.5:
        return None
    small = np.zeros((len(checks), len(rows), MOST_CELLS))
    for number, check in enumerate(checks):
        order = np.argsort(-chance[check].sum(axis=0))
        small[number] = chance[check][:, order[:MOST_CELLS]]
        small[number, :, -1] += chance[check][:, order[MOST_CELLS:]].sum(axis=1)
    made = replace(
        outs, checks=tuple(outs.checks[c] for c in checks), rows=rows, chance=small, reads=outs.reads[checks], edges=outs.edges[checks]
    )
    return made, p / p.sum(), np.arange(len(rows))


def best(outs: Outcomes, p: np.ndarray) -> float:
    """Return the least expected minutes: the value of each set of outcomes is that of stopping or of the best check more."""
    count = len(outs.checks)
    value: dict[frozenset[int], np.ndarray] = {}
    for size in range(count, -1, -1):
        for done in combinations(range(count), size):
            mass = p.copy()[(None,) * size]
            for axis, check in enumerate(done):
                shape = [1] * size + [len(p)]
                shape[axis] = MOST_CELLS
                mass = mass * outs.chance[check].T.reshape(shape)
            mass = np.broadcast_to(mass, (*[MOST_CELLS] * size, len(p)))
            found = (mass.sum(axis=-1) - mass.max(axis=-1)) * WRONG_MINUTES
            for more in set(range(count)) - set(done):
                after = value[frozenset({*done, more})].sum(axis=sorted({*done, more}).index(more))
                found = np.minimum(found, outs.checks[more].minutes * mass.sum(axis=-1) + after)
            value[frozenset(done)] = found
    return float(value[frozenset()])


def cost(outs: Outcomes, p: np.ndarray, group: np.ndarray, choose: Choice, way: float = 1.0) -> float:
    """Return the expected minutes of a way of choosing, worked out to the end over every outcome."""
    stop = (1 - p.max()) * WRONG_MINUTES
    check = choose(outs, p, group) if outs.checks and way > NEVER else None
    if check is None:
        return float(stop)
    left = [n for n in range(len(outs.checks)) if n != check]
    then = replace(
        outs, checks=tuple(outs.checks[n] for n in left), chance=outs.chance[left], reads=outs.reads[left], edges=outs.edges[left]
    )
    total = outs.checks[check].minutes
    for cell in range(MOST_CELLS):
        mass = p * outs.chance[check][:, cell]
        if mass.sum() > 0:
            total += mass.sum() * cost(then, mass / mass.sum(), group, choose, way * mass.sum())
    return float(total)


def advised(outs: Outcomes, p: np.ndarray, group: np.ndarray) -> int | None:
    """Choose as the program advises."""
    advice = advise(outs, p, group)
    return None if advice.stop or not advice.checks else outs.checks.index(advice.checks[0].check)


def greedy(outs: Outcomes, p: np.ndarray, group: np.ndarray) -> int | None:
    """Choose the most bits a minute while a check raises the chance of being right by more than it costs."""
    rate, worth = [], False
    for check, chance in zip(outs.checks, outs.chance, strict=True):
        joint = p[:, None] * chance
        cells = joint.sum(axis=0)
        bits = sum(-np.sum(v[v > 0] * np.log2(v[v > 0])) * sign for v, sign in ((p, 1), (cells, 1), (joint, -1)))
        rate.append(bits / check.minutes)
        worth = worth or (joint.max(axis=0).sum() - p.max()) * WRONG_MINUTES > check.minutes
    return int(np.argmax(rate)) if worth else None


def two_step(outs: Outcomes, p: np.ndarray, group: np.ndarray) -> int | None:
    """Choose the least expected minutes with one more check at most after this one."""
    found = [(1 - p.max()) * WRONG_MINUTES]
    for first, check in enumerate(outs.checks):
        total = check.minutes
        for cell in range(MOST_CELLS):
            mass = p * outs.chance[first][:, cell]
            ends = [(mass.sum() - mass.max()) * WRONG_MINUTES]
            for second, other in enumerate(outs.checks):
                if second != first:
                    joint = mass[:, None] * outs.chance[second]
                    ends.append(other.minutes * mass.sum() + (mass.sum() - joint.max(axis=0).sum()) * WRONG_MINUTES)
            total += min(ends)
        found.append(total)
    least = int(np.argmin(found))
    return least - 1 if least else None


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--problems", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    made = problems(options.problems, Random(options.seed))
    least = np.array([best(outs, p) for outs, p, _ in made])
    sizes = [len(p) for _, p, _ in made], [len(outs.checks) for outs, _, _ in made]
    many = f"{np.mean(sizes[0]):.1f} hypotheses and {np.mean(sizes[1]):.1f} checks in the middle"
    print(f"{len(made)} small problems, {many}; best {least.mean():.1f} min")
    print("way of choosing    minutes  ratio, mean  95th percentile  worst")
    for name, choose in (("advised", advised), ("two steps", two_step), ("bits a minute", greedy)):
        ratio = np.array([cost(outs, p, group, choose) for outs, p, group in made]) / np.maximum(least, 1e-9)
        print(f"{name:16s} {(ratio * least).mean():9.2f} {ratio.mean():12.3f} {np.quantile(ratio, 0.95):16.3f} {ratio.max():6.2f}")


if __name__ == "__main__":
    main()
