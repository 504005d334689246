"""How large a battery has to be: the published formulas side by side, each a record that says where it comes from.

A formula here is arithmetic, not a design. Systems that protect life (fire, carbon monoxide, medical) are not designed
with it; their formulas stand here because their worked examples are published and hold the arithmetic to account.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopwright.power.battery import END_OF_LIFE_FRACTION, temperature_factor
from loopwright.values.figure import Input, Origin, Working
from loopwright.values.source import source

# Common sealed lead-acid sizes, 12 V [Ah] (register key ``sla-sizes``).
STANDARD_SIZES_AH = (4.0, 7.0, 7.2, 10.0, 12.0, 18.0, 26.0, 40.0, 55.0)
# Life halves for each so many kelvin above 25 degC: 8 (seen), 5.6 to 8.3 (seen), 10 (from memory, the usual convention).
DEFAULT_HALVING_K = 10.0


@dataclass(frozen=True, kw_only=True, slots=True)
class CapacityFormula:
    """One way of asking for capacity: C = factor Kt (I1 T1 + D I2 T2).

    ``factor`` is every constant margin together (ageing, edition's factor, design margin). ``fast_alarm_factor`` is D of
    BS 5839-1: it counts the alarm leg more when the alarm current is above the capacity's 20-hour current; 1 where a formula has
    no such rule. ``by_temperature`` brings in the IEEE 485 factor. ``life_safety`` marks a formula kept for its
    arithmetic alone.
    """

    key: str
    title: str
    equation: str
    factor: float
    source: str
    fast_alarm_factor: float = 1.0
    by_temperature: bool = False
    life_safety: bool = False

    @property
    def binding(self) -> bool:
        """Return whether a finding may call itself a *must* on this formula alone."""
        return source(self.source).binding and not self.life_safety


PLAIN = CapacityFormula(key="plain", title="load only", equation="C = I1 T1 + I2 T2", factor=1.0, source="first-principles")
AGED = CapacityFormula(
    key="aged",
    title="hours by grade, met until the battery is replaced at 80 % of its rating",
    equation="C = (I1 T1 + I2 T2) / 0.8",
    factor=1 / END_OF_LIFE_FRACTION,
    source="end-of-life",
)
HOUSEHOLD = CapacityFormula(
    key="household",
    title="North American household, 20 % margin (hours from memory)",
    equation="C = 1.2 (I1 T1 + I2 T2)",
    factor=1.2,
    source="household-standby",
)
NFPA_72_2019 = CapacityFormula(
    key="nfpa-72-2019",
    title="NFPA 72, 2019 edition and earlier",
    equation="C = 1.20 (I1 T1 + I2 T2)",
    factor=1.20,
    source="nfpa-72-capacity",
    life_safety=True,
)
NFPA_72_2022 = CapacityFormula(
    key="nfpa-72-2022",
    title="NFPA 72, 2022 edition",
    equation="C = 1.25 (I1 T1 + I2 T2)",
    factor=1.25,
    source="nfpa-72-capacity",
    life_safety=True,
)
BS_5839_1 = CapacityFormula(
    key="bs-5839-1-annex-e",
    title="BS 5839-1:2025 Annex E",
    equation="C = 1.25 (I1 T1 + D I2 T2), D = 1 where C/20 >= I2, else 1.75",
    factor=1.25,
    source="bs-5839-1-annex-e",
    fast_alarm_factor=1.75,
    life_safety=True,
)
FORMULAS = {item.key: item for item in (PLAIN, AGED, HOUSEHOLD, NFPA_72_2019, NFPA_72_2022, BS_5839_1)}


def ieee_485_style(*, ageing: float = 1.25, design_margin: float = 1.10) -> CapacityFormula:
    """Return the IEEE 485 form with its ageing factor and design margin [1] (1.25 and 1.10 to 1.15: from memory)."""
    return CapacityFormula(
        key="ieee-485",
        title="IEEE 485 style: temperature, ageing and design margin",
        equation=f"C = Kt × {ageing:g} × {design_margin:g} (I1 T1 + I2 T2)",
        factor=ageing * design_margin,
        source="ieee-485-margins",
        by_temperature=True,
    )


def custom(factor: float, *, by_temperature: bool = False) -> CapacityFormula:
    """Return the firm's own rule: the load times a factor [1] it answers for itself."""
    equation = f"C = {'Kt × ' if by_temperature else ''}{factor:g} (I1 T1 + I2 T2)"
    return CapacityFormula(
        key="custom", title="as stated in the job", equation=equation, factor=factor, source="job-document", by_temperature=by_temperature
    )


def required_capacity_ah(
    *,
    standby_a: float,
    standby_h: float,
    alarm_a: float,
    alarm_h: float,
    formula: CapacityFormula,
    temperature_c: float = 25.0,
    temperature_factor_kt: float | None = None,
) -> float:
    """Return the rated capacity a formula asks for.

    C = factor * Kt * (I1 T1 + D I2 T2)

    Args:
        standby_a: current at rest I1 [A].
        standby_h: hours at rest T1 [h].
        alarm_a: current in alarm I2 [A].
        alarm_h: hours in alarm T2 [h].
        formula: which published form.
        temperature_c: battery temperature, used where the formula asks for it [degC].
        temperature_factor_kt: Kt read from the table one holds [1]; None takes the cubic fit.

    Returns:
        Capacity at the 20-hour rate [Ah].

    Valid for lead-acid; a fit of the battery's own table says more than any of these forms.

    >>> round(required_capacity_ah(standby_a=0.42, standby_h=24, alarm_a=3.8, alarm_h=5 / 60, formula=NFPA_72_2019), 2)
    12.48

    Source: the formula's own key.
    """
    kt = _kt(formula, temperature_c, temperature_factor_kt)
    capacity = formula.factor * kt * (standby_a * standby_h + alarm_a * alarm_h)
    if capacity / 20 >= alarm_a:
        return capacity
    return formula.factor * kt * (standby_a * standby_h + formula.fast_alarm_factor * alarm_a * alarm_h)


def _kt(formula: CapacityFormula, temperature_c: float, given: float | None) -> float:
    if not formula.by_temperature:
        return 1.0
    return temperature_factor(temperature_c) if given is None else given


def next_standard_size_ah(required_ah: float, *, sizes_ah: tuple[float, ...] = STANDARD_SIZES_AH) -> float | None:
    """Return the smallest size on sale that is large enough [Ah]; None when none is.

    >>> next_standard_size_ah(6.136, sizes_ah=(4, 7, 12, 18))
    7

    Source: a study guide's list of sizes (register key ``sla-sizes``).
    """
    return min((size for size in sizes_ah if size >= required_ah), default=None)


def battery_life_years(temperature_c: float, *, life_at_25_years: float, halving_k: float = DEFAULT_HALVING_K) -> float:
    """Return how long a float battery lives at a temperature.

    L = L25 * 2^(-(T - 25) / K), no longer than L25 below 25 degC

    Args:
        temperature_c: battery temperature T [degC].
        life_at_25_years: design life at 25 degC [years].
        halving_k: kelvin for each halving K [K]: 8 and 5.6 to 8.3 are published, 10 (the default) is the usual convention, from memory.

    Returns:
        Life [years].

    Valid 25 to about 50 degC.

    >>> battery_life_years(33, life_at_25_years=10, halving_k=8)
    5.0

    Source: battery-care handbook (register key ``battery-life``).
    """
    return float(life_at_25_years * 2 ** (-max(temperature_c - 25, 0.0) / halving_k))


def working(
    *,
    standby_a: float,
    standby_h: float,
    alarm_a: float,
    alarm_h: float,
    formula: CapacityFormula,
    temperature_c: float = 25.0,
    hours_from: tuple[Origin, Origin] = (Origin.RULESET, Origin.RULESET),
) -> Working:
    """Return how the required capacity came about, the currents as computed; ``hours_from`` says who asks for the hours."""
    needed = required_capacity_ah(
        standby_a=standby_a, standby_h=standby_h, alarm_a=alarm_a, alarm_h=alarm_h, formula=formula, temperature_c=temperature_c
    )
    kt = _kt(formula, temperature_c, None)
    plain_ah = formula.factor * kt * (standby_a * standby_h + alarm_a * alarm_h)
    faster = f"{formula.fast_alarm_factor:g} × " if formula.fast_alarm_factor != 1.0 and plain_ah / 20 < alarm_a else ""
    margins = f"{kt:.4g} × {formula.factor:g}" if formula.by_temperature else f"{formula.factor:g}"
    inputs = [
        Input(name="standby current I1", value=standby_a, unit="A", origin=Origin.COMPUTED),
        Input(name="standby hours T1", value=standby_h, unit="h", origin=hours_from[0], path="region/standby_h"),
        Input(name="alarm current I2", value=alarm_a, unit="A", origin=Origin.COMPUTED),
        Input(name="alarm hours T2", value=alarm_h, unit="h", origin=hours_from[1], path="region/alarm_min"),
    ]
    if formula.by_temperature:
        inputs.append(Input(name="temperature factor Kt", value=round(kt, 3), origin=Origin.COMPUTED))
    return Working(
        formula=formula.equation,
        inputs=tuple(inputs),
        substituted=f"{margins} × ({standby_a:.4g} × {standby_h:g} + {faster}{alarm_a:.4g} × {alarm_h:.4g})",
        result=f"{needed:.2f} Ah",
        source=formula.source,
        notes=() if source(formula.source).binding else (f"this form rests on {source(formula.source)}",),
    )
