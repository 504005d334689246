"""What one metre of conductor resists: from published tables, each figure with its temperature.

Wire tables are printed at different temperatures (the AWG wire table at 20 degC, the NEC's at 75 degC: the same wire
differs by 22 %), and some print what a wire typically is while others print the most a standard allows. So every
row of ``conductors.csv`` carries its temperature, its basis and its source, and nothing leaves this module without
having been brought to the temperature asked for.

Where no table has a row, the geometry value is scaled by what the nearest row of a table says about tinning,
stranding or the standard's allowance; the working then says so.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from enum import StrEnum
from functools import cache, lru_cache
from importlib.resources import files
from typing import NamedTuple

from loopwright.job.sheet import CableSheet, Construction, Material
from loopwright.values.figure import Input, Origin, Working

ALPHA_20_PER_K = 0.00393
RESISTIVITY_20_OHM_MM2_PER_M = 0.017241
# Copper-clad aluminium is sold at 1.5 to 1.6 times the resistance of copper of the same size: common practice, no source.
COPPER_CLAD_FACTOR = 1.55
_M_PER_KFT = 304.8
_REFERENCE_C = 20.0


class Basis(StrEnum):
    """Which resistance is meant: what such a wire typically has, or the most its standard allows."""

    NOMINAL = "nominal"
    MAXIMUM = "maximum"


class GaugeSystem(StrEnum):
    """The two ways the trade names a wire's size."""

    AWG = "awg"
    MM2 = "mm2"


_STANDARD_GAUGES: dict[GaugeSystem, tuple[float, ...]] = {
    GaugeSystem.AWG: (26, 24, 22, 20, 18, 16, 14, 12, 10),
    GaugeSystem.MM2: (0.22, 0.34, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0),
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Conductor:
    """One conductor of a cable: its size (AWG or mm2), how it is made, of what; or its resistance as a data sheet states it.

    ``ohm_per_km`` is the data sheet's own figure at 20 degC and wins over every table. ``iec_class`` is the class of
    IEC 60228 (1 solid, 2 stranded, 5 and 6 flexible); None takes 1 for solid and 5 for stranded, the larger of the
    stranded maxima.

    Raises ValueError when no size and no resistance is given, when both sizes are, or when one is not positive.
    """

    awg: int | None = None
    area_mm2: float | None = None
    construction: Construction = Construction.STRANDED
    iec_class: int | None = None
    material: Material = Material.COPPER
    ohm_per_km: float | None = None

    def __post_init__(self) -> None:
        """Refuse a conductor whose resistance could not be told."""
        if self.awg is not None and self.area_mm2 is not None:
            raise ValueError("a conductor's size is given as AWG or as mm2, not both")
        if self.awg is None and self.area_mm2 is None and self.ohm_per_km is None:
            raise ValueError("a conductor needs a size or a stated resistance")
        if (self.area_mm2 is not None and self.area_mm2 <= 0) or (self.ohm_per_km is not None and self.ohm_per_km <= 0):
            raise ValueError("a conductor's size and resistance are greater than nothing")
        if self.iec_class not in (None, 1, 2, 5, 6):
            raise ValueError("the classes of IEC 60228 are 1, 2, 5 and 6")

    @property
    def size_mm2(self) -> float | None:
        """Return the cross-section [mm2], from the gauge number where the size is AWG; None when only a resistance is known."""
        return self.area_mm2 if self.awg is None else awg_area_mm2(self.awg)

    @property
    def name(self) -> str:
        """Return the conductor as a person names it."""
        size = f"AWG {self.awg}" if self.awg is not None else f"{self.area_mm2:g} mm²" if self.area_mm2 is not None else "size not given"
        return f"{size} {self.construction} {self.material}"


class TableRow(NamedTuple):
    """One row of a published wire table, as printed. ``iec_class`` 0 means the table has no classes."""

    system: GaugeSystem
    size: float
    construction: Construction
    iec_class: int
    finish: str
    basis: Basis
    ohm: float
    unit: str
    temperature_c: float
    source: str
    reference: str

    @property
    def ohm_per_km(self) -> float:
        """Return the resistance in ohm/km, still at the row's own temperature."""
        return self.ohm * 1000 / _M_PER_KFT if self.unit == "ohm/kft" else self.ohm

    @property
    def ohm_per_km_20(self) -> float:
        """Return the resistance [ohm/km] brought to 20 degC."""
        return at_temperature(self.ohm_per_km, self.temperature_c, _REFERENCE_C)

    @property
    def mm2(self) -> float:
        """Return the cross-section [mm2] of the row's size."""
        return self.size if self.system is GaugeSystem.MM2 else awg_area_mm2(self.size)


class Resistance(NamedTuple):
    """A conductor's resistance at 20 degC [ohm/km], with how and from which published source it came about."""

    ohm_per_km_20: float
    source: str
    how: str
    exact_row: bool


@cache
def table() -> tuple[TableRow, ...]:
    """Return every row of the published wire tables, read once from the package's ``conductors.csv``."""
    text = files("loopwright.netlist").joinpath("conductors.csv").read_text(encoding="utf-8")
    return tuple(
        TableRow(
            system=GaugeSystem(row["system"]),
            size=float(row["size"]),
            construction=Construction(row["construction"]),
            iec_class=int(row["iec_class"] or 0),
            finish=row["finish"],
            basis=Basis(row["basis"]),
            ohm=float(row["ohm"]),
            unit=row["unit"],
            temperature_c=float(row["temperature_c"]),
            source=row["source"],
            reference=row["reference"],
        )
        for row in csv.DictReader(text.splitlines())
    )


def standard_gauges(system: GaugeSystem) -> tuple[float, ...]:
    """Return the gauges that are on sale everywhere, thinnest first: what "the smallest gauge that would do" chooses from.

    >>> standard_gauges(GaugeSystem.AWG)[:3]
    (26, 24, 22)
    """
    return _STANDARD_GAUGES[system]


def awg_diameter_mm(awg: float) -> float:
    """Return the diameter of a solid AWG wire.

    d = 0.127 mm * 92^((36 - n) / 39)

    Args:
        awg: gauge number n [1]; 00 is -1, 000 is -2, 0000 is -3.

    Returns:
        Diameter [mm].

    Valid for gauges 0000 (-3) to 40.

    >>> round(awg_diameter_mm(24), 4)
    0.5106

    Source: ASTM B258 (register key ``astm-b258``).
    """
    return float(0.127 * 92 ** ((36 - awg) / 39))


def awg_area_mm2(awg: float) -> float:
    """Return the cross-section of a solid AWG wire.

    A = pi d^2 / 4

    Args:
        awg: gauge number [1].

    Returns:
        Area [mm2].

    Valid for gauges 0000 (-3) to 40.

    >>> round(awg_area_mm2(24), 4)
    0.2047

    Source: ASTM B258 (register key ``astm-b258``).
    """
    return math.pi * awg_diameter_mm(awg) ** 2 / 4


def copper_ohm_per_km(area_mm2: float, temperature_c: float = _REFERENCE_C) -> float:
    """Return what a kilometre of annealed copper of a given section resists, by geometry alone.

    R = 0.017241 * 1000 / A, brought to temperature by the linear law

    Args:
        area_mm2: cross-section of metal [mm2].
        temperature_c: conductor temperature [degC].

    Returns:
        Resistance of one core [ohm/km]; the lay of strands and tinning are not counted, a real stranded cable reads 2 to 8 % more.

    Valid for 100 % IACS copper, -50 to 150 degC.

    >>> round(copper_ohm_per_km(0.2047), 1)  # AWG 24
    84.2

    Source: IEC 60028 / NBS Handbook 100 (register key ``iec-60028``).
    """
    return at_temperature(RESISTIVITY_20_OHM_MM2_PER_M * 1000 / area_mm2, _REFERENCE_C, temperature_c)


def at_temperature(ohm: float, from_c: float, to_c: float) -> float:
    """Return a copper resistance known at one temperature, at another.

    R(T) = R20 (1 + 0.00393 (T - 20)), through 20 degC

    Args:
        ohm: resistance at ``from_c`` [ohm, or ohm per length].
        from_c: temperature the resistance is known at [degC].
        to_c: temperature wanted [degC].

    Returns:
        Resistance at ``to_c`` in the unit of ``ohm``.

    Valid for copper, -50 to 150 degC.

    >>> round(at_temperature(1.0, 75, 20), 3)  # the published ratio
    0.822

    Source: NBS Handbook 100 (register key ``copper-alpha``); NEC Chapter 9 Table 8 note 2 gives the same at 75 degC.
    """
    return ohm * (1 + ALPHA_20_PER_K * (to_c - _REFERENCE_C)) / (1 + ALPHA_20_PER_K * (from_c - _REFERENCE_C))


@lru_cache(maxsize=1024)
def conductor_of(sheet: CableSheet) -> Conductor:
    """Return the conductor of a cable as its sheet describes it."""
    return Conductor(
        awg=sheet.gauge.awg,
        area_mm2=sheet.gauge.area_mm2 if sheet.gauge.awg is None else None,
        construction=sheet.construction,
        material=sheet.material,
        ohm_per_km=sheet.ohm_per_km,
    )


def ohm_per_m(conductor: Conductor, temperature_c: float, basis: Basis = Basis.NOMINAL) -> float:
    """Return what one metre of one conductor resists.

    R = R20 (1 + 0.00393 (T - 20)) / 1000, R20 from the published tables

    Args:
        conductor: size, construction, material, or the data sheet's own figure.
        temperature_c: conductor temperature [degC].
        basis: the typical resistance, or the most the standard allows.

    Returns:
        Resistance of one core [ohm/m].

    Valid -50 to 150 degC.

    >>> cable = Conductor(awg=22, construction=Construction.SOLID)
    >>> round(ohm_per_m(cable, 20) * 304.8, 2)  # the wire table prints 16.14 ohm per 1000 ft
    16.14

    Source: the row used, see ``resistance_20``.
    """
    return resistance_20(conductor, basis).ohm_per_km_20 * (1 + ALPHA_20_PER_K * (temperature_c - _REFERENCE_C)) / 1000


@lru_cache(maxsize=4096)
def resistance_20(conductor: Conductor, basis: Basis) -> Resistance:
    """Return the resistance at 20 degC and where it comes from; the data sheet's own figure wins over every table."""
    if conductor.ohm_per_km is not None:
        return Resistance(conductor.ohm_per_km, "data-sheet", "stated by the data sheet at 20 °C", True)
    copper = _nominal_copper(conductor) if basis is Basis.NOMINAL else _maximum_copper(conductor)
    if conductor.material is Material.CLAD:
        how = f"{copper.how}; copper-clad aluminium x {COPPER_CLAD_FACTOR} (common practice 1.5 to 1.6)"
        return Resistance(copper.ohm_per_km_20 * COPPER_CLAD_FACTOR, "practice", how, False)
    return copper


def _finish(conductor: Conductor) -> str:
    return "tinned" if conductor.material is Material.TINNED else "plain"


def _nearest(rows: list[TableRow], area_mm2: float) -> TableRow:
    return min(rows, key=lambda row: abs(math.log(row.mm2 / area_mm2)))


def _nominal_copper(conductor: Conductor) -> Resistance:
    area = conductor.size_mm2
    assert area is not None  # noqa: S101 - a conductor without a stated resistance has a size
    finish = _finish(conductor)
    exact = [
        row
        for row in table()
        if row.basis is Basis.NOMINAL and row.size == conductor.awg and row.construction is conductor.construction and row.finish == finish
    ]
    if exact:
        # The 20 degC table comes first where both print the wire: nothing has to be converted.
        row = min(exact, key=lambda row: abs(row.temperature_c - _REFERENCE_C))
        return Resistance(row.ohm_per_km_20, row.source, f"{row.ohm:g} {row.unit} at {row.temperature_c:g} °C", True)
    factor, words = _making_factor(conductor, area)
    return Resistance(copper_ohm_per_km(area) * factor, "iec-60028", f"geometry, {area:.4g} mm²{words}", False)


def _making_factor(conductor: Conductor, area_mm2: float) -> tuple[float, str]:
    # How much stranding adds is read off the NEC's rows of the nearest size; how much tinning adds likewise, except that
    # the metric table below 0.5 mm2 has its own tinned column.
    nec = [row for row in table() if row.source == "nec-ch9-t8"]
    size = _nearest(nec, area_mm2).size
    by_kind = {(row.construction, row.finish): row.ohm for row in nec if row.size == size}
    solid = by_kind[Construction.SOLID, "plain"]
    factor, words = by_kind[conductor.construction, "plain"] / solid, ""
    if conductor.construction is Construction.STRANDED:
        words = f"; lay of strands x {factor:.3f}, by NEC AWG {size:g}"
    if _finish(conductor) == "tinned":
        if conductor.awg is None:
            tin, of = _vde_tinning(area_mm2), "DIN VDE 0295"
        else:
            tin, of = by_kind[conductor.construction, "tinned"] / by_kind[conductor.construction, "plain"], f"NEC AWG {size:g}"
        factor, words = factor * tin, f"{words}; tinning x {tin:.3f}, by {of}"
    return factor, words


def _vde_tinning(area_mm2: float) -> float:
    rows = [row for row in table() if row.source == "vde-0295"]
    size = _nearest(rows, area_mm2).size
    ohm = {row.finish: row.ohm for row in rows if row.size == size}
    return ohm["tinned"] / ohm["plain"]


def _maximum_copper(conductor: Conductor) -> Resistance:
    area = conductor.size_mm2
    assert area is not None  # noqa: S101 - a conductor without a stated resistance has a size
    iec_class = conductor.iec_class or (1 if conductor.construction is Construction.SOLID else 5)
    rows = [row for row in table() if row.basis is Basis.MAXIMUM and _same_class(row.iec_class, iec_class) and row.finish == "plain"]
    tinned = [row for row in table() if row.finish == "tinned" and row.size == conductor.area_mm2 and _same_class(row.iec_class, iec_class)]
    if _finish(conductor) == "tinned" and tinned:
        row = tinned[0]
        return Resistance(row.ohm, row.source, f"maximum {row.ohm:g} ohm/km at 20 °C", True)
    row = _nearest(rows, area)
    factor = _vde_tinning(area) if _finish(conductor) == "tinned" else 1.0
    words = f"; tinning x {factor:.3f}, by DIN VDE 0295" if factor != 1.0 else ""
    if row.size == conductor.area_mm2:
        return Resistance(row.ohm * factor, row.source, f"maximum {row.ohm:g} ohm/km at 20 °C, class {iec_class}{words}", factor == 1.0)
    # A size the standard does not print gets the allowance over geometry of the nearest size it prints.
    how = f"{row.ohm:g} ohm/km of {row.size:g} mm² class {iec_class} scaled to {area:.4g} mm²{words}"
    return Resistance(row.ohm * row.size / area * factor, row.source, how, False)


def _same_class(row_class: int, iec_class: int) -> bool:
    # DIN VDE 0295 below 0.5 mm2 prints one fine-stranded column, which serves classes 5 and 6 alike.
    return row_class == iec_class or (row_class == 5 and iec_class == 6)


def working(conductor: Conductor, temperature_c: float, basis: Basis = Basis.NOMINAL, *, path: str = "") -> Working:
    """Return how the resistance per kilometre came about, for whoever opens the figure."""
    found = resistance_20(conductor, basis)
    ohm = ohm_per_m(conductor, temperature_c, basis) * 1000
    origin = Origin.SHEET if found.source == "data-sheet" else Origin.TABLE if found.exact_row else Origin.COMPUTED
    notes = () if found.exact_row else (f"no table prints this conductor ({basis}): {found.how}",)
    return Working(
        formula="R = R20 (1 + 0.00393 (T - 20))",
        inputs=(
            Input(name="conductor", value=conductor.name, origin=Origin.DOCUMENT, path=path),
            Input(name=f"R20, {basis}: {found.how}", value=found.ohm_per_km_20, unit="Ω/km", origin=origin),
            Input(name="conductor temperature T", value=temperature_c, unit="°C", origin=Origin.DOCUMENT),
        ),
        substituted=f"{found.ohm_per_km_20:.4g} (1 + 0.00393 ({temperature_c:g} - 20))",
        result=f"{ohm:.4g} Ω/km",
        source=found.source,
        notes=notes,
    )
