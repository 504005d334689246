"""What closed cases say of how common each cause is: a conjugate update of the catalogue's weights, which stand in as cases seen before.

Which cause a case has is a draw from unknown shares. Their prior is a Dirichlet distribution whose pseudo-counts are the catalogue's
weights, a weight of :data:`A_CASE` counting as one case; so is that of the shares of nothing wrong, of a known cause and of an unknown
one, whose pseudo-counts are :data:`SHARES_STAND_FOR` cases in all. The posterior mean of a Dirichlet is its counts added up, so order
does not matter, one more case of a cause never lowers it, and with many cases the shares are those seen. Both strengths are judgement.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from loopwright.explain.catalogue import faults

UNKNOWN, NOTHING_WRONG = "unknown", "nothing wrong"
"""What a case may be closed with besides a fault of the catalogue."""
A_CASE = 3.0
"""The weight of one closed case: an occasional cause of the catalogue stands for one, a common one for three, a rare one for a third."""
SHARES_STAND_FOR = 40.0
"""So many cases stand behind the shares of nothing wrong and of an unknown cause."""
NOTHING = 0.25
"""Prior share of occasions on which nothing is wrong with what was read."""
NONE_OF_THESE = 0.01
"""Prior share of causes that no row of the catalogue knows."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Weights:
    """How common causes are, the catalogue's word and closed cases together.

    ``seen`` counts the closed cases of each fault, ``nothing`` and ``none_of_these`` are shares of all occasions, ``closed`` is how many
    cases there were.
    """

    seen: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    nothing: float = NOTHING
    none_of_these: float = NONE_OF_THESE
    closed: int = 0

    def factor(self, fault: str) -> float:
        """Return what the catalogue's weight of a fault is multiplied by; 1 where no case had that cause."""
        count = self.seen.get(fault, 0)
        return 1.0 + A_CASE * count / faults()[fault].weight if count else 1.0


CATALOGUE = Weights()
"""The catalogue alone."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Moved:
    """A fault whose weight has moved: in how many of all closed cases it was the cause, and its weight before and now."""

    fault: str
    words: str
    seen: int
    closed: int
    before: float
    now: float


def learned_weights(causes: Iterable[str]) -> Weights:
    """Return the weights after cases closed with ``causes``: ids of faults, UNKNOWN or NOTHING_WRONG.

    What the catalogue does not know is taken as unknown: it moves the share of none of these, and no single weight.

    >>> learned_weights(["P11", "P11", "unknown"]).seen["P11"]
    2
    """
    count = Counter(cause if cause in faults() or cause == NOTHING_WRONG else UNKNOWN for cause in causes)
    closed = count.total()
    nothing, unknown = count.pop(NOTHING_WRONG, 0), count.pop(UNKNOWN, 0)
    return Weights(
        seen=MappingProxyType(dict(sorted(count.items()))),
        nothing=(NOTHING * SHARES_STAND_FOR + nothing) / (SHARES_STAND_FOR + closed),
        none_of_these=(NONE_OF_THESE * SHARES_STAND_FOR + unknown) / (SHARES_STAND_FOR + closed),
        closed=closed,
    )


def moved(weights: Weights) -> tuple[Moved, ...]:
    """Return the faults whose weights closed cases have moved, those seen most first."""
    rows = sorted(weights.seen.items(), key=lambda row: (-row[1], row[0]))
    return tuple(
        Moved(
            fault=name,
            words=faults()[name].words,
            seen=seen,
            closed=weights.closed,
            before=faults()[name].weight,
            now=faults()[name].weight * weights.factor(name),
        )
        for name, seen in rows
    )
