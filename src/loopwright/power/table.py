"""What a battery's data sheet prints: the constant currents that empty it in given hours; reading between its rows."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

NOMINAL_V_PER_CELL = 2.0


class DischargeRow(NamedTuple):
    """One row of a data sheet's table: the constant current that reaches the cut-off in these hours."""

    hours: float
    current_a: float


@dataclass(frozen=True, kw_only=True, slots=True)
class DischargeTable:
    """A data sheet's constant-current table, quickest row first, to one cut-off and at one temperature.

    ``assumed`` marks a table that no sheet of this battery printed (a default, not confirmed).

    Raises ValueError when it is empty, or when hours do not rise while amperes fall.
    """

    rows: tuple[DischargeRow, ...]
    cut_off_v: float
    temperature_c: float = 25.0
    nominal_v: float = 12.0
    assumed: bool = False

    def __post_init__(self) -> None:
        """Refuse a table that is not one."""
        if not self.rows or min(min(row) for row in self.rows) <= 0:
            raise ValueError("a discharge table has rows of hours and amperes, all above zero")
        if any(b.hours <= a.hours or b.current_a >= a.current_a for a, b in zip(self.rows, self.rows[1:], strict=False)):
            raise ValueError("in a discharge table hours rise from row to row and amperes fall")

    @property
    def cells(self) -> int:
        """Return the number of cells in series."""
        return round(self.nominal_v / NOMINAL_V_PER_CELL)

    @property
    def rated_ah(self) -> float:
        """Return the capacity at the slowest row [Ah]."""
        return self.rows[-1].hours * self.rows[-1].current_a


# A published 12 V 7.5 Ah AGM sheet: 1.75 V per cell, 25 degC.
PUBLISHED_AGM = DischargeTable(
    rows=tuple(
        DischargeRow(hours, current_a)
        for hours, current_a in (
            (5 / 60, 21.6), (10 / 60, 15.4), (0.25, 12.0), (0.5, 7.44), (1.0, 4.42), (2.0, 2.52),
            (3.0, 1.91), (5.0, 1.28), (8.0, 0.874), (10.0, 0.716), (20.0, 0.379),
        )
    ),
    cut_off_v=10.5,
)  # fmt: skip


def assumed_table(capacity_ah: float, *, rated_hours: float = 20.0, nominal_v: float = 12.0) -> DischargeTable:
    """Return the published AGM table scaled to a battery of which only a rating is known; marked as a default.

    I = I_published * C / C_published at the rated hours

    Args:
        capacity_ah: rated capacity [Ah].
        rated_hours: discharge time the rating is given at [h].
        nominal_v: nominal volts [V].

    Returns:
        A table to 1.75 V per cell at 25 degC, ``assumed`` set.

    Valid for valve-regulated lead-acid of 1 to 100 Ah.

    >>> round(assumed_table(7.58).rows[-1].current_a, 3)  # 7.58 Ah at 20 h is the published battery itself
    0.379

    Source: a 12 V 7.5 Ah AGM data sheet (register key ``agm-sheet``); that other sizes have its shape is common practice.
    """
    scale = capacity_ah / (rated_hours * current_lasting_a(PUBLISHED_AGM, rated_hours))
    rows = tuple(DischargeRow(row.hours, row.current_a * scale) for row in PUBLISHED_AGM.rows)
    return DischargeTable(rows=rows, cut_off_v=1.75 * nominal_v / NOMINAL_V_PER_CELL, nominal_v=nominal_v, assumed=True)


def _log_log(x: float, xs: list[float], ys: list[float]) -> float:
    # Between rows a straight line on log-log paper; beyond the ends the end segments go on.
    if len(xs) == 1:
        return ys[0] * xs[0] / x
    index = min(max(sum(value <= x for value in xs), 1), len(xs) - 1)
    x0, x1, y0, y1 = (math.log(value) for value in (xs[index - 1], xs[index], ys[index - 1], ys[index]))
    return math.exp(y0 + (y1 - y0) * (math.log(x) - x0) / (x1 - x0))


def runtime_loglog(table: DischargeTable, current_a: float) -> float:
    """Return the hours a constant current lasts, read from the table with a ruler on log-log paper.

    log t runs straight against log I between two neighbouring rows

    Args:
        table: the data sheet's table.
        current_a: constant current [A].

    Returns:
        Hours to the table's cut-off [h].

    Valid between the table's first and last current; beyond, the end segment is continued.

    >>> round(runtime_loglog(PUBLISHED_AGM, 1.0), 2)
    6.78

    Source: a 12 V 7.5 Ah AGM data sheet (register key ``agm-sheet``).
    """
    rows = table.rows[::-1]
    return _log_log(current_a, [row.current_a for row in rows], [row.hours for row in rows])


def current_lasting_a(table: DischargeTable, hours: float) -> float:
    """Return the constant current [A] that lasts the given hours, read from the table on log-log paper.

    >>> round(current_lasting_a(PUBLISHED_AGM, 10), 3)
    0.716
    """
    return _log_log(hours, [row.hours for row in table.rows], [row.current_a for row in table.rows])


def peukert_hours_20h_form(capacity_ah: float, current_a: float, exponent: float, *, rated_hours: float = 20.0) -> float:
    """Return Peukert's estimate of the hours a constant current lasts, for a capacity rated at given hours.

    t = H (C / (I H))^k

    Args:
        capacity_ah: capacity C rated at H hours [Ah].
        current_a: constant current I [A].
        exponent: Peukert's k [1]; AGM 1.05 to 1.15, gel 1.1 to 1.25, flooded 1.2 to 1.6.
        rated_hours: H [h]. The textbooks' one-ampere form t = C / I^k is this with H = C in hours.

    Returns:
        Hours [h].

    Valid near the rated current; a data sheet's table is always better.

    >>> peukert_hours_20h_form(100, 5, 1.2)
    20.0

    Source: electrotechnik.net (register key ``peukert``) for the one-ampere form.
    """
    return float(rated_hours * (capacity_ah / (current_a * rated_hours)) ** exponent)
