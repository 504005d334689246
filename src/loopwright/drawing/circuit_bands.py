"""One circuit against its input's bands: where every act reads, how far its parts let it stray, and where nothing is promised."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loopwright.appraisal.appraise import Appraisal
from loopwright.circuits.forecast import ActForecast, CircuitForecast
from loopwright.circuits.half_space import Array
from loopwright.circuits.said import taken_words
from loopwright.circuits.tolerance import Spread, band_probabilities
from loopwright.drawing.pen import FIRM, HAIR, SMALL_SIZE, Sheet, fitted, wrapped
from loopwright.job.document import Job
from loopwright.job.quantity import show_quantity
from loopwright.job.sheet import Reads
from loopwright.power.forecast import label_of

NIL = 1e-9
"""A probability below this is drawn as nil: a billion visits."""
_STEPS = 40


@dataclass(frozen=True, kw_only=True, slots=True)
class _Plan:
    """Where the parts of the picture stand [drawing units]."""

    width: float
    left: float
    right: float
    top: float
    row: float
    ohm: float = 0
    lens: float = 0
    words: float = 0
    narrow: bool = False


_WIDE = _Plan(width=860, left=164, right=530, top=86, row=40, ohm=606, lens=620, words=716)
_PAPER = _Plan(width=740, left=142, right=450, top=86, row=40, ohm=522, lens=532, words=628)
_NARROW = _Plan(width=390, left=8, right=382, top=86, row=72, narrow=True)
_LENS_WIDTH = 84.0


@dataclass(frozen=True, kw_only=True, slots=True)
class _Axis:
    """An axis of loop ohms whose scale changes at the band edges, so that a narrow band has room for its name.

    Straight from nought to the first knot, logarithmic from knot to knot; an open loop stands at the right end.
    """

    knots_ohm: tuple[float, ...]
    knots_x: tuple[float, ...]
    right: float

    def x(self, ohm: float) -> float:
        """Return where a resistance stands."""
        if math.isinf(ohm):
            return self.right - 10
        ohms, xs = self.knots_ohm, self.knots_x
        for n in range(1, len(ohms)):
            if ohm <= ohms[n]:
                share = ohm / ohms[1] if n == 1 else math.log(ohm / ohms[n - 1]) / math.log(ohms[n] / ohms[n - 1])
                return xs[n - 1] + share * (xs[n] - xs[n - 1])
        return xs[-1]


def circuit_bands(appraisal: Appraisal, circuit_id: str, *, narrow: bool = False, paper: bool = False) -> str:
    """Return the resistor-band picture of a circuit as SVG, for a desk, a phone (``narrow``) or a sheet of paper.

    Raises KeyError when there is no such circuit.
    """
    item = circuit_of(appraisal, circuit_id)
    plan = _NARROW if narrow else _PAPER if paper else _WIDE
    height = plan.top + plan.row * len(item.acts) + 30
    title = f"Circuit {circuit_id}: what each act reads"
    sheet = Sheet(width=plan.width, height=height, title=title, about=bands_words(appraisal.job, item), name="circuit-bands")
    axis = _axis(item, plan)
    sheet.text(plan.left if narrow else 4, 15, fitted(title, plan.width - 10), bold=True)
    _bands(sheet, plan, axis, appraisal.job, item, height - 26)
    densities = _densities(item.spreads, item.network.pull_up.ohm)
    for position, act in enumerate(item.acts):
        y = plan.top + plan.row * position
        _act(sheet, plan, axis, appraisal.job, item.circuit, act, y)
        if not narrow:
            _lens(sheet, plan.lens, item, densities[position], y)
    _foot(sheet, plan, height)
    return sheet.svg()


def circuit_of(appraisal: Appraisal, circuit_id: str) -> CircuitForecast:
    """Return a circuit's forecast. Raises KeyError when there is none."""
    for item in appraisal.circuits:
        if item.circuit == circuit_id:
            return item
    raise KeyError(circuit_id)


def act_words(job: Job, act: ActForecast) -> str:
    """Return an act as a row's name: ``activated · Front door``."""
    return f"{act.act.kind} · {label_of(job, act.act.device)}" if act.act.device else str(act.act.kind)


def reading_words(job: Job, circuit_id: str, act: ActForecast) -> str:
    """Return what an act is taken for, and against what it is meant to be, in a few words."""
    if act.misread is None:
        return "no bands stated"
    meant = " or ".join(sorted(taken_words(job, circuit_id, each) for each in act.meant))
    if act.taken_for is None:
        return f"nothing promised; meant {meant}"
    reads = f"reads {taken_words(job, circuit_id, act.taken_for)}"
    return reads if act.right else f"{reads}; meant {meant}"


def chance_words(chance: float | None) -> str:
    """Return the probability of a misreading in words; nothing when it is nil or not known.

    >>> chance_words(0.123), chance_words(2.5e-6), chance_words(0.0), chance_words(1.0)
    ('misread 12.3 %', 'misread 2.5 in a million', '', 'misread always')
    """
    if chance is None or chance < NIL:
        return ""
    if chance > 1 - NIL:
        return "misread always"
    if chance < 1e-4:
        return f"misread {chance * 1e6:.2g} in a million"
    return f"misread {chance * 100:.3g} %"


def bands_words(job: Job, item: CircuitForecast) -> str:
    """Return the picture in sentences, for whoever cannot see it."""
    told = []
    for act in item.acts:
        chance = chance_words(act.misread)
        ohm = "open" if math.isinf(act.field_ohm) else f"{act.field_ohm:.0f} Ω"
        told.append(f"{act_words(job, act)}: {ohm}, {reading_words(job, item.circuit, act)}{', ' + chance if chance else ''}")
    return "; ".join(told) + "."


def _axis(item: CircuitForecast, plan: _Plan) -> _Axis:
    """Return the axis: each stretch as wide as its decades, but never so narrow that nothing could be written in it."""
    edges = item.bands.edges_ohm if item.bands else ()
    finite = [act.field_ohm for act in item.acts if math.isfinite(act.field_ohm)]
    ohms = [0.0, *edges] if edges else [0.0, max(min(finite, default=100.0) / 2, 1.0)]
    ohms.append(max(1.3 * ohms[-1], 1.3 * max(finite, default=0.0)))
    named = [reads is not None for reads in item.bands.reads] if item.bands else [True, True]
    decades = [1.0, *(math.log10(b / a) for a, b in zip(ohms[1:], ohms[2:], strict=False))]
    least = [37.0 if name else 12.0 for name in named]
    room = plan.right - 24 - plan.left
    least = [wide * min(1.0, room / sum(least)) for wide in least]
    spare = max(room - sum(least), 0.0)
    xs = [plan.left]
    for wide, share in zip(least, decades, strict=True):
        xs.append(xs[-1] + wide + spare * share / sum(decades))
    return _Axis(knots_ohm=tuple(ohms), knots_x=tuple(xs), right=plan.right)


def _bands(sheet: Sheet, plan: _Plan, axis: _Axis, job: Job, item: CircuitForecast, bottom: float) -> None:
    """Draw the strip of bands with their names, the gaps hatched, and each edge down through the acts."""
    top, deep = plan.top - 38, 20
    if item.bands is None:
        sheet.text(plan.left, top + 14, "The input's data sheet gives no bands for this topology.", look="lw-soft", size=SMALL_SIZE)
        sheet.line(((plan.left, plan.top - 8), (plan.right, plan.top - 8)), look="lw-axis", width=HAIR)
        return
    ends = (0.0, *item.bands.edges_ohm, math.inf)
    for place, reads in enumerate(item.bands.reads):
        x0 = plan.left if place == 0 else axis.x(ends[place])
        x1 = plan.right if place == len(item.bands.reads) - 1 else axis.x(ends[place + 1])
        if reads is None:
            sheet.hatch(x0, top, x1 - x0, deep)
            continue
        told = "both" if reads is Reads.BOTH else taken_words(job, item.circuit, reads).removesuffix(" active")
        word = fitted(told, x1 - x0 - 2, SMALL_SIZE)
        sheet.text((x0 + x1) / 2, top + 14, word, size=SMALL_SIZE, anchor="middle")
    sheet.box(plan.left, top, plan.right - plan.left, deep, line=HAIR)
    sheet.text(plan.right, top - 4, "Ω", look="lw-soft", size=9, anchor="end")
    taken = [-1e9, -1e9]
    for edge in item.bands.edges_ohm:
        x = axis.x(edge)
        sheet.line(((x, top), (x, bottom)), look="lw-axis", width=0.4)
        level = 0 if x - taken[0] > 36 else 1
        if x - taken[level] > 30:
            taken[level] = x
            sheet.text(x, top - 4 - 11 * level, _short_ohm(edge), look="lw-soft lw-num", size=9, anchor="middle")


def _short_ohm(ohm: float) -> str:
    """Return ohms as they are written over an axis of ohms: 800, 1.6k, 13k."""
    return show_quantity(ohm, "Ω").replace(" MΩ", "M").replace(" kΩ", "k").replace(" Ω", "")


def _act(sheet: Sheet, plan: _Plan, axis: _Axis, job: Job, circuit_id: str, act: ActForecast, y: float) -> None:
    wrong = act.misread is not None and not act.right
    look = "lw-short" if wrong else "lw-ink"
    base, level = (y + 15, y + 34) if plan.narrow else (y + 18, y + 18)
    low, high = axis.x(act.low_ohm), axis.x(act.high_ohm)
    if high - low < 3:
        low, high = (low + high) / 2 - 1.5, (low + high) / 2 + 1.5
    line = "lw-short" if wrong else "lw-line"
    sheet.line(((plan.left, level), (plan.right, level)), look="lw-axis", width=0.3)
    sheet.shape(((low, level - 3), (high, level - 3), (high, level + 3), (low, level + 3)), look=line, opacity=1)
    x = axis.x(act.field_ohm)
    sheet.line(((x, level - 9), (x, level + 9)), look=line, width=FIRM, dash="2 2" if wrong else "")
    ohm = "open" if math.isinf(act.field_ohm) else f"{act.field_ohm:.0f} Ω" if act.field_ohm >= 100 else f"{act.field_ohm:.1f} Ω"
    digits = 1 if act.high_ohm < 100 else 0
    corners = "" if math.isinf(act.low_ohm) else f"{act.low_ohm:.{digits}f} to {act.high_ohm:.{digits}f}"
    chance = chance_words(act.misread)
    if plan.narrow:
        sheet.text(plan.left, base, fitted(act_words(job, act), 200))
        sheet.text(plan.right, base, ohm, look="lw-ink lw-num", anchor="end")
        told = ", ".join(filter(None, (reading_words(job, circuit_id, act), chance)))
        sheet.text(plan.left, y + 53, fitted(told, 290, SMALL_SIZE), look=look, size=SMALL_SIZE)
        sheet.text(plan.right, y + 53, corners, look="lw-soft lw-num", size=SMALL_SIZE, anchor="end")
        return
    device = label_of(job, act.act.device) if act.act.device else ""
    sheet.text(4, y + (14 if device else 20), str(act.act.kind))
    sheet.text(4, y + 27, fitted(device, plan.left - 14, SMALL_SIZE), look="lw-soft", size=SMALL_SIZE)
    sheet.text(plan.ohm, y + 14, ohm, look="lw-ink lw-num", anchor="end")
    sheet.text(plan.ohm, y + 27, corners, look="lw-soft lw-num", size=9, anchor="end")
    told = ", ".join(filter(None, (reading_words(job, circuit_id, act), chance)))
    lines = wrapped(told, plan.width - plan.words, SMALL_SIZE)
    for number, line_ in enumerate(lines[:3]):
        at = y + (20 if len(lines) == 1 else 14 if len(lines) == 2 else 9) + 12.5 * number
        sheet.text(plan.words, at, line_, look="lw-short" if wrong or chance else "lw-ink", size=SMALL_SIZE)


def _densities(spreads: Sequence[Spread], pull_up_ohm: float) -> list[tuple[Array, Array] | None]:
    """Return for each act the ohms the control unit takes the loop for and how densely they fall there; None for an open loop.

    The unit compares volts, so a pull-up that is off its value shifts what it sees: R seen = R R_pu / R_pu true.
    The shares between neighbouring ohms are differences of exact volumes, not samples.
    """
    closed = [n for n, spread in enumerate(spreads) if math.isfinite(spread.loop_high_ohm) and spread.loop_high_ohm > 0]
    out: list[tuple[Array, Array] | None] = [None] * len(spreads)
    if not closed:
        return out
    grids = np.array(
        [
            np.linspace(
                spreads[n].loop_low_ohm * pull_up_ohm / spreads[n].pull_up_high_ohm,
                spreads[n].loop_high_ohm * pull_up_ohm / spreads[n].pull_up_low_ohm,
                _STEPS + 1,
            )
            for n in closed
        ]
    )
    shares = band_probabilities([spreads[n] for n in closed], grids / (grids + pull_up_ohm))[:, 1:-1]
    for row, n in enumerate(closed):
        out[n] = (grids[row], shares[row])
    return out


def _lens(sheet: Sheet, left: float, item: CircuitForecast, density: tuple[Array, Array] | None, y: float) -> None:
    """Draw the spread of one act on its own straight axis, from worst corner to worst corner, with any band edge that lies inside."""
    if density is None:
        return
    ohm, share = density
    base, tall = y + 28, 22.0
    span = float(ohm[-1] - ohm[0])
    if span <= 0 or float(share.max()) <= 0:
        return
    xs = [left + _LENS_WIDTH * (n + 0.5) / _STEPS for n in range(_STEPS)]
    tops = [base - tall * float(value) / float(share.max()) for value in share]
    sheet.shape(((left, base), *zip(xs, tops, strict=True), (left + _LENS_WIDTH, base)))
    sheet.line(((left, base), *zip(xs, tops, strict=True), (left + _LENS_WIDTH, base)), look="lw-line", width=HAIR)
    sheet.line(((left, base), (left + _LENS_WIDTH, base)), look="lw-axis", width=HAIR)
    for edge in item.bands.edges_ohm if item.bands else ():
        if ohm[0] < edge < ohm[-1]:
            x = left + _LENS_WIDTH * (edge - float(ohm[0])) / span
            sheet.line(((x, base - tall - 3), (x, base + 4)), look="lw-short", width=FIRM)


def _foot(sheet: Sheet, plan: _Plan, height: float) -> None:
    words = "bar: worst corners; upright: nominal; hatched: nothing promised; scale changes at the edges"
    if not plan.narrow:
        words += "; hump: what the input sees with every part in tolerance, magnified"
    sheet.text(4, height - 8, words, look="lw-soft", size=9 if not plan.narrow else 8.4)
