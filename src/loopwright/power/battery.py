"""A lead-acid battery: the two wells its data sheet's table is fitted with, and its volts.

A battery drained fast gives less than one drained slowly, and gives some of the rest after a pause. The kinetic
battery model says why: charge stands in two wells. The load draws on the available well, of width c; the bound well,
of width 1 - c, flows into it at a rate set by the difference of the two heads. It is empty when the available well is.

The emf follows the head h of the available well (1 full, 0 empty): a straight fall, and a knee that ends at the
table's cut-off volts. The four constants of that curve (``FULL_V_PER_CELL``, ``DROOP_V_PER_CELL``, ``KNEE``,
``DEFAULT_INTERNAL_OHM_AH``) are common practice or from memory. They shape the volts on the way; the hours come from the table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from loopwright.power.table import PUBLISHED_AGM, DischargeTable

Numbers: TypeAlias = float | NDArray[np.float64]

# A rested, fully charged cell reads 2.13 to 2.15 V; it falls by some 0.17 V before the knee: from memory.
FULL_V_PER_CELL = 2.14
DROOP_V_PER_CELL = 0.17
# The part of the available head over which the knee bends: chosen so that the same battery's hours to 1.80 V per cell
# come out beside its hours to 1.75 V per cell, as its sheet prints both.
KNEE = 0.10
# 20 milliohm at 7.5 Ah is on the published sheet; that it goes with one over the capacity is common practice.
DEFAULT_INTERNAL_OHM_AH = 0.020 * 7.5
# Below an hour plates and acid limit the battery in ways two wells cannot show; such rows are left out of the fit while
# three slower ones remain.
SHORTEST_FITTED_H = 1.0
# The range of the IEEE 485 table; a rule reports a battery outside it.
TEMPERATURE_RANGE_C = (-3.9, 51.7)
# Replace a battery below this part of its rated capacity: storage-battery maintenance manual, IEEE 450 and 1188.
END_OF_LIFE_FRACTION = 0.80


def temperature_factor(temperature_c: float) -> float:
    """Return by how much a lead-acid battery must be larger to give its rated capacity at a temperature.

    Kt = -2.8117 x^3 + 4.1916 x^2 - 2.4941 x + 1.405, x = T / 100

    Args:
        temperature_c: electrolyte temperature T [degC].

    Returns:
        Cell-size correction factor Kt [1]; capacity at T is the rated one over Kt.

    Valid -3.9 to 51.7 degC (``TEMPERATURE_RANGE_C``, which a rule reads); beyond, the factor at the end of the range.

    >>> round(temperature_factor(10), 3)
    1.195

    Source: cubic fit to IEEE 485 Table 1 (register key ``ieee-485-fit``), within 0.02 of the table.
    """
    low, high = TEMPERATURE_RANGE_C
    x = min(max(temperature_c, low), high) / 100
    return -2.8117 * x**3 + 4.1916 * x**2 - 2.4941 * x + 1.405


class Wells(NamedTuple):
    """Charge standing in the two wells [Ah]."""

    available_ah: float
    bound_ah: float


@dataclass(frozen=True, kw_only=True, slots=True)
class KineticBattery:
    """A battery as two wells, with its emf curve and internal resistance.

    ``q_max_ah`` is what both wells hold, ``well_fraction`` the width c of the available one, ``rate_per_h`` the rate
    k' = k / (c (1 - c)) at which the heads even out. ``assumed_shape`` is set when c and k' are the published AGM
    battery's and not fitted to this battery's own sheet. ``worst_row_pct`` is the largest error of the hours over the
    rows fitted.
    """

    q_max_ah: float
    well_fraction: float
    rate_per_h: float
    empty_v: float
    cells: int
    internal_ohm: float
    assumed_shape: bool = False
    worst_row_pct: float = 0.0
    stated_full_v: float | None = None

    @property
    def full(self) -> Wells:
        """Return both wells full."""
        return Wells(self.q_max_ah * self.well_fraction, self.q_max_ah * (1 - self.well_fraction))

    @property
    def full_v(self) -> float:
        """Return the emf when full and rested [V], as the sheet states it or as is usual."""
        return FULL_V_PER_CELL * self.cells if self.stated_full_v is None else self.stated_full_v

    def scaled(self, capacity_fraction: float) -> KineticBattery:
        """Return the same battery with a part of its capacity (age, cold): wells of the same shape, less in them."""
        return replace(self, q_max_ah=self.q_max_ah * capacity_fraction)

    def head(self, available_ah: float) -> float:
        """Return the head of the available well, 1 full and 0 empty."""
        return available_ah / (self.q_max_ah * self.well_fraction)

    def emf_v(self, head: float) -> float:
        """Return the emf [V] at a head of the available well."""
        return self.empty_v + (self._fall_v(head)) * (1 - math.exp(-max(head, -1.0) / KNEE))

    def emf_slope_v(self, head: float) -> float:
        """Return how fast the emf changes with the head [V]."""
        bend = math.exp(-max(head, -1.0) / KNEE)
        return DROOP_V_PER_CELL * self.cells * (1 - bend) + self._fall_v(head) * bend / KNEE

    def _fall_v(self, head: float) -> float:
        return self.full_v - self.empty_v - DROOP_V_PER_CELL * self.cells * (1 - head)

    def head_at_emf(self, emf_v: float) -> float:
        """Return the head at which the emf is ``emf_v``; 0 at and below the emf of the empty battery, 1 at and above the full one's."""
        if emf_v >= self.full_v:
            return 1.0
        if emf_v <= self.empty_v:
            return 0.0
        low, high = 0.0, 1.0
        for _ in range(50):
            middle = (low + high) / 2
            low, high = (middle, high) if self.emf_v(middle) < emf_v else (low, middle)
        return (low + high) / 2


def step_wells(battery: KineticBattery, wells: Wells, current_a: Numbers, hours: Numbers) -> Wells:
    """Return the two wells after a constant current has flowed for some hours: exact, in one step of any length.

    y1 = y1_0 E + (q0 k' c - I)(1 - E) / k' - I c (k' t - 1 + E) / k';
    y2 = y2_0 E + q0 (1 - c)(1 - E) - I (1 - c)(k' t - 1 + E) / k';  E = exp(-k' t), q0 = y1_0 + y2_0

    Args:
        battery: c and k' of its wells.
        wells: charge in the available and the bound well at the start [Ah].
        current_a: current drawn [A]; negative charges.
        hours: t [h]. Any of the arguments may be an array.

    Returns:
        Charge in the two wells [Ah]; the available one is negative once the battery could not have gone on.

    Valid for any current and time.

    >>> battery = fit_kinetic(PUBLISHED_AGM)
    >>> after = step_wells(battery, battery.full, 1.0, 3.0)
    >>> round(sum(battery.full) - sum(after), 9)
    3.0

    Source: kinetic battery model, Manwell and McGowan 1993 (register key ``kibam``).
    """
    c, k = battery.well_fraction, battery.rate_per_h
    decay = np.exp(-k * hours) if isinstance(hours, np.ndarray) else math.exp(-k * hours)
    total = wells.available_ah + wells.bound_ah
    lag = (k * hours - 1 + decay) / k
    available = wells.available_ah * decay + (total * k * c - current_a) * (1 - decay) / k - current_a * c * lag
    bound = wells.bound_ah * decay + total * (1 - c) * (1 - decay) - current_a * (1 - c) * lag
    return Wells(available, bound)  # type: ignore[arg-type]  # arrays in, arrays out


def _drawn_ah(hours: Numbers, c: Numbers, k: Numbers) -> Numbers:
    # How far one ampere has lowered the available well (over c): the bound well's flow already counted.
    return c * hours + (1 - c) * (1 - np.exp(-k * hours)) / k


def hours_at_current(battery: KineticBattery, current_a: float, *, cut_out_v: float | None = None) -> float:
    """Return how long a full battery carries one constant current.

    c q h_end = c q - I (c t + (1 - c)(1 - exp(-k' t)) / k'), emf(h_end) = cut-out + I R

    Args:
        battery: the fitted battery.
        current_a: constant current I [A].
        cut_out_v: terminal volts at which the supply lets go [V]; None takes the table's cut-off.

    Returns:
        Hours [h]; infinite for no current, 0 when the cut-out is reached at once.

    Valid from the current of the sheet's one-hour row downwards; above, hours come out long (by a quarter at the 15 min row).

    >>> round(hours_at_current(fit_kinetic(PUBLISHED_AGM), 0.379), 1)  # the sheet: 20 h
    20.1

    Source: kinetic battery model (register key ``kibam``), fitted to the data sheet.
    """
    if current_a <= 0:
        return math.inf
    end = battery.head_at_emf((battery.empty_v if cut_out_v is None else cut_out_v) + current_a * battery.internal_ohm)
    c, k = battery.well_fraction, battery.rate_per_h
    target = c * battery.q_max_ah * (1 - end) / current_a
    hours = 0.0
    for _ in range(60):  # Newton from the left on a concave rise: never overshoots
        decay = math.exp(-k * hours)
        change = (target - c * hours - (1 - c) * (1 - decay) / k) / (c + (1 - c) * decay)
        hours += change
        if change <= 1e-12 * hours:
            break
    return hours


@lru_cache(maxsize=512)
def fit_kinetic(table: DischargeTable, *, internal_ohm: float | None = None, full_v: float | None = None) -> KineticBattery:
    """Return the two-well battery whose hours come nearest a data sheet's table.

    least squares of log(hours by the model / hours printed) over c and k'; q_max follows

    Args:
        table: the data sheet's table, or ``assumed_table``.
        internal_ohm: internal resistance when charged [ohm]; None takes 0.15 ohm Ah over the rated capacity.
        full_v: emf when full and rested as the sheet states it [V]; None takes 2.14 V a cell.

    Returns:
        The battery. With fewer than three usable rows the published AGM battery's c and k' are kept (``assumed_shape``).

    Valid for lead-acid tables; rows quicker than ``SHORTEST_FITTED_H`` are used only where fewer than three slower ones exist.

    >>> battery = fit_kinetic(PUBLISHED_AGM)
    >>> round(battery.q_max_ah, 1), battery.worst_row_pct < 2.5
    (8.2, True)

    Source: kinetic battery model, Manwell and McGowan 1993 (register key ``kibam``).
    """
    ohm = DEFAULT_INTERNAL_OHM_AH / table.rated_ah if internal_ohm is None else internal_ohm
    shell = KineticBattery(
        q_max_ah=1.0, well_fraction=0.5, rate_per_h=1.0, empty_v=table.cut_off_v, cells=table.cells, internal_ohm=ohm, stated_full_v=full_v,
    )  # fmt: skip
    slow = [row for row in table.rows if row.hours >= SHORTEST_FITTED_H]
    rows = slow if len(slow) >= 3 else list(table.rows)
    ends = [shell.head_at_emf(table.cut_off_v + row.current_a * ohm) for row in rows]
    hours, current = np.array([r.hours for r in rows]), np.array([r.current_a for r in rows])
    # A current whose drop inside the battery alone reaches the cut-off leaves no room; the sheet's row then says nothing of the wells.
    room = np.maximum(1 - np.array(ends), 0.02)
    assumed = table.assumed or len(rows) < 3
    if len(rows) < 3:
        published = fit_kinetic(PUBLISHED_AGM)
        c, k = published.well_fraction, published.rate_per_h
    else:
        c, k = _fit_shape(hours, current, room)
    q_max = float(np.exp(np.mean(np.log(current * _drawn_ah(hours, c, k) / (c * room)))))
    fitted = replace(shell, q_max_ah=q_max, well_fraction=c, rate_per_h=k, assumed_shape=assumed)
    errors = [abs(hours_at_current(fitted, row.current_a) / row.hours - 1) for row in rows]
    return replace(fitted, worst_row_pct=100 * max(errors))


def _fit_shape(hours: NDArray[np.float64], current: NDArray[np.float64], room: NDArray[np.float64]) -> tuple[float, float]:
    # Every row says what q_max would have to be; the best c and k' are those for which the rows agree best. An error in log
    # current counts as an error in log time through the local slope of the table. A grid zoomed in on cannot get lost.
    weight = -np.gradient(np.log(hours), np.log(current))
    logit, log_k, span = 0.0, 0.0, 4.0
    for _ in range(7):
        grid_logit, grid_k = np.meshgrid(logit + span * _SPREAD, log_k + span * _SPREAD, indexing="ij")
        c, k = 1 / (1 + np.exp(-grid_logit))[..., None], np.exp(grid_k)[..., None]
        log_q = np.log(current * _drawn_ah(hours, c, k) / (c * room))
        scatter = np.sum((weight * (log_q - np.mean(log_q, axis=-1, keepdims=True))) ** 2, axis=-1)
        best = np.unravel_index(np.argmin(scatter), scatter.shape)
        logit, log_k = float(grid_logit[best]), float(grid_k[best])
        span /= 3.5
    return 1 / (1 + math.exp(-logit)), math.exp(log_k)


_SPREAD = np.linspace(-1.0, 1.0, 17)
