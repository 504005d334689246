"""Whatever number a document may hold, the forecasts compute with it: nothing raises, nothing warns."""

from __future__ import annotations

import warnings
from pathlib import Path

import pytest

import loopwright.circuits.forecast as circuits
import loopwright.power.forecast as power
import loopwright.power.standby as standby
from loopwright.appraisal.appraise import appraise
from loopwright.job.document import Job
from loopwright.job.edit import SetField, apply
from loopwright.job.read import read
from loopwright.job.shape import GaugeShape, NumberShape, shape_at
from loopwright.values.error import JobError
from often import DEEP

SAMPLE = (Path(__file__).parents[1] / "job" / "sample.yaml").read_text(encoding="utf-8")
EXTREMES = ("0", "0.001", "1", "60", "5000", "1000000")
FIELDS = [path for path in sorted(read(SAMPLE).job.given) if isinstance(shape_at(path), NumberShape | GaugeShape)]


def open_every_figure(job: Job) -> None:
    """Appraise a job and open the working of every figure there is."""
    appraisal = appraise(job)
    forecast = appraisal.power
    for finding in appraisal.findings:
        for figure in finding.figures:
            figure.working()
    for load in forecast.loads:
        power.volts_figure(job, forecast, load, forecast.names[11]).working()
    for supply in forecast.supplies:
        power.heat_w(job, forecast, supply.name).working()
        power.transformer_va(job, forecast, supply.name)
    for item in appraisal.standby:
        for figure in (standby.required_figure(job, item), standby.longest_figure(job, item), standby.recharge_figure(job, item)):
            figure.working()
    for circuit in appraisal.circuits:
        circuits.limits(job, circuit)
        for act in circuit.acts:
            circuits.ohm_figure(job, circuit, act).working()
            circuits.volts_figure(job, circuit, act).working()


@pytest.mark.parametrize("extreme", EXTREMES)
def test_every_field_at_an_extreme(extreme: str) -> None:
    """Each field that holds a number in turn; a text the reader refuses is no document. By day a field meets two of the six."""
    computed = 0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        for path in FIELDS if DEEP else FIELDS[EXTREMES.index(extreme) % 3 :: 3]:
            try:
                edited = apply(SAMPLE, SetField(path, extreme))
                job = read(edited.text, tree=edited.tree).job
            except JobError:
                continue
            open_every_figure(job)
            computed += 1
    assert computed > (15 if DEEP else 5)
