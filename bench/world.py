"""Blind cases: what is wrong is drawn by the catalogue's weights, and answers come from simulators apart from the program's.

Circuits are ``bench/ladder.py``, supplies, runs and watched outputs ``bench/supply.py``; what no network shows (the bus, troubles at the
keypad, looks, what is told) is drawn by the chances the catalogue states. Parts lie anywhere in their tolerance, amounts anywhere in their
range. In a quarter of what is drawn nothing is wrong, as the program takes it; what shows nothing to complain of is no case. The same
check done again has errors of its own.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from random import Random

import numpy as np

from ladder import Ladder, put_in
from loopwright.explain.catalogue import faults
from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.explain import Inquiry, powered_devices
from loopwright.explain.hypothesis import Hypothesis
from loopwright.explain.learned import NONE_OF_THESE, NOTHING
from loopwright.explain.meter import LEAST_STEP, Instrument, Mistake, Shown
from loopwright.explain.observation import Observations
from loopwright.explain.weigh.likelihood import COMES_AND_GOES, Rows, Seen
from loopwright.explain.weigh.posterior import TWO_FAULTS
from loopwright.explain.whole.history import BEGINS, SINCE, STAYS, stays
from loopwright.explain.whole.part import FITFUL, SHOWN, STEADY, told
from loopwright.explain.whole.place import devices_at
from loopwright.explain.whole.scope import OPERATED, UNDONE
from loopwright.explain.whole.word import HISTORY, words
from loopwright.job.document import Job
from loopwright.netlist.loop import ActKind
from supply import STATE, Sounders, Supply, put_in_sounders, put_in_supply

ACTS = {
    ActKind.REST: "rest",
    ActKind.ACTIVATED: "operated",
    ActKind.LID_OPEN: "lid",
    ActKind.FAULT: "fault",
    ActKind.SHORTED: "shorted",
    ActKind.CUT: "cut",
    ActKind.ALL_ACTIVATED: "all",
    ActKind.LIFTED: "lifted",
}
SYMPTOMS = (ActKind.REST, ActKind.ACTIVATED, ActKind.LID_OPEN, ActKind.SHORTED)
AT_ZONES = ("detector", "contact", "sensing", "zone")
COMPLAINTS = ("alarms", "silent", "entry", "exit", "wont-set", "nothing-arrives")
BUS_WORDS = ("missing", "others", "tamper", "ghost")
SUPPLY_WORDS = ("mains", "battery", "aux")
STATED = {"bus": 0.01, "power": 0.01, "silent": 0.02, "unfed": 0.97}
"""The chances the program states for what a fault does not make, and for a device without a supply."""
CIRCUIT_KINDS = (CheckKind.STATE, CheckKind.OHM, CheckKind.CORES_OHM, CheckKind.VOLTS, CheckKind.CONTACT_OHM, CheckKind.CAPACITANCE)


class Unknown(Exception):
    """The simulators do not know this fault."""


@dataclass
class World:
    """One blind case: everything as it is, which nobody may look into but through checks."""

    job: Job
    truths: tuple[Hypothesis, ...]
    draw: Random
    blunders: float
    meter: Instrument = field(default_factory=Instrument)
    made: dict[object, object] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Draw how far off the meter is, and put the faults in so that an unknown one is told at once."""
        self.seed = self.draw.random()
        self.gain = 1 + self.draw.uniform(-1, 1) * self.meter.accuracy_pct / 100
        for truth in self.truths:
            where = truth.part.partition("/")[2]
            if truth.part.startswith("circuits/"):
                self.ladder(where, truth, frozenset())
            elif truth.part.startswith("outputs/"):
                self.sounders(where, truth)
            elif truth.part == "power":
                self.supply(truth)
            elif truth.part not in ("bus", "system"):
                raise Unknown(truth.fault.id)

    def kept(self, key: object, make: Callable[[], object]) -> object:
        """Return what is under ``key``, made the first time."""
        if key not in self.made:
            self.made[key] = make()
        return self.made[key]

    def ladder(self, circuit: str, truth: Hypothesis | None, open_: frozenset[str]) -> Ladder:
        """Return a circuit with a fault in it, or with the relays of some devices let go: dark ones, or those that truly see something."""

        def make() -> Ladder:
            ladder = Ladder(self.job, circuit, Random(self.seed))
            put = Random(self.seed + 1)
            topologies = [t.value for t in ladder.inputs.bands if t.value != ladder.topology]
            if truth is not None and truth.fault.ways != ((),) and not put_in(ladder, truth.fault.id, truth.place, put, topologies):
                raise Unknown(truth.fault.id)
            for device in open_:
                name = f"alarm{ladder.device(device)}"
                ladder.ohm[name] = 1e13
                ladder.held.add(name)
            return ladder

        return self.kept(("ladder", circuit, truth.key if truth else "", open_), make)  # type: ignore[return-value]

    def supply(self, truth: Hypothesis | None) -> Supply:
        """Return the supply with a fault in it."""

        def make() -> Supply:
            supply = Supply(self.job, "control", Random(self.seed))
            if truth is not None and not put_in_supply(supply, truth.fault.id, truth.place, Random(self.seed + 1)):
                raise Unknown(truth.fault.id)
            return supply

        return self.kept(("supply", truth.key if truth else ""), make)  # type: ignore[return-value]

    def sounders(self, output: str, truth: Hypothesis | None) -> Sounders:
        """Return a watched output with a fault in it."""

        def make() -> Sounders:
            pair = Sounders(self.job, output, Random(self.seed))
            if truth is not None and not put_in_sounders(pair, truth.fault.id, truth.place, Random(self.seed + 1)):
                raise Unknown(truth.fault.id)
            return pair

        return self.kept(("sounders", output, truth.key if truth else ""), make)  # type: ignore[return-value]

    def at(self, part: str, check: Check) -> Hypothesis | None:
        """Return the fault of a part if there is one and it shows just now."""
        truth = next((each for each in self.truths if each.part == part), None)
        if truth is None or check.kind in COMES_AND_GOES and self.draw.random() >= truth.fault.present:
            return None
        return truth

    def dark(self, devices: Sequence[str], truth: Hypothesis | None) -> frozenset[str]:
        """Return which of some devices have no supply because of a fault."""
        if truth is None:
            return frozenset()
        return frozenset(device for device in devices if self.supply(truth).dark(device) and not self.supply(None).dark(device))

    def check(self, check: Check) -> Seen:
        """Do a check and return what is seen."""
        if check.kind is CheckKind.LOOK:
            look = faults()[check.fault].look
            assert look is not None
            yes = max((self._look(check, truth) for truth in self.truths), default=look.false)
            return self._word(check, "yes" if self.draw.random() < yes else "no", YES_NO)
        if check.kind is CheckKind.TOLD:
            chances = self._told(check)
            outcomes = words()[check.scenario].outcomes
            return self._word(check, self.draw.choices(outcomes, chances)[0], outcomes)
        if check.kind in CIRCUIT_KINDS and check.where in self.job.circuits:
            return self._circuit(check)
        if check.kind is CheckKind.OHM or "." in check.where and check.kind is CheckKind.TROUBLE:
            return self._output(check)
        if check.kind is CheckKind.TROUBLE:
            yes = self._bus(check) if check.scenario in BUS_WORDS else self._trouble(check)
            return self._word(check, "yes" if self.draw.random() < yes else "no", YES_NO)
        return self._power(check)

    def _look(self, check: Check, truth: Hypothesis) -> float:
        look = faults()[check.fault].look
        assert look is not None
        same = not check.place or not truth.place or check.place == truth.place
        if check.where != truth.part:
            return look.false
        if check.fault == truth.fault.id and check.place == truth.place:
            return look.hit
        return look.also.get(truth.fault.id, look.false) if same else look.false

    def _told(self, check: Check) -> list[float]:
        """Return the chance of each outcome of a word: that of the fault that speaks of it here, of either of two, or as with none."""
        word = words()[check.scenario]
        if word.at == HISTORY:
            fault = self.draw.choice(self.truths).fault if self.truths else None
            ways = BEGINS[fault.begins] if fault and word.id == SINCE else STAYS[stays(fault)] if fault else word.unmoved
            return list(ways)
        found = [word.chances(says[word.id]) for says in map(self._says, self.truths, [check] * len(self.truths)) if word.id in says]
        if len(found) == 2 and len(word.outcomes) == 2:
            no = found[0][1] * found[1][1] / word.unmoved[1]
            return [1 - min(no, 1.0), min(no, 1.0)]
        return (self.draw.choice(found) if found else word.unmoved).tolist()

    def _says(self, truth: Hypothesis, check: Check) -> Mapping[str, float | Mapping[str, float]]:
        """Return what a fault says of the zone a word is asked of."""
        circuit = self.job.zones[check.place].circuit if check.place in self.job.zones else None
        on_it = {circuit, check.place} | {hop.device for hop in (self.job.circuits[circuit].path if circuit else ())}
        if truth.part.startswith("circuits/"):
            own = truth.part.partition("/")[2]
            fitful = FITFUL if truth.fault.present < 1 else STEADY
            return {**fitful, **truth.fault.says} if not check.place or circuit == own else {}
        if truth.part == "system" and truth.place and check.place and truth.fault.at in AT_ZONES and truth.place not in on_it:
            return {}
        undone = {UNDONE[edit[1]]: SHOWN for way in truth.fault.ways for edit in way if edit[0] == "undo"}
        return {**undone, **truth.fault.says}

    def _circuit(self, check: Check) -> Seen:
        own = self.at(f"circuits/{check.where}", check)
        behind = self.at("power", check)
        sees = self.at("system", check)
        sees = sees if sees is not None and sees.fault.reads == OPERATED else None
        devices = {hop.device for hop in self.job.circuits[check.where].path}
        at = {self.sensing(sees, check.where)} if sees else set()
        open_ = self.dark(powered_devices(self.job, check.where), behind) | (at & devices)
        ladder = self.ladder(check.where, own, frozenset(open_))
        act = ACTS[check.act]
        if check.kind is CheckKind.STATE:
            return self._word(check, ladder.shown(act, check.device, self.draw), ("rest", "active", "tamper", "fault"))
        if check.kind is CheckKind.CAPACITANCE:
            return self._metered(check, ladder.nanofarads(), "nF", ladder.fitted_pull)
        if check.kind is CheckKind.VOLTS:
            return self._metered(check, ladder.volts(act, check.device) * self.draw.uniform(0.99, 1.01), "V", ladder.fitted_pull)
        if check.kind is CheckKind.CONTACT_OHM:
            value = ladder.state("operated" if check.act is ActKind.ACTIVATED else "rest", check.device)[
                f"alarm{ladder.device(check.device)}"
            ]
            return self._metered(check, math.inf if value > 1e12 else value, "Ω", ladder.fitted_pull)
        start = "E" if check.kind is CheckKind.CORES_OHM and "cabinet" in ladder.ohm else "T"
        return self._metered(check, ladder.loop_ohm(act, check.device, start), "Ω", ladder.fitted_pull)

    def sensing(self, sees: Hypothesis, circuit: str) -> str:
        """Return the device that truly sees something: that of the place, or of those that are one place any, the same all the visit."""
        if sees.place != circuit:
            return sees.place
        return Random(self.seed + 2).choice(devices_at(self.job, sees.fault.at, circuit))

    def _output(self, check: Check) -> Seen:
        own = self.at(f"outputs/{check.where}", check)
        pair = self.sounders(check.where, own)
        if check.scenario == "silent":
            chance = own.fault.trouble.get("silent", STATED["silent"]) if own else STATED["silent"]
            return self._word(check, "yes" if self.draw.random() < chance else "no", YES_NO)
        if check.kind is CheckKind.OHM:
            return self._metered(check, pair.loop_ohm(ACTS[check.act], check.device), "Ω", pair.pull)
        return self._word(check, "yes" if pair.trouble(ACTS[check.act], check.device) else "no", YES_NO)

    def _bus(self, check: Check) -> float:
        chances = [STATED["bus"]]
        for truth in self.truths:
            if truth.part == "power" and check.scenario == "missing" and self.dark([check.where], truth):
                chances.append(STATED["unfed"])
            if truth.part == "bus":
                told = truth.fault.trouble
                near = truth.place in ("", check.where)
                word = check.scenario if near else "others" if check.scenario in ("missing", "others") else ""
                chances = [told.get(word, STATED["bus"])]
        return max(chances)

    def _trouble(self, check: Check) -> float:
        return next((t.fault.trouble.get(check.scenario, STATED["power"]) for t in self.truths if t.part == "power"), STATED["power"])

    def _power(self, check: Check) -> Seen:
        supply = self.supply(self.at("power", check))
        word, _, feed = check.scenario.partition("/")
        state, mains = STATE.get(word, 0), feed != "battery"
        zero = f"{supply.name}-"
        kind = check.kind
        if kind is CheckKind.OUTPUT_AMPS:
            return self._metered(check, abs(supply.amps_out(check.where, state, mains=mains)), "A", math.inf)
        if kind is CheckKind.OUTPUT_VOLTS:
            point = check.where
            cut = point.endswith(".bells") and state != STATE["alarm"]
            value = 0.0 if cut else supply.across(point, zero, state, mains=mains)
        elif kind is CheckKind.BUS_VOLTS:
            value = supply.across("bus", zero, state, mains=mains)
        elif kind is CheckKind.DEVICE_VOLTS:
            device = check.where.partition(".")[0]
            value = supply.across(f"{device}+", f"{device}-", state, mains=mains)
        elif kind is CheckKind.SECONDARY_VOLTS:
            share = supply.marks.get("secondary", 1.0) * self.draw.uniform(1.0, 1.2)
            value = 0.0 if "no-secondary" in supply.marks else (supply.sheet.secondary_v or 0.0) * share
        else:
            named = {CheckKind.LEADS_VOLTS: "leads", CheckKind.FUSE_VOLTS: "fuse"}.get(kind, check.scenario)
            value = supply.battery_reads(named, state, mains=mains)
        return self._metered(check, value, "V", math.inf)

    def _word(self, check: Check, word: str, words: tuple[str, ...]) -> Seen:
        if self.draw.random() < self.blunders / 2:
            word = self.draw.choice(words)
        return Seen(check=check, told=(word,), text=word, meter=self.meter)

    def _metered(self, check: Check, value: float, unit: str, pull: float) -> Seen:
        if self.draw.random() < self.blunders:
            value = self._blunder(value, unit, pull)
        return Seen(check=check, shown=self.display(value, unit), text=f"{value:.4g} {unit}", meter=self.meter)

    def _blunder(self, value: float, unit: str, pull: float) -> float:
        kind = self.draw.choice([Mistake.WIRE_IN, Mistake.NO_CONTACT, Mistake.RANGE, Mistake.STRAY])
        if kind is Mistake.WIRE_IN and unit == "Ω":
            return pull if math.isinf(value) else value * pull / (value + pull)
        if kind is Mistake.NO_CONTACT:
            return math.inf if unit == "Ω" else 0.0
        if kind is Mistake.RANGE and math.isfinite(value):
            return value * self.draw.choice([0.001, 0.1, 10, 1000])
        return math.exp(self.draw.uniform(math.log(LEAST_STEP[unit]), math.log(self.meter.top(unit))))

    def display(self, value: float, unit: str) -> Shown:
        """Return the digits a meter shows: its gain, its last digits, its range."""
        if math.isinf(value) or abs(value) > self.meter.top(unit):
            return Shown(value=math.inf, half=0.0, unit=unit)
        step = float(self.meter.step(np.array(value), unit))
        leads = self.draw.uniform(0, 0.3) if unit == "Ω" else 0.0
        gain = 1 + (self.gain - 1) * (2.5 if unit == "nF" else 1.0)
        shown = value * gain + self.draw.uniform(-1, 1) * self.meter.digits * step + leads
        step = float(self.meter.step(np.array(shown), unit))
        shown = round(shown / step) * step
        return Shown(value=shown if unit == "V" else max(shown, 0.0), half=step / 2, unit=unit)


def first_checks(job: Job, group: str, draw: Random) -> list[Check]:
    """Return what is asked first of a place drawn at random: a circuit in all states, or the troubles of a supply, output or bus device;
    of the whole the troubles the keypad shows and what people complain of; of a zone that it gave alarms nobody meant."""
    if group == "circuit":
        name = draw.choice([c for c, circuit in job.circuits.items() if circuit.input])
        devices = [hop.device for hop in job.circuits[name].path if hop.device]
        return [
            Check(kind=CheckKind.STATE, where=name, act=act, device=d)
            for act in SYMPTOMS
            for d in (devices if act is not ActKind.REST else [""])
        ]
    if group == "power":
        asked = [Check(kind=CheckKind.TROUBLE, where="control", scenario=word) for word in SUPPLY_WORDS]
        return [*asked, Check(kind=CheckKind.OUTPUT_VOLTS, where="control.aux", scenario="unset/mains")]
    if group == "alarms":
        found = [name for name, zone in job.zones.items() if zone.circuit and any(devices_at(job, "sensing", zone.circuit))]
        return [told(words()["alarms"], draw.choice(found))]
    if group == "whole":
        asked = [word for word in words().values() if word.at != "radio" and (word.shows or word.id in COMPLAINTS)]
        return [told(word, "") for word in asked]
    if group == "sounder":
        return [
            Check(kind=CheckKind.TROUBLE, where="control.bells"),
            Check(kind=CheckKind.TROUBLE, where="control.bells", scenario="silent"),
        ]
    device = draw.choice([name for name in job.equipment if job.sheet_of(name).addressed])
    return [Check(kind=CheckKind.TROUBLE, where=device, scenario=word) for word in BUS_WORDS]


def complain(world: World, rows: Rows, checks: Sequence[Check]) -> list[Seen] | None:
    """Return what is known at first: what was asked up to the first state amiss, or all that was asked; None where nothing is amiss."""
    sound = World(world.job, (), Random(0), 0.0)
    known, amiss = [], False
    for check in checks:
        if rows.column(check) is None:
            continue
        seen = world.check(check)
        known.append(seen)
        if check.kind is CheckKind.STATE:
            # A short may be shown as either of two words: neither is amiss then.
            usual = {sound.check(check).told[0] for _ in range(8)}
            if not set(seen.told) & usual:
                return known
        elif seen.shown is not None:
            amiss = amiss or abs(seen.shown.value - 13.6) > 0.7
        else:
            amiss = amiss or seen.told == ("yes",)
    return known if amiss else None


def blind(job: Job, inquiry: Inquiry, groups: Sequence[str], draw: Random, blunders: float) -> tuple[World, list[Seen]] | None:
    """Return a blind case with a fault in each of some groups, or nothing wrong; None where it shows nothing to complain of.

    Raises Unknown where the simulators do not know a fault.
    """
    asked = [first_checks(job, group, draw) for group in groups]
    if len({checks[0].where for checks in asked}) < len(asked):
        return None
    truths, own = [], []
    for checks in asked:
        seen = tuple(
            Seen(check=c, shown=Shown(value=13.6, half=0.005, unit="V"))
            if c.unit
            else Seen(check=c, told=("active" if c.kind is CheckKind.STATE else "no",))
            for c in checks
        )
        rows = inquiry.weigh(Observations(seen=seen), ahead=False)[0].rows
        if len(groups) > 1:
            here = [h for h in rows.hypotheses if h.part == rows.parts[0].name]
        else:
            here = list(rows.hypotheses)
        if len(groups) > 1 or draw.random() >= NOTHING / (1 - NONE_OF_THESE - TWO_FAULTS):
            truths.append(draw.choices(here, [h.weight for h in here])[0])
        own.append(rows)
    world = World(job, tuple(truths), draw, blunders)
    known: list[Seen] = []
    for checks, rows in zip(asked, own, strict=True):
        found = complain(world, rows, checks)
        if found is None:
            return None
        known += found
    return world, known
