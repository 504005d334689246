"""What is probable after everything that was seen: single faults, nothing wrong, two faults at once, and none of these.

Exact, by enumeration. Prior odds are the catalogue's weights, moved by closed cases (``learned``); what share of calls has nothing wrong,
two faults, or a cause no row of the catalogue knows is stated there and here and is judgement. Pairs are in ``pairs``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loopwright.explain.hypothesis import Floats
from loopwright.explain.learned import CATALOGUE, NONE_OF_THESE, NOTHING, Weights
from loopwright.explain.meter import Mistake
from loopwright.explain.weigh.likelihood import LEAST, Likelihood, Rows, Seen
from loopwright.explain.weigh.pairs import Pair, beside, both_of, sums

TWO_FAULTS = 0.02
"""Prior share of occasions with two faults at once."""


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
    weight = weight_of(rows, weights)
    out = weight[rows.owner] * rows.share if rows.hypotheses else np.zeros(rows.part.size)
    out[0] = 0.0
    total = out.sum()
    pairs = two_faults(rows, weights)
    single = 1 - weights.nothing - weights.none_of_these - pairs
    out = out * (single / total) if total > 0 else out
    out[0] = 1 - weights.none_of_these - pairs - out.sum()
    return np.asarray(out)


def weight_of(rows: Rows, weights: Weights) -> Floats:
    """Return the prior weight of each hypothesis."""
    return np.array([h.weight * weights.factor(h.fault.id) for h in rows.hypotheses])


def two_faults(rows: Rows, weights: Weights) -> float:
    """Return the prior share of the two faults at once that are weighed.

    Both are drawn alike from all that is looked into, so what may not stand side by side leaves its share to single faults. Where cases
    leave less for known causes, they leave less for pairs of them.
    """
    known = (1 - weights.nothing - weights.none_of_these) / (1 - NOTHING - NONE_OF_THESE)
    weight = weight_of(rows, weights)
    return TWO_FAULTS * known * beside(rows).shares(weight) / max(float(weight.sum()) ** 2, LEAST)


def posterior(rows: Rows, seen: Likelihood, used: Sequence[Seen] = (), weights: Weights = CATALOGUE) -> Posterior:
    """Return the posterior of every row, of none of these, and of pairs; ``used`` are the readings of ``seen``."""
    before = prior(rows, weights)
    log_chance = np.log(np.maximum(seen.chance, LEAST)).sum(axis=1)
    log_none = float(np.log(np.maximum(seen.anything, LEAST)).sum())
    top = max(float(np.max(log_chance)), log_none)
    mass = before * np.exp(log_chance - top)
    none = weights.none_of_these * float(np.exp(log_none - top))
    both = both_of(rows, before, seen, used, two_faults(rows, weights), top)
    total = mass.sum() + none + both.mass
    after = mass / total
    return Posterior(
        rows=after,
        hypotheses=sums(np.maximum(rows.owner[1:], 0), after[1:], len(rows.hypotheses)),
        none_of_these=float(none / total),
        two_faults=float(both.mass / total),
        pairs=tuple(Pair(first=p.first, second=p.second, probability=float(p.probability / total)) for p in both.pairs),
        paired=both.one_of / total,
        mistaken=tuple(_mistaken(after, chance, kinds) for chance, kinds in zip(seen.chance.T, seen.mistakes, strict=True)),
    )


def _mistaken(after: Floats, chance: Floats, kinds: dict[Mistake, Floats]) -> dict[Mistake, float]:
    """Return the probability that a reading came about by each mistake, the single faults taken together."""
    whole = after.sum()
    if whole <= 0:
        return {}
    share = after / whole / np.maximum(chance, LEAST)
    return {kind: float(np.sum(share * values)) for kind, values in kinds.items() if kind is not Mistake.NONE}
