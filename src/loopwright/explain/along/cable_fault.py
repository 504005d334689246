"""Where along a run a fault is: a short by ohms from both ends, a break by capacitance. Metres from the start, with their spread.

A short of unknown ohms adds the same to the reading of either end, so that in their difference it cancels (the loop test's principle, after
Varley; from memory). A broken core's capacitance grows with its metres as a sound spare's does. Both ends are to be lifted from everything.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from loopwright.explain.meter import Instrument
from loopwright.explain.written import shown_of
from loopwright.job.document import Job
from loopwright.netlist.conductor import Basis, conductor_of, ohm_per_m
from loopwright.netlist.loop import CABLE_BEST

LENGTH_SHARE = 0.05
"""A length paced out or taken from a plan is off by 5 per cent to either side (judgement)."""
SHEET_PF_SHARE = 0.15
"""Capacitance to other cores and the wall moves that of a pair by some 15 per cent about its sheet's (judgement)."""
USUAL_PF_PER_M, USUAL_PF_SHARE = 100.0, 0.3
"""A pair of whose cable nothing is known [pF/m]: 100, 30 per cent to either side (common practice, no source)."""
SAME_DRUM = 0.03
"""Two pairs of one cable are alike to 3 per cent (judgement)."""
STRAY_NF = 0.02
"""What the leads add, zeroed or not [nF] (common practice, no source)."""
APART = 3.0
"""Readings further than so many spreads from what can be are of something else."""


class NotOne(ValueError):
    """The readings cannot be of one such fault on this run; the message says what is wrong with them."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """Where a fault is: ``metres`` from the start of a run of ``length_m`` and their spread; ``between`` holds it in 95 of 100 cases.

    ``how`` names the method, ``taken`` what was not measured and taken from elsewhere; ``fault_ohm`` is what a short has of its own.
    """

    run: str
    metres: float
    spread_m: float
    length_m: float
    how: str
    taken: tuple[str, ...] = ()
    fault_ohm: float | None = None

    @property
    def between(self) -> tuple[float, float]:
        """Return from where to where one has to look [m]."""
        return max(self.metres - 2 * self.spread_m, 0.0), min(self.metres + 2 * self.spread_m, self.length_m)

    def as_data(self) -> dict[str, Any]:
        """Return it for another program, units in the keys."""
        low, high = self.between
        data = {"run": self.run, "at_m": self.metres, "spread_m": self.spread_m, "from_m": low, "to_m": high, "length_m": self.length_m}
        data |= {"method": self.how, "taken_as": list(self.taken)}
        return data | ({"fault_ohm": self.fault_ohm} if self.fault_ohm is not None else {})


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """A run as far as finding a fault on it goes: metres, ohms of the pair there and back, and capacitance, each with its spread."""

    run: str
    start: str
    end: str
    length_m: float
    ohm_per_m: float
    ohm_share: float
    pf_per_m: float
    pf_share: float
    pf_words: str


def line_of(job: Job, run: str) -> Line:
    """Return a run of a job. Raises KeyError when there is none, ValueError where it has no length."""
    cable = job.cables[run]
    sheet = job.sheets.cables[cable.sheet]
    length = cable.length_m + cable.slack_m
    if length <= 0:
        raise ValueError(f"Run {run} has no length yet; a distance needs one.")
    conductor = conductor_of(sheet)
    most = ohm_per_m(conductor, 20.0, Basis.MAXIMUM) / ohm_per_m(conductor, 20.0, Basis.NOMINAL)
    share = max(most - 1, 1 - CABLE_BEST) / math.sqrt(3)
    stated = sheet.core_to_core_pf_per_m
    words = f"{stated:g} pF/m as the cable's sheet says" if stated else f"{USUAL_PF_PER_M:g} pF/m, a default: the sheet does not say"
    return Line(
        run=run,
        start=cable.start,
        end=cable.end,
        length_m=length,
        ohm_per_m=2 * ohm_per_m(conductor, cable.temperature_c, Basis.NOMINAL),
        ohm_share=share,
        pf_per_m=stated or USUAL_PF_PER_M,
        pf_share=(SHEET_PF_SHARE if stated else USUAL_PF_SHARE) / math.sqrt(3),
        pf_words=words,
    )


def short_at(line: Line, near_ohm: float, far_ohm: float, meter: Instrument = Instrument()) -> Found:  # noqa: B008
    """Return where the cores of a run touch, from the ohms [Ω] of the pair read at its start and at its end.

    Raises NotOne for readings that no single short on the run could make.
    """
    if not (math.isfinite(near_ohm) and math.isfinite(far_ohm)):
        raise NotOne("Over range is no short: the cores do not touch, or a core is broken as well. Measure the capacitance instead.")
    whole = line.ohm_per_m * line.length_m
    near_sd, far_sd = _spread(near_ohm, "Ω", meter), _spread(far_ohm, "Ω", meter)
    length_share = LENGTH_SHARE / math.sqrt(3)
    own = (near_ohm + far_ohm - whole) / 2
    own_sd = 0.5 * math.hypot(near_sd, far_sd, whole * math.hypot(line.ohm_share, length_share))
    if own < -APART * own_sd:
        raise NotOne(
            f"Together {near_ohm + far_ohm:.4g} Ω are less than the {whole:.3g} Ω of the whole run: the run is shorter than the job says, "
            "its cores are thicker, or another pair was read."
        )
    step = (near_ohm - far_ohm) / (2 * line.ohm_per_m)
    metres = line.length_m / 2 + step
    spread = math.hypot(math.hypot(near_sd, far_sd) / (2 * line.ohm_per_m), step * line.ohm_share, line.length_m * length_share / 2)
    found = Found(
        run=line.run,
        metres=metres,
        spread_m=spread,
        length_m=line.length_m,
        how="ohms from both ends; what the short has of its own cancels",
        taken=(f"{line.length_m:g} m of run, {line.ohm_per_m:.3g} Ω a metre there and back",),
        fault_ohm=max(own, 0.0),
    )
    return _on_the_run(found)


def break_at(
    line: Line,
    near_nf: float,
    *,
    far_nf: float | None = None,
    spare_nf: float | None = None,
    spare_m: float | None = None,
    meter: Instrument = Instrument(),  # noqa: B008
) -> Found:
    """Return where a core of a run is broken, from its capacitance [nF] to its fellow read at the start of the run.

    It is held against that read at the far end (``far_nf``), else against a sound spare pair of the same cable (``spare_nf``, of
    ``spare_m`` [m], the run's length when not given), else against what the cable's sheet says. Raises NotOne for readings no break makes.
    """
    if near_nf < 0 or any(value is not None and value <= 0 for value in (spare_nf, spare_m)) or (far_nf is not None and far_nf < 0):
        raise NotOne("A capacitance below naught is none; zero the meter with its leads open.")
    near_sd = math.hypot(_spread(near_nf, "nF", meter), STRAY_NF)
    length_share = LENGTH_SHARE / math.sqrt(3)
    if far_nf is not None:
        return _on_the_run(_from_both(line, near_nf, near_sd, far_nf, meter))
    if spare_nf is not None:
        known = spare_m if spare_m is not None else line.length_m
        share = math.hypot(math.hypot(_spread(spare_nf, "nF", meter), STRAY_NF) / spare_nf, SAME_DRUM / math.sqrt(3))
        share = math.hypot(share, length_share)
        metres, how = known * near_nf / spare_nf, f"capacitance against a sound spare pair of {known:g} m"
        taken: tuple[str, ...] = () if spare_m is not None else (f"the spare runs the whole {line.length_m:g} m",)
        slope = known / spare_nf
    else:
        slope, share = 1000.0 / line.pf_per_m, line.pf_share
        metres, how, taken = near_nf * slope, "capacitance against the cable's own", (line.pf_words,)
    spread = math.hypot(near_sd * slope, metres * share)
    return _on_the_run(Found(run=line.run, metres=metres, spread_m=spread, length_m=line.length_m, how=how, taken=taken))


def _from_both(line: Line, near_nf: float, near_sd: float, far_nf: float, meter: Instrument) -> Found:
    """Return where a break is from both ends: what a metre has cancels, and the two sum to the whole run."""
    whole = near_nf + far_nf
    if whole <= 0:
        raise NotOne("Neither end shows any capacitance: the leads do not reach the cores.")
    far_sd = math.hypot(_spread(far_nf, "nF", meter), STRAY_NF)
    share = near_nf / whole
    spread = line.length_m * math.hypot((1 - share) * near_sd, share * far_sd) / whole
    spread = math.hypot(spread, line.length_m * share * LENGTH_SHARE / math.sqrt(3))
    expected = line.pf_per_m * line.length_m / 1000
    taken = [f"{line.length_m:g} m of run"]
    if whole > expected * (1 + APART * line.pf_share) or whole < expected * (1 - APART * line.pf_share):
        taken.append(f"together {whole:.3g} nF where the run should have {expected:.3g} nF: it may be broken twice, or longer")
    return Found(
        run=line.run,
        metres=line.length_m * share,
        spread_m=spread,
        length_m=line.length_m,
        how="capacitance from both ends; what a metre has cancels",
        taken=tuple(taken),
    )


def _on_the_run(found: Found) -> Found:
    """Return a place moved onto its run where it lies just outside. Raises NotOne where it lies well beyond."""
    room = APART * found.spread_m
    if found.metres > found.length_m + room or found.metres < -room:
        raise NotOne(
            f"That would be {found.metres:.0f} m along a run of {found.length_m:g} m: the core is whole as far as the run goes, the run is "
            "longer than the job says, or another pair was read."
        )
    return replace(found, metres=min(max(found.metres, 0.0), found.length_m))


def _spread(value: float, unit: str, meter: Instrument) -> float:
    return float(meter.spread(np.array(value), unit))


def located(
    job: Job,
    run: str,
    near: str,
    far: str = "",
    spare: str = "",
    spare_m: float | None = None,
    meter: Instrument = Instrument(),  # noqa: B008
) -> Found:
    """Return where a fault on a run is from readings as people write them: ohms for a short, nanofarads for a break.

    Raises Unreadable for a text that is no reading, ValueError with a sentence for readings that are not what is needed, KeyError for a
    run the job has not.
    """
    line = line_of(job, run)
    if not near:
        raise ValueError("read the pair at the start of the run, both ends lifted: ohms for a short, nanofarads for a break.")
    shown = {name: shown_of(text, meter) for name, text in (("near", near), ("far", far), ("spare", spare)) if text}
    units = {each.unit for each in shown.values()}
    if units == {"Ω"}:
        if spare or not far:
            raise ValueError("a short wants the ohms of both ends: at the start and at the far end.")
        return short_at(line, shown["near"].value, shown["far"].value, meter)
    if units == {"nF"}:
        values = {name: each.value for name, each in shown.items()}
        return break_at(line, values["near"], far_nf=values.get("far"), spare_nf=values.get("spare"), spare_m=spare_m, meter=meter)
    raise ValueError("the readings of a run are all ohms (a short) or all nanofarads (a break).")
