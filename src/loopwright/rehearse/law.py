"""What the rules a job is under say of sounders and of tamper and hold-up, handed to the rehearsal: it reads no ruleset itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True, slots=True)
class Bound:
    """A time [s] that may not be fallen below or gone beyond (None: no bound), and ``words`` that name who says so."""

    least_s: float | None = None
    most_s: float | None = None
    words: str

    def holds(self, time_s: float) -> bool:
        """Return whether a time is within."""
        return (self.least_s is None or time_s >= self.least_s) and (self.most_s is None or time_s <= self.most_s)

    @property
    def asked(self) -> str:
        """Return what it asks for, and who says so in brackets.

        >>> Bound(most_s=900.0, words="EN 50131-1, warning devices").asked
        'at most 900 s (EN 50131-1, warning devices)'
        """
        ends = (("at least", self.least_s), ("at most", self.most_s))
        return f"{' and '.join(f'{word} {end:g} s' for word, end in ends if end is not None)} ({self.words})"


@dataclass(frozen=True, kw_only=True, slots=True)
class Cell:
    """What may sound on an event in a state, and ``words`` that name who says so."""

    allowed: tuple[str, ...]
    words: str


@dataclass(frozen=True, kw_only=True, slots=True)
class Law:
    """The rules of a job as the rehearsal needs them; a job under none has no bounds and no cells.

    ``once`` bounds the sounders' time after one alarm, ``in_one_go`` what they sound without a break, ``in_all`` what they sound in a set
    period; ``entry_and_abort`` bounds the entry time with the abort window. ``cells`` are by event and state: ``tamper-unset``.
    """

    once: tuple[Bound, ...] = ()
    in_one_go: tuple[Bound, ...] = ()
    in_all: tuple[Bound, ...] = ()
    entry_and_abort: tuple[Bound, ...] = ()
    cells: Mapping[str, tuple[Cell, ...]] = field(default_factory=dict)


NO_LAW = Law()
