"""Where to put the meter next: the check with the most expected information about what to do, a minute; and when to stop.

Answers are classes of hypotheses that no check at hand tells apart, for what they call for is the same. Each check's expected
information about the class is worked out over the distribution of what it would show; the few best a minute are followed to the end by
the same rule (one step, then greedy), and the cheapest in expected minutes is advised, what a wrong answer costs included.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.check import Check
from loopwright.explain.hypothesis import Floats
from loopwright.explain.outcome import Outcomes

WRONG_MINUTES = 480.0
"""What acting on the wrong answer costs [min]: the work done for nothing, a second visit, and a site that trusts a fault (judgement)."""
SAME = 0.05
"""Hypotheses whose outcomes differ by no more than this chance at every check are one answer."""
FOLLOWED = 4
SHORT_LIST = 18
DEPTH = 3
BRANCHES = 4
LEAST_BITS = 0.003
LIKELY = 0.02
SURE = 0.97
"""Above this chance an answer is gone on from only where one check alone is worth its minutes."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Advice:
    """One check worth doing: expected information [bit], minutes, and the expected minutes to the end when it is done first.

    ``cells`` are what it may show, likeliest first: (cell, chance, class that then leads, its chance).
    """

    check: Check
    bits: float
    end_minutes: float
    cells: tuple[tuple[int, float, int, float], ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Advised:
    """The advice: checks best first, and whether to stop: no check would change what to do by more than it costs."""

    checks: tuple[Advice, ...]
    stop: bool


def alike(outs: Outcomes, owner: NDArray[np.int64], weight: Floats) -> NDArray[np.int64]:
    """Return the class of each row: rows of one hypothesis, and hypotheses that no check tells apart, are together.

    ``owner`` numbers the hypothesis of each row of ``outs`` from 0 upwards, ``weight`` is each row's probability.
    """
    count = int(owner.max()) + 1
    member = np.zeros((count, owner.size))
    member[owner, np.arange(owner.size)] = np.maximum(weight, 1e-300)
    member /= member.sum(axis=1, keepdims=True)
    mean = np.einsum("hr,crb->hcb", member, outs.chance, optimize=True)
    found = np.arange(count)
    for one in range(count):
        apart = 0.5 * np.abs(mean[one + 1 :] - mean[one]).sum(axis=2).max(axis=1, initial=0.0)
        for other in (np.flatnonzero(apart <= SAME) + one + 1).tolist():
            if found[other] == other:
                found[other] = found[one]
    return np.asarray(found[owner])


class _Search:
    """The checks as arrays: (checks, rows, cells) chances, the class of each row, minutes of each check."""

    def __init__(self, chance: Floats, group: NDArray[np.int64], minutes: Floats) -> None:
        _, self.group = np.unique(group, return_inverse=True)
        self.chance, self.minutes = chance, minutes
        self.member = np.zeros((int(self.group.max()) + 1, group.size))
        self.member[self.group, np.arange(group.size)] = 1.0

    def joint(self, p: Floats, checks: NDArray[np.int64]) -> Floats:
        """Return the (checks, classes, cells) joint chances."""
        return np.asarray(np.matmul(self.member * p, self.chance[checks]))

    def gains(self, p: Floats, checks: NDArray[np.int64]) -> tuple[Floats, Floats]:
        """Return of each check the expected information [bit] and by how much it raises the chance of being right."""
        joint = self.joint(p, checks)
        known = self.member @ p
        cell = joint.sum(axis=1)
        bits = _entropy(known) + _entropy(cell) - _entropy(joint.reshape(len(checks), -1))
        right = joint.max(axis=1).sum(axis=1) - known.max()
        return np.maximum(bits, 0.0), right

    def leading(self, p: Floats) -> float:
        """Return the chance of the likeliest class."""
        return float((self.member @ p).max())

    def settled(self, p: Floats, checks: NDArray[np.int64]) -> tuple[bool, NDArray[np.int64]]:
        """Return whether to stop at ``p``, and the checks that still tell something, the most a minute first."""
        bits, right = self.gains(p, checks)
        useful = bits > LEAST_BITS
        order = np.argsort(-np.where(useful, bits / self.minutes[checks], 0.0), kind="stable")
        worth = right * WRONG_MINUTES > self.minutes[checks]
        # Two checks together may tell what neither does alone, so doubt that is dear goes on being looked into.
        doubt = (1 - self.leading(p)) * WRONG_MINUTES > 4 * float(self.minutes[checks].min(initial=1.0)) and self.leading(p) < SURE
        stop = not useful.any() or not (worth.any() or doubt)
        return stop, checks[order[useful[order]]]

    def end_minutes(self, p: Floats, first: int, checks: NDArray[np.int64], depth: int) -> float:
        """Return the expected minutes to the end when ``first`` is done now and the greedy rule goes on."""
        cells = p @ self.chance[first]
        spent = float(self.minutes[first])
        likely = np.argsort(-cells)[:BRANCHES]
        likely = likely[cells[likely] > LIKELY]
        covered = float(cells[likely].sum())
        left = checks[checks != first]
        after = 0.0
        for cell in likely.tolist():
            then = p * self.chance[first][:, cell]
            after += float(cells[cell]) * self._greedy(then / then.sum(), left, depth - 1)
        return spent + after / max(covered, 1e-9)

    def _greedy(self, p: Floats, checks: NDArray[np.int64], depth: int) -> float:
        wrong = (1 - self.leading(p)) * WRONG_MINUTES
        if not checks.size:
            return wrong
        stop, order = self.settled(p, checks)
        if stop or not order.size:
            return wrong
        if depth <= 0:
            # What is left in doubt, at the rate of the best check.
            bits, _ = self.gains(p, order[:1])
            rest = float(_entropy(self.member @ p)) / max(float(bits[0]), 1e-6)
            return min(wrong, rest * float(self.minutes[order[0]]))
        return min(wrong, self.end_minutes(p, int(order[0]), checks, depth))


def advise(outs: Outcomes, p: Floats, group: NDArray[np.int64], most: int = 3) -> Advised:
    """Return the best checks for the probabilities ``p`` of the rows of ``outs``, whose classes are ``group``."""
    if not outs.checks:
        return Advised(checks=(), stop=True)
    minutes = np.array([check.minutes for check in outs.checks])
    search = _Search(outs.chance, group, minutes)
    every = np.arange(len(outs.checks))
    stop, order = search.settled(p, every)
    if not order.size:
        return Advised(checks=(), stop=True)
    short = order[:SHORT_LIST]
    bits, _ = search.gains(p, short)
    ahead = _Search(_packed(outs.chance[short], p), group, minutes[short])
    ends = [ahead.end_minutes(p, check, np.arange(short.size), DEPTH) for check in range(min(FOLLOWED, short.size))]
    ranked = [int(position) for position in np.argsort(ends, kind="stable")[:most]]
    found = tuple(
        Advice(check=outs.checks[short[n]], bits=float(bits[n]), end_minutes=ends[n], cells=_cells(search, p, int(short[n]), group))
        for n in ranked
    )
    return Advised(checks=found, stop=stop)


def _packed(chance: Floats, p: Floats) -> Floats:
    """Return the chances with the cells in use put first and the empty ones dropped, for checks that are gone through many times."""
    order = np.argsort(-(p @ chance), axis=1)
    used = int((chance.max(axis=1) > 0).sum(axis=1).max())
    return np.take_along_axis(chance, order[:, None, :used], axis=2)


def _cells(search: _Search, p: Floats, check: int, group: NDArray[np.int64]) -> tuple[tuple[int, float, int, float], ...]:
    joint = search.joint(p, np.array([check]))[0]
    cells = joint.sum(axis=0)
    first = np.array([int(group[np.flatnonzero(search.group == number)[0]]) for number in range(len(joint))])
    out = []
    for cell in np.argsort(-cells)[:5].tolist():
        if cells[cell] > LIKELY:
            lead = int(np.argmax(joint[:, cell]))
            out.append((cell, float(cells[cell]), int(first[lead]), float(joint[lead, cell] / cells[cell])))
    return tuple(out)


def _entropy(p: Floats) -> Floats:
    """Return the entropy [bit] over the last axis."""
    return np.asarray(-np.sum(np.where(p > 0, p * np.log2(np.maximum(p, 1e-300)), 0.0), axis=-1))
