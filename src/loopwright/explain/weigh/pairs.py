"""Two faults at once: which may stand side by side, and the posterior of all of them.

Two faults meet where both move the readings of a part that a meter reads: what they make it read together is not solved, so such two are
not weighed. All others are independent, and the mass of all pairs is a sum of products over few kinds of hypotheses: those that move the
same parts. Words are different: either of two faults may make one be said, so where both speak of a word the chance of yes is that neither
fails to (a noisy or); where a word has more outcomes, either tells it half the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.check import YES_NO
from loopwright.explain.hypothesis import Floats
from loopwright.explain.weigh.likelihood import LEAST, Likelihood, Rows, Seen

MOST_PAIRS = 8
AMONG = 40
"""The pairs named are those of so many hypotheses, the likeliest to be one of two."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """Two faults at once, by their numbers among the hypotheses."""

    first: int
    second: int
    probability: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Beside:
    """Which hypotheses may stand beside which: the ``kind`` of each, -1 where it stands beside none, and ``may`` by kind.

    ``speaks`` are those that move the words of a part that is read by words alone.
    """

    kind: NDArray[np.int64]
    may: Floats
    speaks: NDArray[np.bool_]

    def shares(self, weight: Floats) -> float:
        """Return the sum over all ordered pairs that may be of the products of their weights."""
        own = sums(self.kind[self.kind >= 0], weight[self.kind >= 0], len(self.may))
        return float(own @ self.may @ own)


def beside(rows: Rows) -> Beside:
    """Return which hypotheses of ``rows`` may stand beside which, worked out once."""
    found = rows.kept.get("beside") or _beside(rows)
    assert isinstance(found, Beside)
    rows.kept["beside"] = found
    return found


def _beside(rows: Rows) -> Beside:
    count = len(rows.hypotheses)
    touched = np.zeros((count, len(rows.parts)), dtype=np.bool_)
    home = np.zeros(count, dtype=np.int64)
    home[rows.owner[1:]] = rows.part[1:]
    touched[np.arange(count), home] = True
    for part, column in rows.dark.items():
        touched[rows.owner[column >= 0], part] = True
    worded = np.array([part.worded for part in rows.parts], dtype=np.bool_)
    paired = np.array([part.paired for part in rows.parts], dtype=np.bool_)
    groups = sorted({h.fault.group for h in rows.hypotheses})
    # Two of one group of the whole are not weighed: a detector that sees two things is one siting.
    own = np.array([[worded[at] and h.fault.group == group for group in groups] for h, at in zip(rows.hypotheses, home, strict=True)])
    meets = np.concatenate((touched[:, ~worded], own), axis=1) if count else np.zeros((0, 1), dtype=np.bool_)
    kinds, kind = np.unique(meets, axis=0, return_inverse=True)
    apart = (kinds.astype(np.int64) @ kinds.T.astype(np.int64)) == 0
    return Beside(
        kind=np.where(paired[home], kind.reshape(-1), -1), may=apart.astype(float), speaks=np.asarray(touched[:, worded].any(axis=1))
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Both:
    """All pairs: the likeliest ``pairs``, the ``mass`` of all, and of those that each row is one of (``one_of``)."""

    pairs: tuple[Pair, ...]
    mass: float
    one_of: Floats


def both_of(rows: Rows, before: Floats, seen: Likelihood, used: Sequence[Seen], share: float, top: float) -> Both:
    """Return the mass of all pairs, relative to a likelihood of exp(``top``); ``share`` is their prior share in all."""
    none = Both(pairs=(), mass=0.0, one_of=np.zeros(rows.part.size))
    if share <= 0 or len(rows.hypotheses) < 2:
        return none
    known, count = beside(rows), len(rows.hypotheses)
    owner = rows.owner[1:]
    single = np.where(known.kind[owner] >= 0, before[1:] / before[1:].sum(), 0.0)
    log_chance = np.log(np.maximum(seen.chance, LEAST)).sum(axis=1)
    gain = np.where(single > 0, log_chance[1:] - log_chance[0], -np.inf)
    shift = max(float(gain.max()), 0.0)
    odds = sums(owner, single * np.exp(gain - shift), count)
    possible = known.shares(sums(owner, single, count))
    if possible <= 0:
        return none
    scale = share / possible * float(np.exp(min(log_chance[0] - top + 2 * shift, 600)))
    partner, said, words = _partners(rows, known, odds, seen, used)
    mass = scale * float(odds @ partner)
    one_of = np.append(0.0, 2 * scale * single * np.exp(gain - shift) * partner[owner])
    return Both(pairs=_likeliest(known, odds, partner, said, words, scale), mass=mass, one_of=one_of)


def _partners(rows: Rows, known: Beside, odds: Floats, seen: Likelihood, used: Sequence[Seen]) -> tuple[Floats, NDArray[np.int64], Floats]:
    """Return for each hypothesis the odds of all that may stand beside it, and the hypotheses that a word said depends on, with what their
    odds together are multiplied by."""
    words = [n for n, each in enumerate(used) if rows.parts[rows.index[each.check][0]].worded]
    first = np.zeros(len(rows.hypotheses), dtype=np.int64)
    first[rows.owner[:0:-1]] = np.arange(rows.owner.size - 1, 0, -1)
    chance = seen.chance[first][:, words]
    sound = seen.chance[0, words]
    said = np.flatnonzero(known.speaks & (known.kind >= 0) & (np.abs(chance - sound) > 1e-12).any(axis=1))
    factor = np.ones((said.size, said.size))
    for column, number in enumerate(words):
        factor *= _together(chance[said, column], float(sound[column]), used[number])
    may = known.may[known.kind]
    silent = odds.copy()
    silent[said] = 0.0
    inside = known.kind >= 0
    quiet = sums(known.kind[inside], silent[inside], len(known.may))
    loud = sums(known.kind[said], odds[said], len(known.may))
    partner = np.where(inside, may @ (quiet + loud), 0.0)
    partner[said] = may[said] @ quiet + (known.may[np.ix_(known.kind[said], known.kind[said])] * factor) @ odds[said]
    return partner, said, factor


def _together(chance: Floats, sound: float, reading: Seen) -> Floats:
    """Return by what the product of two gains is to be multiplied for a word that both may move."""
    one, other = chance[:, None], chance[None, :]
    moved = np.abs(chance - sound) > 1e-12
    if reading.told == ("no",):
        both = one * other / sound
    elif reading.told == ("yes",) and set(reading.check.outcomes or YES_NO) == set(YES_NO):
        both = 1 - np.minimum((1 - one) * (1 - other) / max(1 - sound, LEAST), 1.0)
    else:
        both = (one + other) / 2
    return np.where(moved[:, None] & moved[None, :], np.maximum(both, LEAST) * sound / np.maximum(one * other, LEAST), 1.0)


def _likeliest(known: Beside, odds: Floats, partner: Floats, said: NDArray[np.int64], factor: Floats, scale: float) -> tuple[Pair, ...]:
    best = np.argsort(-odds * partner, kind="stable")[:AMONG]
    best = best[known.kind[best] >= 0]
    place = np.full(odds.size, -1)
    place[said] = np.arange(said.size)
    own = place[best]
    words = np.ones((best.size, best.size))
    spoken = np.flatnonzero(own >= 0)
    words[np.ix_(spoken, spoken)] = factor[np.ix_(own[spoken], own[spoken])]
    both = np.triu(np.outer(odds[best], odds[best]) * words * known.may[np.ix_(known.kind[best], known.kind[best])], 1)
    order = [divmod(spot, best.size) for spot in np.argsort(-both, axis=None, kind="stable")[:MOST_PAIRS].tolist()]
    found = [(int(best[a]), int(best[b]), 2 * scale * float(both[a, b])) for a, b in order if both[a, b] > 0]
    return tuple(Pair(first=one, second=other, probability=probability) for one, other, probability in found)


def sums(owner: NDArray[np.int64], values: Floats, count: int) -> Floats:
    """Return the sum of ``values`` by owner."""
    return np.bincount(owner, weights=values, minlength=count).astype(float)
