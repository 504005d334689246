"""How far a circuit is from misreading, as figures: metres of its cable that may be added, and the leak that hides an act."""

from __future__ import annotations

import math

from loopwright.circuits.forecast import ActForecast, CircuitForecast, limits
from loopwright.job.document import Job
from loopwright.netlist.loop import ActKind
from loopwright.values.figure import Figure, Input, Origin, Working

MOST_BOAST_M = 500.0
"""Metres [m] beyond which the resistance says little: induced noise and leaks come first. A choice of this program, no source."""


def extra_cable_figure(job: Job, item: CircuitForecast) -> Figure | None:
    """Return the metres of its own cable that may be added to a circuit, every part at its worst; None where no edge lies that way.

    Never more than ``MOST_BOAST_M``.
    """
    far = limits(job, item)
    if far.extra_m is None or far.extra_ohm is None:
        return None
    metres, ohm = far.extra_m.worst, far.extra_ohm.worst
    per_m = far.extra_ohm.nominal / far.extra_m.nominal if far.extra_m.nominal else math.nan

    def working() -> Working:
        return Working(
            formula="l = (R_edge - R_loop) / r, the loop at its most, the pull-up at its least",
            inputs=(
                Input(name="ohms to the upper edge, R_edge - R_loop", value=round(ohm, 1), unit="Ω", origin=Origin.COMPUTED),
                Input(name="ohms a metre brings, out and back, r", value=round(per_m, 5), unit="Ω/m", origin=Origin.COMPUTED),
            ),
            substituted=f"{ohm:.1f} / {per_m:.4f}",
            result=f"{metres:.0f} m",
            notes=("by resistance alone: what a long run picks up or leaks is not in it",),
        )

    return Figure(
        key=f"extra-m/{item.circuit}", label=f"circuit {item.circuit}, cable that may be added", value=min(metres, MOST_BOAST_M), unit="m",
        working=working,
    )  # fmt: skip


def leak_figure(job: Job, item: CircuitForecast, kind: ActKind) -> Figure | None:
    """Return the leak across the pair at which a circuit at rest, or activated, starts to misread; None where no edge lies that way."""
    far = limits(job, item)
    rest = kind is ActKind.REST
    value = far.leak_rest_ohm if rest else far.leak_alarm_ohm
    if value is None or item.bands is None:
        return None
    acts = [item.rest] if rest else [act for act in item.acts if act.act.kind is ActKind.ACTIVATED and act.right]
    act, edge = max(((act, _edge_below(item, act)) for act in acts), key=lambda found: _leak_ohm(*found))

    def working() -> Working:
        return Working(
            formula="R_leak = 1 / (1 / R_edge - 1 / R)",
            inputs=(
                Input(name="lower edge of its band, R_edge", value=edge, unit="Ω", origin=Origin.SHEET),
                Input(name="loop R", value=round(act.field_ohm, 1), unit="Ω", origin=Origin.COMPUTED),
            ),
            substituted=f"1 / (1 / {edge:.4g} - 1 / {act.field_ohm:.5g})",
            result=f"{value:.0f} Ω",
        )

    words = "at rest" if rest else "activated"
    label = f"circuit {item.circuit}, leak at which it misreads {words}"
    return Figure(key=f"leak-{'rest' if rest else 'alarm'}/{item.circuit}", label=label, value=value, unit="Ω", working=working)


def _edge_below(item: CircuitForecast, act: ActForecast) -> float:
    """Return the lower edge [Ω] of the band an act is read in; nought where there is none."""
    assert item.bands is not None
    return max((edge for edge in item.bands.edges_ohm if edge <= act.field_ohm), default=0.0)


def _leak_ohm(act: ActForecast, edge: float) -> float:
    if edge <= 0:
        return 0.0
    share = 1.0 / edge - 1.0 / act.field_ohm
    return 1.0 / share if share > 0 else math.inf
