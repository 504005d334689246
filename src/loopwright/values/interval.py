"""A closed interval: the honest form of a value with a tolerance."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """All values from ``low`` to ``high``. Raises ValueError when low > high."""

    low: float
    high: float

    def __post_init__(self) -> None:
        """Refuse an interval turned inside out."""
        if not self.low <= self.high:
            raise ValueError(f"interval from {self.low} to {self.high} is turned inside out")

    @classmethod
    def around(cls, value: float, tolerance_pct: float) -> Interval:
        """Return ``value`` plus and minus ``tolerance_pct`` per cent.

        >>> Interval.around(1000.0, 1.0)
        Interval(low=990.0, high=1010.0)
        """
        spread = abs(value) * tolerance_pct / 100
        return cls(value - spread, value + spread)

    @property
    def middle(self) -> float:
        """Return the middle of the interval."""
        return (self.low + self.high) / 2

    @property
    def width(self) -> float:
        """Return high minus low."""
        return self.high - self.low

    def __contains__(self, value: float) -> bool:
        """Return whether ``value`` lies in the interval, ends included."""
        return self.low <= value <= self.high

    def __add__(self, other: Interval) -> Interval:
        """Return the interval of sums."""
        return Interval(self.low + other.low, self.high + other.high)
