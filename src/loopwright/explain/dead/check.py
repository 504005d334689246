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
    BETWEEN = "pair to pair"
    SUPPLY = "data to supply"
    EARTH = "earth"


@dataclass(frozen=True, kw_only=True, slots=True)
class DeadCheck:
    """One dead check: at which supply, output or circuit, what is done and what should be seen.

    A check has either ``answers``, the right one first, or a reading in ``unit`` from ``low`` to ``high``; at or below ``short_ohm`` [Ω]
    cores touch. ``feeds``: power comes on there, so that a short is never signed past. ``known`` says what the expectation comes from,
    ``caution`` what to mind, in brief.
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
    feeds: bool = False
    known: str = ""
    caution: str = ""

    @property
    def key(self) -> str:
        """Return the name of the check, the same for the same job."""
        return f"{self.where}/{self.kind}"


def supply_checks(job: Job) -> Iterator[DeadCheck]:
    """Yield the checks of every supply: its mains, its battery, its terminals."""
    for name, item in job.equipment.items():
        supply = job.sheet_of(name).supply
        if supply is None:
            continue
        named = label(job, name)
        yield _asked(
            name, DeadKind.MAINS, f"Mains of {named}: off, locked off and proved dead by a licensed person",
            ("proved dead", "not proved dead"), expects="off and proved dead", caution="mains",
        )  # fmt: skip
        if item.battery is not None:
            nominal = job.sheets.batteries[item.battery.sheet].nominal_v
            yield _asked(
                name, DeadKind.BATTERY_OFF, f"Battery of {named}: both leads off its posts", ("off", "still on"), caution="battery"
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
        least = supply.output_v / supply.limit_a
        yield ohms(
            name, DeadKind.TERMINALS, f"Ohms across the dc terminals of {named}, everything landed; wait until the reading stands still",
            low=least, short_ohm=TOUCH_OHM, feeds=True,
            known="less would take more than the supply can give; what its electronics read is not on the sheet",
        )  # fmt: skip


def _asked(where: str, kind: DeadKind, words: str, answers: tuple[str, ...], *, expects: str = "", caution: str = "") -> DeadCheck:
    """Return a check that is answered with a word, the right one first."""
    return DeadCheck(where=where, kind=kind, words=words, expects=expects or answers[0], answers=answers, caution=caution)


def ohms(
    where: str, kind: DeadKind, words: str, *, low: float, high: float = math.inf, short_ohm: float = 0.0, feeds: bool = False, known: str
) -> DeadCheck:
    """Return a check that is read in ohms, from ``low`` to ``high`` [Ω]."""
    span = f"{show(low, 'Ω')} to {show(high, 'Ω')}" if math.isfinite(high) else f"more than {show(low, 'Ω')}"
    expects = "over range" if math.isinf(low) else span
    return DeadCheck(
        where=where, kind=kind, words=words, expects=expects, unit="Ω", low=low, high=high, short_ohm=short_ohm, feeds=feeds, known=known
    )


def apart(where: str, kind: DeadKind, words: str) -> DeadCheck:
    """Return the check of cores that have nothing to do with each other, or with earth."""
    known = "a plain meter; never an insulation tester while electronics are connected"
    return DeadCheck(where=where, kind=kind, words=words, expects="over 1 MΩ", unit="Ω", low=LEAST_EARTH_OHM, known=known)


def output_checks(job: Job, network: PowerNetwork) -> Iterator[DeadCheck]:
    """Yield the checks of every output with a cable: which way round, its ohms, earth."""
    fed: dict[str, list[Landing]] = {}
    for landing in network.landings:
        if landing.output and landing.runs:
            fed.setdefault(landing.output, []).append(landing)
    for output, landings in fed.items():
        unit, _, terminal = output.partition(".")
        where = f"{terminal} of {label(job, unit)}"
        ends = list(dict.fromkeys(label(job, each.equipment) for each in landings))
        names = ", ".join(ends[:MOST_NAMES]) + (f" and {len(ends) - MOST_NAMES} more" if len(ends) > MOST_NAMES else "")
        words = f"Output {where}: plus lands on plus, 0 V on 0 V, at {names}"
        yield _asked(output, DeadKind.POLARITY, words, ("right way round", "reversed"))
        yield _pair(job, output, where, landings)
        yield apart(output, DeadKind.EARTH, f"Output {where}: each core to earth, cores out of their terminals")


def _pair(job: Job, output: str, where: str, landings: Sequence[Landing]) -> DeadCheck:
    draws = [job.sheet_of(each.equipment).loads[each.load] for each in landings if each.load in job.sheet_of(each.equipment).loads]
    siemens = sum(max(draw.amperes()) / draw.nominal_v for draw in draws)
    plain = sum(max(draw.amperes()) / draw.nominal_v for draw in draws if draw.law is LoadLaw.RESISTIVE)
    cable = max((sum(loop_ohm(job, run) for run in each.runs) for each in landings), default=0.0)
    low = 1 / siemens if siemens else 0.0
    known = "what the equipment takes at work; without power its electronics read more, how much is not on the sheet"
    if plain:
        known = "of the plain loads among them; electronics beside them can only take it lower"
    return ohms(
        output, DeadKind.PAIR, f"Output {where}: ohms between its two cores, out of their terminals",
        low=low, high=(1 / plain) * 1.2 + cable if plain else math.inf,
        # Where the equipment at work is as good as a short by ohms, nothing is told from one.
        short_ohm=min(cable + TOUCH_OHM, 0.8 * low) if low else cable + TOUCH_OHM, feeds=True, known=known,
    )  # fmt: skip


def loop_ohm(job: Job, run: str) -> float:
    """Return the ohms there and back of a run [Ω]; naught while its length is not known."""
    cable = job.cables[run]
    if cable.length_m + cable.slack_m <= 0:
        return 0.0
    line = line_of(job, run)
    return line.ohm_per_m * line.length_m


def circuit_checks(job: Job, circuits: Sequence[CircuitForecast]) -> Iterator[DeadCheck]:
    """Yield the checks of every landed circuit: its ohms without power, what else goes through its cables, earth."""
    landed = [item.network for item in circuits if item.network.landed and item.circuit in job.circuits]
    quiet = [_unpowered(job, network) for network in landed]
    for network, reading in zip(landed, read_loops(quiet), strict=True):
        name = network.circuit
        ohm, spread = float(reading.field_ohm[0]), float(spread_ohm(network, reading)[0])
        room = SPREADS * spread + METER_SHARE * ohm + METER_OHM
        open_ = math.isinf(ohm)
        yield ohms(
            name, DeadKind.PAIR, f"Circuit {name}: ohms between its two cores, both out of their terminals",
            low=math.inf if open_ else max(ohm - room, 0.0), high=math.inf if open_ else ohm + room,
            short_ohm=sum(loop_ohm(job, hop.cable) for hop in job.circuits[name].path) + TOUCH_OHM,
            known="the design, its detectors’ relays let go" if let_go_of(job, name) else "the design, everything at rest",
        )  # fmt: skip
        beside = beside_in_cables(job, name)
        if beside:
            words = f"Circuit {name}: each of its cores to each other core in its cables ({', '.join(beside)}), all out of their terminals"
            yield apart(name, DeadKind.BETWEEN, words)
        yield apart(name, DeadKind.EARTH, f"Circuit {name}: each core to earth, both out of their terminals")


def beside_in_cables(job: Job, circuit: str) -> tuple[str, ...]:
    """Return what else goes through the runs of a circuit: supply pairs, the data bus, other circuits that share no core with it."""
    runs = {hop.cable for hop in job.circuits[circuit].path}
    shared = {hop.shares_return_with for hop in job.circuits[circuit].path}
    found: dict[str, None] = {}
    for run in runs:
        found |= dict.fromkeys(feed.output for feed in job.cables[run].feeds)
        found |= dict.fromkeys(["data bus"] if job.cables[run].bus else [])
    for name, other in job.circuits.items():
        if name != circuit and any(hop.cable in runs for hop in other.path):
            if name not in shared and not any(hop.shares_return_with == circuit for hop in other.path):
                found[f"circuit {name}"] = None
    return tuple(found)


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
