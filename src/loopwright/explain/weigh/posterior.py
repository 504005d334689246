"""What is probable after everything that was seen: single faults, nothing wrong, two faults in different parts, and none of these.

Exact, by enumeration. Prior odds are the catalogue's weights, moved by closed cases (``learned``); what share of calls has nothing wrong,
two faults, or a cause no row of the catalogue knows is stated there and here and is judgement. Two faults in different parts are
independent, and each reading belongs to one part, so the posterior of all pairs is an outer product.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loopwright.explain.hypothesis import Floats
from loopwright.explain.learned import CATALOGUE, NONE_OF_THESE, NOTHING, Weights
from loopwright.explain.meter import Mistake
from loopwright.explain.weigh.likelihood import Likelihood, Rows

TWO_FAULTS = 0.02
"""Prior share of occasions with two faults in different parts."""
MOST_PAIRS = 8
LEAST = 1e-300


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """Two faults at once, by their numbers among the hypotheses."""

    first: int
    second: int
    probability: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Posterior:
    """Probabilities that sum to one: ``rows`` (row 0 is nothing wrong), ``none_of_these``, and ``two_faults`` in all.

    ``hypotheses`` are those of single faults, summed over their rows; ``pairs`` are the most probable of the two faults, and ``paired`` is
    of each row the probability that it is one of two.
    ``mistaken`` is for each reading the probability that it was a mistake, by kind.
    """

    rows: Floats
    hypotheses: Floats
    none_of_these: float
    two_faults: float
    pairs: tuple[Pair, ...]
    paired: Floats
    mistaken: tuple[dict[Mistake, float], ...]

    @property
    def nothing(self) -> float:
        """Return the probability that nothing is wrong with what was read."""
        return float(self.rows[0])


def prior(rows: Rows, weights: Weights = CATALOGUE) -> Floats:
    """Return the prior probability of nothing wrong and of every variant of a single fault."""
    weight = np.array([h.weight * weights.factor(h.fault.id) for h in rows.hypotheses] or [0.0])
    out = weight[rows.owner] * rows.share if rows.hypotheses else np.zeros(rows.part.size)
    out[0] = 0.0
    total = out.sum()
    pairs = two_faults(rows, weights)
    single = 1 - weights.nothing - weights.none_of_these - pairs
    out = out * (single / total) if total > 0 else out
    out[0] = 1 - weights.none_of_these - pairs - out.sum()
    return np.asarray(out)


def two_faults(rows: Rows, weights: Weights) -> float:
    """Return the prior share of two faults in different parts: where cases leave less for known causes, less for pairs of them."""
    known = (1 - weights.nothing - weights.none_of_these) / (1 - NOTHING - NONE_OF_THESE)
    return TWO_FAULTS * known if sum(part.paired for part in rows.parts) > 1 else 0.0


def posterior(rows: Rows, seen: Likelihood, weights: Weights = CATALOGUE) -> Posterior:
    """Return the posterior of every row, of none of these, and of pairs from different parts."""
    before = prior(rows, weights)
    log_chance = np.log(np.maximum(seen.chance, LEAST)).sum(axis=1)
    log_none = float(np.log(np.maximum(seen.anything, LEAST)).sum())
    top = max(float(np.max(log_chance)), log_none)
    mass = before * np.exp(log_chance - top)
    none = weights.none_of_these * float(np.exp(log_none - top))
    pairs, both, one_of = _pairs(rows, before, log_chance, top, two_faults(rows, weights))
    total = mass.sum() + none + both
    after = mass / total
    owner = np.maximum(rows.owner, 0)
    count = len(rows.hypotheses)
    by_hypothesis = _sums(owner[1:], after[1:], count)
    return Posterior(
        rows=after,
        hypotheses=by_hypothesis,
        none_of_these=float(none / total),
        two_faults=float(both / total),
        pairs=tuple(Pair(first=p.first, second=p.second, probability=float(p.probability / total)) for p in pairs),
        paired=one_of / total,
        mistaken=tuple(_mistaken(after, chance, kinds) for chance, kinds in zip(seen.chance.T, seen.mistakes, strict=True)),
    )


def _pairs(rows: Rows, before: Floats, log_chance: Floats, top: float, both_share: float) -> tuple[list[Pair], float, Floats]:
    """Return the most probable pairs, the mass of all of them, and of those that each row is in; a fault that darkens other parts is paired
    with none there.

    ``both_share`` is the prior share of all pairs.
    """
    parts = len(rows.parts)
    none = np.zeros(rows.part.size)
    if both_share <= 0 or len(rows.hypotheses) < 2:
        return [], 0.0, none
    single = before[1:] / before[1:].sum()
    # What leaves devices of another part without a supply changes readings there too: the two cannot be told by a product.
    alone = np.all([column[1:] < 0 for column in rows.dark.values()], axis=0) if rows.dark else np.ones(single.size, dtype=np.bool_)
    # Only those faults of the whole come in that were spoken of: a pair with each would be far too likely.
    paired = np.array([part.paired for part in rows.parts])[rows.part[1:]]
    single = np.where(alone & paired, single, 0.0)
    gain = np.exp(np.clip(log_chance[1:] - log_chance[0], -600, 600))
    owner, part = rows.owner[1:], rows.part[1:]
    weight, odds = _sums(owner, single, len(rows.hypotheses)), _sums(owner, single * gain, len(rows.hypotheses))
    home = np.zeros(len(rows.hypotheses), dtype=np.int64)
    home[owner] = part
    by_part, own = _sums(home, odds, parts), _sums(home, weight, parts)
    # All ordered pairs less those within one part; the prior of pairs is scaled to the share it has.
    possible = float(own.sum()) ** 2 - float(np.sum(own**2))
    if possible <= 0:
        return [], 0.0, none
    scale = both_share / possible * float(np.exp(min(log_chance[0] - top, 600)))
    both = scale * (float(by_part.sum()) ** 2 - float(np.sum(by_part**2)))
    one_of = np.append(0.0, 2 * scale * single * gain * np.maximum(by_part.sum() - by_part[part], 0.0))
    return _likeliest(odds, home, scale), max(both, 0.0), one_of


def _sums(owner: NDArray[np.int64], values: Floats, count: int) -> Floats:
    """Return the sum of ``values`` by owner."""
    out = np.zeros(count)
    np.add.at(out, owner, values)
    return out


def _likeliest(odds: Floats, home: NDArray[np.int64], scale: float) -> list[Pair]:
    best = np.argsort(odds)[::-1][:40]
    both = np.triu(np.outer(odds[best], odds[best]), 1) * (home[best][:, None] != home[best])
    order = [divmod(place, best.size) for place in np.argsort(-both, axis=None, kind="stable")[:MOST_PAIRS].tolist()]
    return [Pair(first=int(best[a]), second=int(best[b]), probability=2 * scale * float(both[a, b])) for a, b in order if both[a, b] > 0]


def _mistaken(after: Floats, chance: Floats, kinds: dict[Mistake, Floats]) -> dict[Mistake, float]:
    """Return the probability that a reading came about by each mistake, the single faults taken together."""
    whole = after.sum()
    if whole <= 0:
        return {}
    share = after / whole / np.maximum(chance, LEAST)
    return {kind: float(np.sum(share * values)) for kind, values in kinds.items() if kind is not Mistake.NONE}
