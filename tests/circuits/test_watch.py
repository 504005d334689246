"""Supervised outputs: what the control unit sees of the cable while the output is off, and what each cable fault does there."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loopwright.circuits.forecast import CircuitForecast, forecast_watches, ohm_figure, volts_figure
from loopwright.demo import text
from loopwright.job.document import EndResistor, Job
from loopwright.job.read import read
from loopwright.job.sheet import Reads, Supervision
from loopwright.netlist.compile import compile_power
from loopwright.netlist.loop import ActKind

BUSINESS, DWELLING = (read(text(name)).job for name in ("business", "dwelling"))


def watched(job: Job, output: str) -> CircuitForecast:
    """Return the forecast of one supervised output."""
    return next(item for item in forecast_watches(job, compile_power(job)) if item.circuit == output)


def test_the_resistor_is_seen_through_the_cable() -> None:
    """14 m of 92 Ω/km out and back to the lobby sounder, and its 1 kΩ: Ohm's law by hand."""
    item = watched(BUSINESS, "control.sounders")
    assert item.rest.field_ohm == pytest.approx(1000 + 2 * 14 * 0.092, abs=1e-3)
    assert item.rest.volts_v == pytest.approx(5 * 1002.576 / (1002.576 + 4700), abs=1e-6)
    assert item.rest.right


@pytest.mark.parametrize(
    ("kind", "device", "reads"),
    [
        (ActKind.NO_RESISTOR, None, Reads.OPEN),
        (ActKind.SHORTED, "sounder-press", Reads.SHORT),
        (ActKind.CUT, "sounder-lobby", Reads.OPEN),
        (ActKind.CUT, "sounder-press", Reads.REST),
    ],
)
def test_each_cable_fault(kind: ActKind, device: str | None, reads: Reads) -> None:
    """A cut in the branch that has no resistor is not seen: the two sounders are wired as a star."""
    assert watched(BUSINESS, "control.sounders").act(kind, device).taken_for is reads


def test_an_unused_output_shows_a_trouble_until_its_resistor_is_fitted() -> None:
    """1 kΩ across an unused siren output clears its trouble: common practice, no source."""
    open_output = watched(DWELLING, "panel.siren-2")
    assert math.isinf(open_output.rest.field_ohm) and open_output.rest.taken_for is Reads.OPEN
    panel = replace(DWELLING.equipment["panel"], end_resistors={"siren-2": EndResistor(ohm=1000.0)})
    fitted = watched(replace(DWELLING, equipment={**DWELLING.equipment, "panel": panel}), "panel.siren-2")
    assert fitted.rest.field_ohm == pytest.approx(1000.0) and fitted.rest.right


def test_a_wrong_resistor_is_named_in_the_working() -> None:
    """Fitted and entered: the working leads to the place where it stands."""
    control = replace(BUSINESS.equipment["control"], end_resistors={"sounders": EndResistor(ohm=4700.0)})
    job = replace(BUSINESS, equipment={**BUSINESS.equipment, "control": control})
    item = watched(job, "control.sounders")
    assert item.rest.taken_for is Reads.OPEN
    working = ohm_figure(job, item, item.rest).working()
    assert "equipment/control/end_resistors/sounders/ohm" in {i.path for i in working.inputs}
    assert volts_figure(job, item, item.rest).probes == ("output control.sounders", "control 0 V")


def test_a_return_shared_with_a_feed_written_later_is_followed() -> None:
    """19 m at 25 °C out with one core and back with the two of the hold-off: the resistor is seen, whichever feed stands first."""
    watch = Supervision(resistor_ohm=1000.0, pull_up_v=5.0, pull_up_ohm=4700.0, short_below_ohm=200.0, open_above_ohm=3300.0)
    sheet = BUSINESS.sheet_of("control")
    outputs = {**sheet.outputs, "trigger": replace(sheet.outputs["trigger"], supervision=watch)}
    sheets = replace(BUSINESS.sheets, equipment={**BUSINESS.sheets.equipment, "oq-c32": replace(sheet, outputs=outputs)})
    cable = BUSINESS.cables["W32"]
    seen = []
    for feeds in (cable.feeds, cable.feeds[::-1]):
        job = replace(BUSINESS, sheets=sheets, cables={**BUSINESS.cables, "W32": replace(cable, feeds=feeds)})
        seen.append(watched(job, "control.trigger").rest.field_ohm)
    ohm = 19 * 0.092 * (1 + 0.00393 * 5)
    assert seen == pytest.approx([1000 + ohm + ohm / 2] * 2, abs=1e-2)
