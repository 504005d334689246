"""How far a circuit is from misreading, held against the circuit computed anew with just that much cable or leak."""

from __future__ import annotations

import loopwright.demo
from loopwright.circuits.forecast import CircuitForecast, forecast_circuits
from loopwright.circuits.headroom import MOST_BOAST_M, extra_cable_figure, leak_figure
from loopwright.job.document import Job
from loopwright.job.edit import SetField, apply
from loopwright.job.read import read
from loopwright.netlist.loop import ActKind

TEXT = loopwright.demo.text("business")


def circuit(name: str, *edits: SetField) -> tuple[Job, CircuitForecast]:
    text = TEXT
    for edit in edits:
        text = apply(text, edit).text
    job = read(text).job
    return job, next(item for item in forecast_circuits(job) if item.circuit == name)


def test_cable_by_resistance_alone_is_not_boasted_of_beyond_the_limit() -> None:
    job, item = circuit("c01")
    figure = extra_cable_figure(job, item)
    assert figure is not None and figure.value == MOST_BOAST_M
    assert "by resistance alone" in figure.working().notes[0]


def test_so_much_cable_takes_the_worst_corner_to_the_edge() -> None:
    close = SetField("circuits/c01/resistors/end_ohm", "3350")
    job, item = circuit("c01", close)
    figure = extra_cable_figure(job, item)
    assert figure is not None and figure.value is not None and 0 < figure.value < MOST_BOAST_M
    run = job.circuits["c01"].path[0].cable
    for share, misreads in ((0.5, False), (2.0, True)):
        longer = SetField(f"cables/{run}/length_m", f"{job.cables[run].length_m + share * figure.value:.3f}")
        _, other = circuit("c01", close, longer)
        assert ((other.rest.misread or 0.0) > 0) is misreads, share


def test_a_leak_just_above_the_limit_reads_right_and_just_below_does_not() -> None:
    job, item = circuit("c01")
    for kind, act in ((ActKind.REST, lambda found: found.rest), (ActKind.ACTIVATED, lambda found: found.act(ActKind.ACTIVATED))):
        figure = leak_figure(job, item, kind)
        assert figure is not None and figure.value is not None
        assert figure.working().result == f"{figure.value:.0f} Ω"
        for share, right in ((1.02, True), (0.98, False)):
            _, other = circuit("c01", SetField("circuits/c01/leak_ohm", f"{share * figure.value:.1f}"))
            assert act(other).right is right, (kind, share)
