"""How long a discharged battery takes to come back, on the current the supply has to spare.

A charger gives what it can until the battery takes less: at a constant voltage the current a battery takes falls off
as it fills. Here the taken current falls exponentially, with a time constant that depends on the volts per cell. That
constant (``_TAKE_UP_H``) is printed nowhere; it is chosen so that the published estimates come out (24 h from empty at
0.1 C and 2.40 V per cell; removed over current plus 6 to 10 h; slightly over 24 h on float), and is marked so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from loopwright.job.sheet import ChargerKind
from loopwright.power.battery import DROOP_V_PER_CELL, FULL_V_PER_CELL
from loopwright.power.table import NOMINAL_V_PER_CELL
from loopwright.values.figure import Input, Origin, Working

# Ampere-hours to be put back for each taken out: 1.10 by battery makers' instructions, 1.2 by common practice; the
# larger is the default, shown as a default wherever it is used.
DEFAULT_RETURN_FACTOR = 1.2
# Full means this part of the capacity; the last per cent is approached, never reached.
FULL_FRACTION = 0.99
# A discharged standby battery may hold its trouble up for this long while it charges: common practice, no source.
TROUBLE_MAY_LAST_H = 48.0
FLOAT_V_PER_CELL = (2.25, 2.30)
# Float temperature compensation about 25 degC.
FLOAT_V_PER_CELL_PER_K = -0.003
# Volts per cell, and the time constant [h] of the current a battery takes at them.
_TAKE_UP_H = ((2.25, 5.2), (2.275, 4.8), (2.40, 3.0), (2.45, 2.5))
_POINTS = 400


@dataclass(frozen=True, kw_only=True, slots=True)
class Charger:
    """A charging circuit: its kind, its volts, and what limits it.

    ``limit_a`` is the charging limit of a current-limited one; ``series_ohm`` the resistor of a resistor-limited one.
    Raises ValueError when the kind's own limit is missing.
    """

    kind: ChargerKind
    charge_v: float = 0.0
    limit_a: float = math.inf
    series_ohm: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a charger that lacks what its kind is named after."""
        if self.kind is not ChargerKind.NONE and self.charge_v <= 0:
            raise ValueError("a charger has charging volts")
        if self.kind is ChargerKind.RESISTOR and self.series_ohm <= 0:
            raise ValueError("a resistor-limited charger has a resistor")
        if self.kind is ChargerKind.CURRENT_LIMITED and not math.isfinite(self.limit_a):
            raise ValueError("a current-limited charger has a limit")


@dataclass(frozen=True, kw_only=True, slots=True)
class Recharge:
    """How a recharge goes: hours to 80 % and to full (infinite when never), and the current it starts with [A]."""

    to_80_pct_h: float
    to_full_h: float
    initial_a: float


def bulk_current_a(capacity_ah: float, hours: float, *, fraction: float = 0.8, return_factor: float = DEFAULT_RETURN_FACTOR) -> float:
    """Return the charging current, over and above the load, that returns a part of the capacity within given hours.

    I = f * fraction * C / T

    Args:
        capacity_ah: rated capacity C [Ah].
        hours: time allowed T [h].
        fraction: part of the capacity to be reached from empty [1].
        return_factor: ampere-hours put back for each taken out, f [1].

    Returns:
        Current [A].

    Valid while the battery takes all it is offered: up to 80 % at 0.1 C or less.

    >>> round(bulk_current_a(17, 72, return_factor=1.1), 4)
    0.2078

    Source: 80 % by EN 50131-6 (register key ``en-50131-6``); the hours by grade are the caller's (72 and 24 h are from memory).
    """
    return return_factor * fraction * capacity_ah / hours


def quick_estimate_h(removed_ah: float, initial_a: float, *, discharge_a: float, capacity_ah: float) -> tuple[float, float]:
    """Return the battery maker's rule of thumb for the hours of a recharge, shortest and longest.

    T = Cdis / I + 3 to 5 h after a discharge above 0.25 C; Cdis / I + 6 to 10 h after a slower one

    Args:
        removed_ah: charge taken out, Cdis [Ah].
        initial_a: initial charging current I [A].
        discharge_a: current it was discharged with [A].
        capacity_ah: rated capacity C [Ah].

    Returns:
        Shortest and longest time [h].

    Valid at 25 degC, constant voltage.

    >>> quick_estimate_h(3.5, 0.7, discharge_a=0.5, capacity_ah=7)
    (11.0, 15.0)

    Source: a battery maker's charging characteristics (register key ``battery-maker-charge``).
    """
    bulk_h = removed_ah / initial_a
    shortest, longest = (3, 5) if discharge_a > 0.25 * capacity_ah else (6, 10)
    return bulk_h + shortest, bulk_h + longest


def float_v(cells: int, *, temperature_c: float = 25.0) -> tuple[float, float]:
    """Return the float volts a lead-acid battery wants, low and high, at a temperature.

    V = cells (2.25 to 2.30 - 0.003 (T - 25))

    Args:
        cells: cells in series [1].
        temperature_c: battery temperature [degC].

    Returns:
        Low and high end [V].

    Valid about 25 degC.

    >>> float_v(6)
    (13.5, 13.8)

    Source: battery makers' instructions (register key ``battery-maker-charge``).
    """
    shift = FLOAT_V_PER_CELL_PER_K * (temperature_c - 25)
    low, high = (round(cells * (volts + shift), 6) for volts in FLOAT_V_PER_CELL)
    return low, high


def recharge(
    charger: Charger,
    *,
    capacity_ah: float,
    spare_a: float,
    internal_ohm: float,
    nominal_v: float = 12.0,
    from_charge: float = 0.0,
    return_factor: float = DEFAULT_RETURN_FACTOR,
) -> Recharge:
    """Return how long a recharge takes with the load running.

    ds/dt = I(s) / (f C), I = least of (charger's limit, supply's spare current, (V - emf) / R, f C (1 - s) / tau)

    Args:
        charger: the charging circuit.
        capacity_ah: rated capacity C [Ah].
        spare_a: what the supply can give beyond its load [A].
        internal_ohm: the battery's own resistance [ohm], in series with the charger's resistor.
        nominal_v: nominal volts [V].
        from_charge: state of charge s at the start [1].
        return_factor: ampere-hours put back for each taken out, f [1].

    Returns:
        Hours to 80 % and to 99 %, infinite when never reached.

    Valid at 25 degC. The time constant tau is chosen to meet published estimates, not published.

    >>> charger = Charger(kind=ChargerKind.CURRENT_LIMITED, charge_v=13.7, limit_a=0.35)
    >>> again = recharge(charger, capacity_ah=7, spare_a=0.5, internal_ohm=0.02)
    >>> round(again.to_80_pct_h, 1)
    19.2

    Source: battery makers' instructions (register key ``battery-maker-charge``).
    """
    offered_a = _offered_a(charger, spare_a)
    if offered_a <= 0:
        return Recharge(to_80_pct_h=math.inf, to_full_h=math.inf, initial_a=0.0)
    cells = round(nominal_v / NOMINAL_V_PER_CELL)
    charge = np.linspace(from_charge, FULL_FRACTION, _POINTS)
    ohm = internal_ohm + charger.series_ohm
    emf_v = cells * (FULL_V_PER_CELL - DROOP_V_PER_CELL * (1 - charge))
    driven_a = (charger.charge_v - emf_v) / ohm if ohm > 0 else np.full_like(charge, np.inf)
    taken_a = return_factor * capacity_ah * (1 - charge) / take_up_h(charger.charge_v / cells)
    current = np.maximum(np.minimum(np.minimum(driven_a, taken_a), offered_a), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        pace_h = return_factor * capacity_ah / current
        hours = np.concatenate(([0.0], np.cumsum((pace_h[1:] + pace_h[:-1]) / 2 * np.diff(charge))))
    to_80 = float(np.interp(0.8, charge, hours)) if from_charge < 0.8 else 0.0
    if not math.isfinite(to_80):
        to_80 = math.inf  # between two points neither of which is ever reached
    return Recharge(to_80_pct_h=to_80, to_full_h=float(hours[-1]), initial_a=float(current[0]))


def _offered_a(charger: Charger, spare_a: float) -> float:
    if charger.kind is ChargerKind.NONE:
        return 0.0
    return min(spare_a, charger.limit_a) if charger.kind is ChargerKind.CURRENT_LIMITED else spare_a


def take_up_h(volts_per_cell: float) -> float:
    """Return the time constant [h] with which the current a battery takes falls off at constant volts: chosen, see the module.

    >>> take_up_h(2.40)
    3.0
    """
    return float(np.interp(volts_per_cell, [row[0] for row in _TAKE_UP_H], [row[1] for row in _TAKE_UP_H]))


def working_to_80_pct(capacity_ah: float, *, charging_a: float, found: Recharge, return_factor: float, confirmed: bool = False) -> Working:
    """Return how the hours to 80 % came about; the return factor shows as a default until somebody ``confirmed`` it."""
    bulk_h = math.inf if charging_a <= 0 else bulk_current_a(capacity_ah, 1.0, return_factor=return_factor) / charging_a
    line = f"{return_factor:g} × 0.8 × {capacity_ah:g} / {charging_a:.4g} + {found.to_80_pct_h - bulk_h:.2f}"
    never = math.isinf(found.to_80_pct_h)
    return Working(
        formula="t = f × 0.8 × C / I while the battery takes all it is offered, and longer as it takes less",
        inputs=(
            Input(name="rated capacity C", value=capacity_ah, unit="Ah", origin=Origin.SHEET),
            Input(name="charging current I", value=charging_a, unit="A", origin=Origin.COMPUTED),
            Input(name="return factor f", value=return_factor, origin=Origin.DOCUMENT if confirmed else Origin.DEFAULT),
        ),
        substituted="it is never charged" if never else line,
        result="never" if never else f"{found.to_80_pct_h:.1f} h",
        source="battery-maker-charge",
        notes=("how the current falls off near full is chosen to meet published estimates, and worked out step by step",),
    )
