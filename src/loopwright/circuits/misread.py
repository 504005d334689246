"""The probability that an act on a circuit is taken for something else, as a figure, and which act of a kind is worst."""

from __future__ import annotations

from collections.abc import Sequence

from loopwright.circuits.forecast import ActForecast, CircuitForecast, act_words
from loopwright.circuits.said import taken_words
from loopwright.job.document import Job
from loopwright.netlist.loop import ActKind
from loopwright.values.figure import Figure, Input, Origin, Working


def most_misread(acts: Sequence[ActForecast]) -> ActForecast:
    """Return the act most likely misread, the first of equals. Raises ValueError when there is none."""
    return max(acts, key=lambda act: (not act.right, act.misread or 0.0))


def worst_act(item: CircuitForecast, kind: ActKind) -> ActForecast | None:
    """Return the act of a kind that is most likely misread; None when the circuit has no such act."""
    acts = [act for act in item.acts if act.act.kind is kind]
    return most_misread(acts) if acts else None


def worst_of_all(item: CircuitForecast) -> ActForecast:
    """Return the act most likely misread; every circuit has the act of being at rest."""
    return most_misread(item.acts)


def misread_figure(job: Job, item: CircuitForecast, act: ActForecast) -> Figure:
    """Return the probability [%] that the act is taken for something it is not meant to be; no figure where the input has no bands."""
    circuit = job.circuits[item.circuit]

    def working() -> Working:
        meant = " or ".join(sorted(taken_words(job, item.circuit, each) for each in act.meant))
        given = f"circuits/{item.circuit}/resistor_tolerance_pct" in job.given
        return Working(
            formula=f"P = 1 - P(taken for {meant}), every part uniform between its bounds",
            inputs=(
                Input(name="least the loop can be", value=round(act.low_ohm, 1), unit="Ω", origin=Origin.COMPUTED),
                Input(name="most the loop can be", value=round(act.high_ohm, 1), unit="Ω", origin=Origin.COMPUTED),
                Input(
                    name="tolerance of the resistors",
                    value=circuit.resistor_tolerance_pct,
                    unit="%",
                    origin=Origin.DOCUMENT if given else Origin.DEFAULT,
                    path=f"circuits/{item.circuit}/resistor_tolerance_pct",
                ),
            ),
            substituted=f"nominal {act.field_ohm:.0f} Ω is taken for {act.taken_for or 'nothing that is promised'}",
            result="no bands on the sheet" if act.misread is None else f"{act.misread * 100:.3g} %",
            notes=("the exact volume of the box of tolerances beyond the band's edges; the unit's own pull-up is one side of the box",),
        )

    return Figure(
        key=f"misread/{item.circuit}/{act.act.kind}/{act.act.device or ''}",
        label=f"{act_words(job, item, act)}, probability of misreading",
        value=None if act.misread is None else act.misread * 100,
        unit="%",
        why="" if act.misread is not None else "the input's sheet has no bands for this topology",
        working=working,
    )
