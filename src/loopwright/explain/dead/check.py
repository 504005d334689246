"""Before power: what every pair and supply must read with nothing on, and what keeps the power off.

Expected ohms come from the same network as every forecast. Without power a detector's relay lets go (common practice), so that a pair
then reads as with its alarm contact open. What electronics read without power no sheet says: of a supply pair only the least is known.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from loopwright.circuits.forecast import CircuitForecast
from loopwright.explain.along.cable_fault import line_of
from loopwright.explain.circuit.check import label
from loopwright.explain.circuit.edit import edited
from loopwright.explain.circuit.place import CircuitPlaces
from loopwright.explain.circuit.reading import spread_ohm
from loopwright.explain.meter import Shown
from loopwright.job.document import Job
from loopwright.job.sheet import LoadLaw, RestPosition
from loopwright.netlist.compile import Landing, PowerNetwork
from loopwright.netlist.loop import LoopNetwork, read_loops
from loopwright.values.figure import show

NO_POWER = "no power"
"""The state of everything while dead checks are made, as an observation writes it."""
LEAST_EARTH_OHM = 1e6
"""A core sound to earth reads more than this [Ω] (common practice, no source); never with an insulation tester on electronics."""
TOUCH_OHM = 1.0
"""Two cores that touch, with the tips of the meter, read no more than their cable and this [Ω] (common practice, no source)."""
SPREADS, METER_SHARE, METER_OHM = 2.5, 0.01, 1.0
"""A pair reads within so many spreads of its parts, and a meter's 1 per cent and an ohm, of its design (common practice, no source)."""
FLAT_SHARE = 0.95
"""A battery below this share of its nominal volts is flat: charge or change it before it is connected (common practice, no source)."""

MOST_NAMES = 4


class DeadKind(StrEnum):
    """What is looked at."""

    MAINS = "mains dead"
    BATTERY_OFF = "battery off"
    BATTERY = "battery"
    TERMINALS = "terminals"
    POLARITY = "polarity"
    PAIR = "pair"
    EARTH = "earth"


class Weight(StrEnum):
    """What a finding means for the power-up. ``NEVER``: it stays off; ``STOP``: until mended, or signed past with a reason."""

    RIGHT = "as it should be"
    ODD = "not as it should be"
    STOP = "stops the power-up"
    NEVER = "stops the power-up; cannot be signed past"


@dataclass(frozen=True, kw_only=True, slots=True)
class DeadCheck:
    """One dead check: at which supply, output or circuit, what is done and what should be seen.

    A check has either ``answers``, the right one first, or a reading in ``unit`` from ``low`` to ``high``; at or below ``short_ohm`` [Ω]
    cores touch. ``known`` says what the expectation comes from, ``caution`` what to mind, in brief.
    """

    where: str
    kind: DeadKind
    words: str
    expects: str
    answers: tuple[str, ...] = ()
    unit: str = ""
    low: float = 0.0
    high: float = math.inf
    short_ohm: float = 0.0
    known: str = ""
    caution: str = ""

    @property
    def key(self) -> str:
        """Return the name of the check, the same for the same job."""
        return f"{self.where}/{self.kind}"


@dataclass(frozen=True, slots=True)
class Judged:
    """What an entry comes to: a weight, and the sentence that says why."""

    weight: Weight
    sentence: str


def dead_checks(job: Job, network: PowerNetwork, circuits: Sequence[CircuitForecast]) -> tuple[DeadCheck, ...]:
    """Return the dead checks of every supply, every output with a cable, and every landed circuit, in the order in which to make them."""
    return (*_supplies(job), *_outputs(job, network), *_circuits(job, circuits))


def _supplies(job: Job) -> Iterator[DeadCheck]:
    for name, item in job.equipment.items():
        supply = job.sheet_of(name).supply
        if supply is None:
            continue
        named = label(job, name)
        yield DeadCheck(
            where=name,
            kind=DeadKind.MAINS,
            words=f"Mains of {named}: off, locked off and proved dead by a licensed person",
            expects="off and proved dead",
            answers=("proved dead", "not proved dead"),
            caution="mains",
        )
        if item.battery is not None:
            nominal = job.sheets.batteries[item.battery.sheet].nominal_v
            yield DeadCheck(
                where=name,
                kind=DeadKind.BATTERY_OFF,
                words=f"Battery of {named}: both leads off its posts",
                expects="off",
                answers=("off", "still on"),
                caution="battery",
            )
            yield DeadCheck(
                where=name,
                kind=DeadKind.BATTERY,
                words=f"Battery of {named}: red tip on the post the plus lead will go to, black on the other",
                expects=f"about {nominal:g} V, not below naught",
                unit="V",
                low=FLAT_SHARE * nominal,
                high=nominal * 1.15,
                known="below naught it is the wrong way round",
                caution="battery",
            )
        yield DeadCheck(
            where=name,
            kind=DeadKind.TERMINALS,
            words=f"Ohms across the dc terminals of {named}, everything landed; wait until the reading stands still",
            expects=f"more than {show(supply.output_v / supply.limit_a, 'Ω')}",
            unit="Ω",
            low=supply.output_v / supply.limit_a,
            short_ohm=TOUCH_OHM,
            known="less would take more than the supply can give; what its electronics read is not on the sheet",
        )


def _outputs(job: Job, network: PowerNetwork) -> Iterator[DeadCheck]:
    fed: dict[str, list[Landing]] = {}
    for landing in network.landings:
        if landing.output and landing.runs:
            fed.setdefault(landing.output, []).append(landing)
    for output, landings in fed.items():
        unit, _, terminal = output.partition(".")
        where = f"{terminal} of {label(job, unit)}"
        ends = list(dict.fromkeys(label(job, each.equipment) for each in landings))
        names = ", ".join(ends[:MOST_NAMES]) + (f" and {len(ends) - MOST_NAMES} more" if len(ends) > MOST_NAMES else "")
        yield DeadCheck(
            where=output,
            kind=DeadKind.POLARITY,
            words=f"Output {where}: plus lands on plus, 0 V on 0 V, at {names}",
            expects="right way round",
            answers=("right way round", "reversed"),
        )
        yield _pair(job, output, where, landings)
        yield _earth(output, f"Output {where}: each core to earth, cores out of their terminals")


def _pair(job: Job, output: str, where: str, landings: Sequence[Landing]) -> DeadCheck:
    draws = [job.sheet_of(each.equipment).loads[each.load] for each in landings if each.load in job.sheet_of(each.equipment).loads]
    siemens = sum(max(draw.amperes()) / draw.nominal_v for draw in draws)
    plain = sum(max(draw.amperes()) / draw.nominal_v for draw in draws if draw.law is LoadLaw.RESISTIVE)
    cable = max((sum(_loop_ohm(job, run) for run in each.runs) for each in landings), default=0.0)
    low = 1 / siemens if siemens else 0.0
    high = (1 / plain) * 1.2 + cable if plain else math.inf
    known = "what the equipment takes at work; without power its electronics read more, how much is not on the sheet"
    if plain:
        known = "of the plain loads among them; electronics beside them can only take it lower"
    # Where the equipment at work is as good as a short by ohms, nothing is told from one.
    short = min(cable + TOUCH_OHM, 0.8 * low) if low else cable + TOUCH_OHM
    return DeadCheck(
        where=output,
        kind=DeadKind.PAIR,
        words=f"Output {where}: ohms between its two cores, out of their terminals",
        expects=f"more than {show(low, 'Ω')}" + (f", less than {show(high, 'Ω')}" if math.isfinite(high) else ""),
        unit="Ω",
        low=low,
        high=high,
        short_ohm=short,
        known=known,
    )


def _loop_ohm(job: Job, run: str) -> float:
    cable = job.cables[run]
    if cable.length_m + cable.slack_m <= 0:
        return 0.0
    line = line_of(job, run)
    return line.ohm_per_m * line.length_m


def _earth(where: str, words: str) -> DeadCheck:
    return DeadCheck(
        where=where,
        kind=DeadKind.EARTH,
        words=words,
        expects="over 1 MΩ",
        unit="Ω",
        low=LEAST_EARTH_OHM,
        known="a plain meter; never an insulation tester while electronics are connected",
    )


def _circuits(job: Job, circuits: Sequence[CircuitForecast]) -> Iterator[DeadCheck]:
    landed = [item.network for item in circuits if item.network.landed and item.circuit in job.circuits]
    quiet = [_unpowered(job, network) for network in landed]
    for network, reading in zip(landed, read_loops(quiet), strict=True):
        ohm, spread = float(reading.field_ohm[0]), float(spread_ohm(network, reading)[0])
        room = SPREADS * spread + METER_SHARE * ohm + METER_OHM
        open_ = math.isinf(ohm)
        let_go = bool(let_go_of(job, network.circuit))
        cable = sum(_loop_ohm(job, hop.cable) for hop in job.circuits[network.circuit].path)
        yield DeadCheck(
            where=network.circuit,
            kind=DeadKind.PAIR,
            words=f"Circuit {network.circuit}: ohms between its two cores, both out of their terminals",
            expects="over range" if open_ else f"{show(max(ohm - room, 0.0), 'Ω')} to {show(ohm + room, 'Ω')}",
            unit="Ω",
            low=math.inf if open_ else max(ohm - room, 0.0),
            high=math.inf if open_ else ohm + room,
            short_ohm=cable + TOUCH_OHM,
            known="the design, its detectors’ relays let go" if let_go else "the design, everything at rest",
        )
        yield _earth(network.circuit, f"Circuit {network.circuit}: each core to earth, both out of their terminals")


def let_go_of(job: Job, circuit: str) -> tuple[str, ...]:
    """Return the devices of a circuit whose alarm contact opens when their supply is gone."""
    hops = [hop for hop in job.circuits[circuit].path if hop.device is not None and "alarm" in hop.contacts]
    sheets = {hop.device: job.sheet_of(hop.device) for hop in hops if hop.device is not None}
    return tuple(
        name
        for name, sheet in sheets.items()
        if sheet.loads and "alarm" in sheet.contacts and sheet.contacts["alarm"].rest is RestPosition.CLOSED
    )


def _unpowered(job: Job, network: LoopNetwork) -> LoopNetwork:
    """Return a circuit as it is without power: the relays of its powered devices let go."""
    places = CircuitPlaces(job, network)
    way = tuple(("open", places.contact_of(device)) for device in let_go_of(job, network.circuit))
    return edited(job, network, way, {})


def judge(check: DeadCheck, shown: Shown | None, word: str) -> Judged:
    """Return what an entry comes to: a reading, or one of the check's answers. Raises ValueError for what is neither."""
    if check.answers:
        if word not in check.answers:
            raise ValueError(f"‘{word}’ is no answer here. Accepted: {' or '.join(check.answers)}.")
        return _answered(check, word)
    if shown is None or (shown.unit != check.unit and not (shown.over_range and check.unit == "Ω")):
        raise ValueError(f"{'Ohms' if check.unit == 'Ω' else 'Volts'} are read here, with their unit.")
    return _of_battery(check, shown.value) if check.unit == "V" else _of_ohms(check, shown.value)


def _answered(check: DeadCheck, word: str) -> Judged:
    if word == check.answers[0]:
        return Judged(Weight.RIGHT, "")
    return {
        DeadKind.MAINS: Judged(Weight.NEVER, "The mains is not proved dead: nothing is touched until a licensed person has done it."),
        DeadKind.BATTERY_OFF: Judged(Weight.STOP, "The battery is on: ohms read on a live pair are false. Take its leads off first."),
        DeadKind.POLARITY: Judged(Weight.STOP, "The supply pair is reversed: with power on, what hangs on it may be destroyed."),
    }[check.kind]


def _of_battery(check: DeadCheck, volts: float) -> Judged:
    if volts < -TOUCH_OHM:
        return Judged(Weight.NEVER, "The battery is the wrong way round: connected so, it destroys the supply and may burn.")
    if volts < check.low:
        return Judged(Weight.ODD, f"Below {check.low:.1f} V it is flat: charge or change it before it is connected.")
    if volts > check.high:
        return Judged(Weight.STOP, f"More than {check.high:.1f} V: another voltage, or no battery of this job.")
    return Judged(Weight.RIGHT, "")


def _of_ohms(check: DeadCheck, ohm: float) -> Judged:
    shorted = ohm <= check.short_ohm and check.kind is not DeadKind.EARTH
    if shorted and (check.kind is DeadKind.TERMINALS or "." in check.where):
        return Judged(Weight.NEVER, f"Shorted: {show(ohm, 'Ω')} is no more than the cable itself. Part it cable by cable until it goes.")
    if check.low <= ohm <= check.high:
        return Judged(Weight.RIGHT, "")
    if shorted:
        return Judged(Weight.STOP, f"The two cores touch: {show(ohm, 'Ω')} is no more than the cable itself.")
    if check.kind is DeadKind.EARTH:
        return Judged(Weight.STOP, f"A leak to earth of {show(ohm, 'Ω')}: find the pinched core before power comes on.")
    if "." in check.where or check.kind is DeadKind.TERMINALS:
        if ohm < check.low:
            return Judged(Weight.STOP, "Less than everything on it takes at work: something lies across the pair, or is reversed.")
        return Judged(Weight.ODD, "More than its plain loads read: something is not connected yet.")
    way = "less" if ohm < check.low else "more"
    return Judged(Weight.ODD, f"{way.capitalize()} than the design by more than parts and meter allow: the five readings tell what it is.")
