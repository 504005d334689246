"""What every check of a circuit reads under every variant of its network: means, tolerances, and what the keypad shows.

The tolerance of a reading is the root of the sum of the squares of its parts': each factor of a circuit uniform between its bounds, by
the weight it has in the reading (Cohn's theorem, :mod:`loopwright.netlist.variants`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from loopwright.circuits.forecast import BandTable
from loopwright.explain.amount import widened
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit.capacitance import Drum, capacitances
from loopwright.explain.circuit.check import STATES
from loopwright.explain.hypothesis import Floats, Predicted
from loopwright.job.sheet import Reads
from loopwright.netlist.element import PullUp
from loopwright.netlist.loop import ActKind, LoopNetwork, LoopReading
from loopwright.netlist.variants import VariantReadings, spread_of

WATCHING_VOLTS_SD = 0.01 / math.sqrt(3)
"""Spread of the watching volts about the sheet's, as a share: 1 per cent to either side (judgement, no source)."""
LEAST_SD_OHM = 0.05
"""Spread [Ω] of any reading of ohms: contact of the tips."""
LEAST_SHARE = 1e-6
SHOWS: dict[Reads | None, dict[str, float]] = {
    Reads.REST: {"rest": 1.0},
    Reads.ACTIVE: {"active": 1.0},
    Reads.FAULT: {"fault": 1.0},
    Reads.BOTH: {"active": 1.0},
    Reads.OPEN: {"tamper": 1.0},
    Reads.SHORT: {"tamper": 1.0},
}
"""What the keypad shows for each band where one resistor more tells a cut from an alarm."""
SHOWS_PLAIN = SHOWS | {Reads.OPEN: {"active": 1.0}, Reads.SHORT: {"active": 0.5, "tamper": 0.5}}
ANOTHER = np.array([{"rest": 0.6, "active": 0.25, "tamper": 0.1, "fault": 0.05}[word] for word in STATES])
"""What the keypad shows of an input that something else than this circuit hangs on, or nothing: at any time, in any act (judgement)."""
"""The same where it does not: an open circuit is an alarm; a short is shown as either (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Loops:
    """The solved variants of one circuit. ``cores`` is NaN where the field cores alone read as the terminals do."""

    networks: tuple[LoopNetwork, ...]
    readings: VariantReadings
    cores: Floats
    bands: tuple[BandTable | None, ...]
    nominal: PullUp
    pull_up_share: float
    series: NDArray[np.int64]
    drum: Drum
    elsewhere: NDArray[np.bool_]
    """Whether the devices hang on another input, so that nothing done to them moves this circuit."""


def contacts_wanted(network: LoopNetwork) -> list[tuple[str, int]]:
    """Return the alarm contact of every device, at rest and operated, each with its act: what a meter across it reads."""
    moved = [(act.changes[0][0], number) for number, act in enumerate(network.acts) if act.kind is ActKind.ACTIVATED]
    return [(name, act) for name, number in moved for act in (0, number)]


def predict(
    loops: Loops, checks: tuple[Check, ...], looks: dict[int, Floats], *, owner: NDArray[np.int64], share: Floats, present: Floats
) -> Predicted:
    """Return what each of ``checks`` reads under each variant. ``looks`` are the chances of the last of them, by their number there."""
    ohm, ohm_sd, ratio, ratio_sd, volts = _series(loops)
    acts = {(act.kind, act.device or ""): column for column, act in enumerate(loops.networks[0].acts)}
    shape = (len(loops.networks), len(checks))
    mean, sd = np.full(shape, np.nan), np.full(shape, np.nan)
    metered = len(checks) - len(looks)
    chances = {metered + number: values for number, values in looks.items()}
    kinds: dict[CheckKind, list[int]] = {}
    for column, check in enumerate(checks[:metered]):
        kinds.setdefault(check.kind, []).append(column)
    for kind, columns in kinds.items():
        act = [acts.get((checks[column].act, checks[column].device), 0) for column in columns]
        if kind is CheckKind.CONTACT_OHM:
            for column in columns:
                mean[:, column], sd[:, column] = _contact(loops, checks[column])
        elif kind is CheckKind.CAPACITANCE:
            for column in columns:
                mean[:, column], sd[:, column] = capacitances(loops.networks, _cores(loops, ohm)[:, 0], loops.drum)
        elif kind is CheckKind.STATE:
            shown = _states(loops, ratio[:, act], ratio_sd[:, act])
            # The keypad speaks of what hangs on the input, whatever is done here.
            shown[loops.elsewhere] = ANOTHER
            chances |= {column: shown[:, number] for number, column in enumerate(columns)}
        elif kind is CheckKind.VOLTS:
            mean[:, columns] = volts[:, act]
            sd[:, columns] = np.hypot(ratio_sd[:, act] * loops.nominal.open_v, volts[:, act] * WATCHING_VOLTS_SD)
        else:
            mean[:, columns] = (_cores(loops, ohm) if kind is CheckKind.CORES_OHM else ohm)[:, act]
            sd[:, columns] = ohm_sd[:, act]
    return Predicted(checks=checks, mean=mean, sd=sd, chances=chances, owner=owner, share=share, present=present)


def _cores(loops: Loops, ohm: Floats) -> Floats:
    """Return the ohms of the field cores alone, (variants, acts)."""
    return np.where(np.isnan(loops.cores), ohm, loops.cores)


def _series(loops: Loops) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return ohms and their spread, the share of the watching volts and its spread, and volts; (variants, acts) each."""
    ohm, volts = loops.readings.field_ohm, loops.readings.volts_v
    spread = np.hypot(loops.readings.spread_ohm, LEAST_SD_OHM)
    ratio = volts / loops.nominal.open_v
    # V / V_pu = R / (R + R_pu), so d(ratio) = ratio (1 - ratio) d(ln R - ln R_pu).
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(np.isinf(ohm) | (ohm <= 0), 0.0, spread / np.maximum(ohm, 1e-9))
    own = ratio * (1 - ratio)
    ratio_sd = np.maximum(own * np.hypot(np.minimum(relative, 1.0), loops.pull_up_share / math.sqrt(3)), LEAST_SHARE)
    return ohm, widened(ohm, spread, loops.series), ratio, widened(ratio, ratio_sd, loops.series), volts


def spread_ohm(network: LoopNetwork, reading: LoopReading) -> Floats:
    """Return the spread [Ω] of one circuit's loop in each act."""
    return np.hypot(spread_of(network, reading), LEAST_SD_OHM)


def _contact(loops: Loops, check: Check) -> tuple[Floats, Floats]:
    """Return the ohms across a contact by itself, at rest or operated, in every variant."""
    acts = loops.networks[0].acts
    operated = next((act for act in acts if act.kind is ActKind.ACTIVATED and act.device == check.device), None)
    if operated is None:
        return np.full(len(loops.networks), np.inf), np.full(len(loops.networks), LEAST_SD_OHM)
    name, ohm = operated.changes[0]
    position = acts.index(operated) if check.act is ActKind.ACTIVATED else 0
    out = loops.readings.ohm[:, contacts_wanted(loops.networks[0]).index((name, position))]
    if check.act is ActKind.ACTIVATED:
        # A device that hangs on another input moves nothing here, but its own contact moves.
        out = np.where(loops.elsewhere, ohm, out)
    return out, np.maximum(0.1 * np.where(np.isinf(out), 0.0, out), LEAST_SD_OHM)


def _states(loops: Loops, ratio: Floats, ratio_sd: Floats) -> Floats:
    """Return the chance of each word the keypad can show, (variants, acts, words)."""
    out = np.zeros((*ratio.shape, len(STATES)))
    which = np.array([id(own) for own in loops.bands])
    for row in np.unique(which, return_index=True)[1].tolist():
        table, rows = loops.bands[row], which == which[row]
        if table is None:
            out[rows] = 1.0 / len(STATES)
            continue
        edges = np.array([edge / (edge + loops.nominal.ohm) for edge in table.edges_ohm])
        below = ndtr((edges - ratio[rows][..., None]) / ratio_sd[rows][..., None])
        chance = np.diff(below, axis=2, prepend=0.0, append=1.0)
        plain = not {Reads.ACTIVE, Reads.FAULT} & set(table.reads)
        out[rows] = chance @ _words(table, SHOWS_PLAIN if plain else SHOWS)
    return out


def _words(table: BandTable, shows: dict[Reads | None, dict[str, float]]) -> Floats:
    """Return the (bands, words) chances; in a gap the unit may hold to either neighbour, since nothing is promised there."""
    rows = []
    for position, reads in enumerate(table.reads):
        beside = (*table.reads[max(position - 1, 0) : position], *table.reads[position + 1 :][:1])
        near = [reads] if reads is not None else [each for each in beside if each is not None]
        mixed = [shows[each] for each in near] or [dict.fromkeys(STATES, 1.0 / len(STATES))]
        rows.append([sum(each.get(word, 0.0) for each in mixed) / len(mixed) for word in STATES])
    return np.array(rows)
