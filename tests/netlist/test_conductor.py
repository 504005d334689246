"""Conductors: which figure wins, what is refused, what the working says."""

from __future__ import annotations

import pytest

from loopwright.netlist.conductor import (
    Basis,
    Conductor,
    Construction,
    GaugeSystem,
    Material,
    ohm_per_m,
    resistance_20,
    standard_gauges,
    working,
)
from loopwright.values.figure import Origin
from loopwright.values.source import source


def test_the_data_sheets_own_figure_wins() -> None:
    """A stated resistance is taken at 20 degC on either basis, and warms like copper."""
    sheet = Conductor(area_mm2=0.22, material=Material.CLAD, ohm_per_km=92.0)
    assert ohm_per_m(sheet, 20) == ohm_per_m(sheet, 20, Basis.MAXIMUM) == 0.092
    assert ohm_per_m(sheet, 50) == pytest.approx(0.092 * 1.1179)


@pytest.mark.parametrize(
    "wrong",
    [{}, {"awg": 22, "area_mm2": 0.22}, {"area_mm2": 0.0}, {"ohm_per_km": -1.0}, {"awg": 22, "iec_class": 3}],
)
def test_a_conductor_that_tells_nothing_is_refused(wrong: dict[str, float]) -> None:
    """No size and no resistance, two sizes, nothing or less, or a class that does not exist."""
    with pytest.raises(ValueError, match=r"conductor|classes"):
        Conductor(**wrong)  # type: ignore[arg-type]


@pytest.mark.parametrize("material", list(Material))
@pytest.mark.parametrize("construction", list(Construction))
@pytest.mark.parametrize("system", list(GaugeSystem))
def test_maximum_is_never_below_nominal_and_thicker_never_resists_more(
    system: GaugeSystem, construction: Construction, material: Material
) -> None:
    """Over all standard gauges: nominal <= maximum, and each basis falls from gauge to gauge."""
    gauges = standard_gauges(system)
    wires = [
        Conductor(awg=int(size), construction=construction, material=material)
        if system is GaugeSystem.AWG
        else Conductor(area_mm2=size, construction=construction, material=material)
        for size in gauges
    ]
    for wire in wires:
        assert ohm_per_m(wire, 20) <= ohm_per_m(wire, 20, Basis.MAXIMUM), wire
    for basis in Basis:
        ohms = [ohm_per_m(wire, 20, basis) for wire in wires]
        assert ohms == sorted(ohms, reverse=True)


def test_working_names_the_row_and_its_source() -> None:
    """A row of a table is shown as such; a figure no table prints says how it was scaled."""
    printed = working(Conductor(awg=18, construction=Construction.STRANDED), 20)
    assert "7.95 ohm/kft at 75 °C" in printed.inputs[1].name
    assert printed.inputs[1].origin is Origin.TABLE
    assert printed.source == "nec-ch9-t8"
    scaled = working(Conductor(area_mm2=0.44), 20, Basis.MAXIMUM)
    assert scaled.inputs[1].origin is Origin.COMPUTED
    assert "0.5 mm² class 5 scaled to 0.44 mm²" in scaled.notes[0]
    assert working(Conductor(ohm_per_km=80.0), 20).inputs[1].origin is Origin.SHEET


def test_common_practice_never_passes_for_a_published_figure() -> None:
    """Copper-clad aluminium carries the mark of common practice."""
    found = resistance_20(Conductor(awg=22, material=Material.CLAD), Basis.NOMINAL)
    assert not source(found.source).binding
    assert not found.exact_row
