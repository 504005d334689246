"""Where to put the meter next: the check with the most expected information about what to do, a minute; and when to stop.

Answers are classes of hypotheses that no check at hand tells apart, for what they call for is the same. Each check's expected
information about the class is worked out over the distribution of what it would show; the few best a minute are followed several checks
deep by the same rule (a choice of two at first, then greedy), and the cheapest in expected minutes is advised, what a wrong answer costs
included.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import entr

from loopwright.explain.check import Check
from loopwright.explain.hypothesis import Floats
from loopwright.explain.weigh.at_hand import AtHand
from loopwright.explain.weigh.outcome import Outcomes

WRONG_MINUTES = 480.0
"""What acting on the wrong answer costs [min]: the work done for nothing, a second visit, and a site that trusts a fault (judgement)."""
SAME = 0.05
"""Hypotheses whose outcomes differ by no more than this chance at every check are one answer."""
FOLLOWED = 4
SHORT_LIST = 18
DEPTH = 5
"""So many checks deep an order is followed; what is left undecided then is taken for wrong, or for decided by one check more."""
BOTH = 2
"""So many of them are the better of two, those after only the one that tells most a minute."""
BRANCHES = 4
LEAST_BITS = 0.003
LIKELY = 0.02
LEAST_WAY = 0.04
"""What is come to less often than this is not followed to the end."""
TIED = 0.02
"""Checks whose expected minutes to the end differ by less than this share are alike: so much is left out where they are followed."""
LEAST_WEIGHT = 1e-4
"""Rows this much less likely than the likeliest are left out when checks are followed."""
GRAIN = 40
"""Rows of one class whose chances are the same to one part in so many are followed as one."""


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
    """The checks as arrays: (checks, rows, cells) chances, the class of each row, minutes of each check (before, check) straight after
    another.

    ``after`` is for each check the one that has to come out in the first of its outcomes before it makes sense, -1 for none;
    ``first`` the cell of each check that is that outcome. Beliefs are (beliefs, rows): many are gone on from at once.
    """

    def __init__(
        self, chance: Floats, group: NDArray[np.int64], minutes: Floats, after: NDArray[np.int64], first: NDArray[np.int64]
    ) -> None:
        _, self.group = np.unique(group, return_inverse=True)
        self.chance, self.minutes, self.opened_by, self.first = chance, minutes, after, first
        self.member = np.zeros((int(self.group.max()) + 1, group.size))
        self.member[self.group, np.arange(group.size)] = 1.0
        self.flat = np.ascontiguousarray(np.moveaxis(chance, 1, 0)).reshape(group.size, -1)

    def joint(self, p: Floats) -> Floats:
        """Return the (beliefs, classes, checks, cells) joint chances."""
        parted = (p[:, None, :] * self.member).reshape(-1, p.shape[1])
        return np.asarray((parted @ self.flat).reshape(len(p), len(self.member), len(self.chance), -1))

    def look(self, p: Floats, left: NDArray[np.bool_], before: NDArray[np.int64]) -> _Look:
        """Return what each of the checks that are ``left`` would tell of each belief, straight after the one ``before``."""
        minutes = self.minutes[before]
        joint, known = self.joint(p), p @ self.member.T
        bits = _entropy(known)[:, None] + _entropy(joint.sum(axis=1)) - _entropy(joint).sum(axis=1)
        wrong = (1 - known.max(axis=1)) * WRONG_MINUTES
        doubt = (1 - joint.max(axis=1).sum(axis=2)) * WRONG_MINUTES
        useful = left & (bits > LEAST_BITS)
        rate = np.where(useful, bits / minutes, 0.0)
        return _Look(bits=bits, rate=rate, wrong=wrong, alone=np.where(useful, minutes + doubt, np.inf))

    def after(self, p: Floats, check: NDArray[np.int64], left: NDArray[np.bool_], way: Floats, depth: int) -> Floats:
        """Return the expected minutes from the end of each belief's ``check`` to the end of all.

        ``way`` is how likely each belief is to be come to: what is hardly ever come to is not followed further.
        """
        cells = np.einsum("nr,nrb->nb", p, self.chance[check])
        order = np.argsort(-cells, axis=1)[:, :BRANCHES]
        chance = np.take_along_axis(cells, order, axis=1)
        belief, rank = np.nonzero(chance > LIKELY)
        then = p[belief] * self.chance[check[belief], :, order[belief, rank]]
        then /= then.sum(axis=1, keepdims=True)
        still = left[belief]
        still[np.arange(len(belief)), check[belief]] = False
        still |= (self.opened_by == check[belief, None]) & (order[belief, rank] == self.first[check[belief]])[:, None]
        share = chance[belief, rank]
        ends = self.ends(then, still, check[belief], way[belief] * share, depth - 1)
        covered = np.bincount(belief, weights=share, minlength=len(p))
        return np.asarray(np.bincount(belief, weights=share * ends, minlength=len(p)) / np.maximum(covered, 1e-9), dtype=np.float64)

    def ends(self, p: Floats, left: NDArray[np.bool_], before: NDArray[np.int64], way: Floats, depth: int) -> Floats:
        """Return the expected minutes to the end from each belief, the check ``before`` just done: of stopping, of one check more, or of
        what is best followed on.

        That is the one that tells most a minute, and at first the one that is best if it is the last beside it.
        """
        look = self.look(p, left, before)
        out: Floats = np.minimum(look.wrong, look.alone.min(axis=1))
        if depth > 0:
            go = np.flatnonzero((look.rate.max(axis=1) > 0) & (way > LEAST_WAY) & (look.wrong > self.minutes.min()))
            told = np.argmax(look.rate[go], axis=1)
            at, which = go, told
            if depth > DEPTH - BOTH:
                last = np.argmin(look.alone[go], axis=1)
                at, which = np.concatenate((go, go[last != told])), np.concatenate((told, last[last != told]))
            if at.size:
                np.minimum.at(out, at, self.minutes[before[at], which] + self.after(p[at], which, left[at], way[at], depth))
        return out


@dataclass(frozen=True, kw_only=True, slots=True)
class _Look:
    """At each belief the information [bit] of each check, that a minute, and the expected minutes if it is the last, (beliefs, checks);
    ``wrong`` (beliefs,) is what stopping costs."""

    bits: Floats
    rate: Floats
    wrong: Floats
    alone: Floats


def advise(
    outs: Outcomes,
    p: Floats,
    group: NDArray[np.int64],
    after: NDArray[np.int64] | None = None,
    at_hand: AtHand | None = None,
    most: int = 3,
) -> Advised:
    """Return the best checks for the probabilities ``p`` of the rows of ``outs``, whose classes are ``group``.

    ``after`` is for each check the number of the one that has to come out in the first of its outcomes before it makes sense, -1 for none.
    ``at_hand`` knows what stands ready; without it every check takes the minutes it has.
    """
    if not outs.checks:
        return Advised(checks=(), stop=True)
    checks = outs.checks if at_hand is None else tuple(map(at_hand.now, outs.checks))
    minutes = np.array([check.minutes for check in checks])
    behind = np.full(minutes.size, -1) if after is None else after
    now = _Search(outs.chance, group, minutes[None], behind, np.zeros(minutes.size, dtype=np.int64))
    look = now.look(p[None], behind[None] < 0, np.zeros(1, dtype=np.int64))
    rate = _with_doors(now, p, look)
    order = np.argsort(-rate, kind="stable")
    short = order[rate[order] > 0][:SHORT_LIST]
    if not short.size:
        return Advised(checks=(), stop=True)
    # The best if it is the last is gone on from too, wherever it stands on the list.
    last = int(np.argmin(look.alone[0]))
    if np.isfinite(look.alone[0, last]):
        followed = short[behind[short] < 0][: FOLLOWED - 1]
        short = np.array(list(dict.fromkeys((*followed.tolist(), last, *short.tolist()))))[:SHORT_LIST]
    chance, weight, classes, first_cell = _packed(outs.chance[short], p, group)
    at = np.full(minutes.size + 1, -1)
    at[short] = np.arange(short.size)
    ahead = _Search(chance, classes, _in_turn([outs.checks[n] for n in short.tolist()], at_hand), at[behind[short]], first_cell)
    first = np.flatnonzero(behind[short] < 0)[:FOLLOWED]
    beliefs = np.repeat(weight[None], first.size, axis=0)
    left = np.repeat(behind[None, short] < 0, first.size, axis=0)
    # What is seen but seldom is not followed, so the last check's own worth, in which it counts, is held beside.
    spent = minutes[short[first]] + ahead.after(beliefs, first, left, np.ones(first.size), DEPTH)
    ends = np.minimum(spent, look.alone[0][short[first]])
    # What the same checks in another order lead to comes out alike, to what is not followed: what tells more a minute goes first.
    tied = ends <= ends.min() * (1 + TIED)
    found = tuple(
        Advice(
            check=checks[short[first[n]]],
            bits=float(look.bits[0, short[first[n]]]),
            end_minutes=float(ends[n]),
            cells=_cells(outs.chance[short[first[n]]], p, group),
        )
        for n in np.lexsort((ends, np.where(tied, -rate[short[first]], 0.0), ~tied))[:most].tolist()
    )
    return Advised(checks=found, stop=float(ends.min()) >= float(look.wrong[0]))


def _in_turn(checks: Sequence[Check], at_hand: AtHand | None) -> Floats:
    """Return the minutes of each check straight after each of them."""
    if at_hand is None:
        return np.tile([check.minutes for check in checks], (len(checks), 1)).astype(np.float64)
    return np.array([[at_hand.after(before, check) for check in checks] for before in checks])


def _with_doors(search: _Search, p: Floats, look: _Look) -> Floats:
    """Return the information [bit] a minute of each check, that of what opens others with the best of those it opens counted in.

    What is opened has the rate of both together, so that it is on the list where what opens it is.
    """
    rate = look.rate[0].copy()
    for door in np.unique(search.opened_by[search.opened_by >= 0]).tolist():
        opened = search.opened_by == door
        then = p * search.chance[door, :, 0]
        share = float(then.sum())
        if share <= LIKELY:
            continue
        bits = search.look(then[None] / share, opened[None], np.zeros(1, dtype=np.int64)).bits[0]
        both = (look.bits[0, door] + share * bits) / (search.minutes[0, door] + share * search.minutes[0])
        rate[opened] = np.where(bits[opened] > LEAST_BITS, both[opened], 0.0)
        # What opens comes before what it opens.
        rate[door] = max(float(rate[door]), float(rate[opened].max()) * (1 + 1e-9))
    return np.asarray(rate)


def _packed(chance: Floats, p: Floats, group: NDArray[np.int64]) -> tuple[Floats, Floats, NDArray[np.int64], NDArray[np.int64]]:
    """Return the chances with the cells in use put first and the empty ones dropped, the rows that no check parts taken together, their
    probabilities and classes, and where the first cell of each check is put: for checks that are gone through many times."""
    order = np.argsort(-(p @ chance), axis=1)
    used = int((chance.max(axis=1) > 0).sum(axis=1).max())
    some = np.take_along_axis(chance, order[:, None, :used], axis=2)
    heavy = np.flatnonzero(p > LEAST_WEIGHT * p.max())
    key = np.rint(np.moveaxis(some[:, heavy], 1, 0).reshape(heavy.size, -1) * GRAIN).astype(np.int8)
    found: dict[tuple[int, bytes], int] = {}
    together = np.array([found.setdefault((int(c), row.tobytes()), len(found)) for c, row in zip(group[heavy], key, strict=True)])
    member = np.zeros((int(together.max()) + 1, heavy.size))
    member[together, np.arange(heavy.size)] = p[heavy]
    weight = member.sum(axis=1)
    classes = np.zeros(len(weight), dtype=np.int64)
    classes[together] = group[heavy]
    merged = np.einsum("mr,crb->cmb", member / weight[:, None], some[:, heavy], optimize=True)
    return merged, weight / weight.sum(), classes, np.argmin(order, axis=1)


def _cells(chance: Floats, p: Floats, group: NDArray[np.int64]) -> tuple[tuple[int, float, int, float], ...]:
    """Return what a check may show, likeliest first, and what then leads."""
    classes, member = np.unique(group, return_inverse=True)
    joint = np.zeros((classes.size, chance.shape[1]))
    np.add.at(joint, member, p[:, None] * chance)
    cells = joint.sum(axis=0)
    out = []
    for cell in np.argsort(-cells)[:5].tolist():
        if cells[cell] > LIKELY:
            lead = int(np.argmax(joint[:, cell]))
            out.append((cell, float(cells[cell]), int(classes[lead]), float(joint[lead, cell] / cells[cell])))
    return tuple(out)


def _entropy(p: Floats) -> Floats:
    """Return the entropy [bit] over the last axis."""
    return np.asarray(entr(p).sum(axis=-1) / math.log(2))
