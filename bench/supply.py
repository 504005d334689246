"""A supply with its battery, outputs, runs and loads, and a watched sounder output, built and solved apart from the program's networks.

The wiring is read off the job document. Loads draw what they draw whatever the volts, or the same watts, and turn ohmic below their
least volts; a mains supply gives up to its limit and the battery what is missing. ``bench/world.py`` takes blind readings from here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from random import Random

import numpy as np
from scipy.optimize import brentq

from loopwright.job.document import Job
from loopwright.netlist.conductor import Basis, conductor_of, ohm_per_m

TOUCH = 1e-4
STATE = {"unset": 0, "alarm": 3}


def core_ohm(job: Job, name: str) -> float:
    """Return the ohms of one core of a run by its sheet."""
    cable = job.cables[name]
    per_m = ohm_per_m(conductor_of(job.sheets.cables[cable.sheet]), cable.temperature_c, Basis.NOMINAL)
    return max(per_m * (cable.length_m + cable.slack_m), TOUCH)


@dataclass
class Drawn:
    """A load: its two points, amperes in the four states, volts below which it is ohmic, and the volts at which it draws its watts."""

    plus: str
    minus: str
    amps: tuple[float, ...]
    knee: float
    watts_at: float | None = None

    def current(self, volts: float, state: int) -> tuple[float, float]:
        """Return amperes and their slope."""
        amps = self.amps[state]
        if volts < self.knee:
            top = amps * self.watts_at / self.knee if self.watts_at else amps
            return top * volts / self.knee, top / self.knee
        return (amps * self.watts_at / volts if self.watts_at else amps), 0.0


@dataclass
class Supply:
    """One supply and everything on it; every part somewhere in its tolerance."""

    job: Job
    name: str
    draw: Random
    wires: dict[str, tuple[str, str, float]] = field(default_factory=dict)
    loads: list[Drawn] = field(default_factory=list)
    marks: dict[str, float] = field(default_factory=dict)
    known: dict[tuple[int, bool], dict[str, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Read the wiring off the document."""
        job, draw = self.job, self.draw
        sheet = job.sheet_of(self.name).supply
        assert sheet is not None
        self.sheet = sheet
        self.mains: tuple[float, float, float] | None = (
            sheet.output_v * draw.uniform(0.99, 1.01),
            max(sheet.source_ohm, TOUCH),
            sheet.limit_a,
        )
        self.float_v = sheet.charger.float_v * draw.uniform(0.995, 1.005)
        fitted = job.equipment[self.name].battery
        self.battery: tuple[float, float, float] | None = None
        if fitted is not None:
            kind = job.sheets.batteries[fitted.sheet]
            self.battery = (kind.full_v + draw.uniform(-0.2, 0.2), kind.internal_ohm / fitted.parallel, sheet.battery_path_ohm)
        drums: dict[str, float] = {}
        for name, cable in job.cables.items():
            drum = drums.setdefault(cable.sheet, draw.uniform(0.97, 1.03))
            for feed in cable.feeds:
                ohm = core_ohm(job, name) * drum
                self.wires[f"{name}+"] = (self.plus(cable.start, feed.output), self.plus(cable.end, feed.output), ohm / feed.cores)
                self.wires[f"{name}-"] = (f"{cable.start}-", f"{cable.end}-", ohm / feed.cores_back)
        for output, spec in job.sheet_of(self.name).outputs.items():
            self.wires[f"{self.name}.{output}"] = ("bus", self.plus(self.name, f"{self.name}.{output}"), max(spec.path_ohm, TOUCH))
        share = draw.uniform(0.75, 1.25)
        for name in job.equipment:
            for load in job.sheet_of(name).loads.values():
                plus = "bus" if name == self.name else f"{name}+"
                watts = load.nominal_v if load.law.value == "constant-power" else None
                amps = tuple(share * each for each in load.amperes())
                self.loads.append(Drawn(plus, f"{name}-", amps, max(load.min_v, 1.0), watts))

    def plus(self, place: str, output: str) -> str:
        """Return the plus point of an output at a place."""
        return output if place == self.name else f"{place}+"

    def volts(self, state: int, mains: bool) -> dict[str, float]:  # noqa: FBT001
        """Return the volts of every point against the supply's 0 V, solved once a state."""
        if (state, mains) not in self.known:
            self.known[state, mains] = self._solved(state, mains)
        return self.known[state, mains]

    def _solved(self, state: int, mains: bool) -> dict[str, float]:  # noqa: FBT001
        live = {n: w for n, w in self.wires.items() if math.isfinite(w[2]) and (state == 3 or not n.endswith(".bells"))}
        reached = _reached(live, "bus"), _reached(live, f"{self.name}-")
        points = sorted((reached[0] | reached[1]) - {"bus", f"{self.name}-"})
        index = {p: n for n, p in enumerate(points)}
        here = [load for load in self.loads if load.plus in index and (load.minus in index or load.minus == f"{self.name}-")]
        base, to_bus = np.eye(len(index)) * 1e-9, np.zeros(len(index))
        for a, b, ohm in live.values():
            for p, q in ((a, b), (b, a)):
                if p in index and (q in index or q in ("bus", f"{self.name}-")):
                    base[index[p], index[p]] += 1 / ohm
                    if q in index:
                        base[index[p], index[q]] -= 1 / ohm
                    elif q == "bus":
                        to_bus[index[p]] += 1 / ohm

        def newton(volts: np.ndarray, bus: float) -> np.ndarray:
            """Return the volts again, the loads taken as straight near where they were."""
            g, right = base.copy(), to_bus * bus
            for load in here:
                p, q = index[load.plus], index.get(load.minus)
                across = float(volts[p]) - (float(volts[q]) if q is not None else 0.0)
                amps, slope = load.current(across, state)
                g[p, p] += slope
                right[p] -= amps - slope * across
                if q is not None:
                    g[q, q] += slope
                    g[p, q] -= slope
                    g[q, p] -= slope
                    right[q] += amps - slope * across
            return np.linalg.solve(g, right)

        def inside(bus: float) -> tuple[float, dict[str, float]]:
            """Return the amperes out of the bus at some volts, and all volts."""
            volts = np.array([bus if p in reached[0] else 0.0 for p in points])
            for _ in range(40):
                found = newton(volts, bus)
                done = np.abs(found - volts).max(initial=0.0) < 1e-7
                volts = found
                if done:
                    break
            every = {"bus": bus, f"{self.name}-": 0.0} | dict(zip(points, volts.tolist(), strict=True))
            out = sum((every[a] - every[b]) / ohm * (1 if a == "bus" else -1) for a, b, ohm in live.values() if "bus" in (a, b))
            out += sum(load.current(bus, state)[0] for load in self.loads if load.plus == "bus")
            return out, every

        def given(bus: float) -> float:
            amps = 0.0
            if mains and self.mains is not None:
                open_v, ohm, limit = self.mains
                amps += min(max((open_v - bus) / ohm, 0.0), limit)
            if self.battery is not None:
                emf, inner, path = self.battery
                amps += max((emf - bus) / (inner + path), 0.0)
            return amps

        if given(0.0) <= 0:
            return dict.fromkeys(["bus", f"{self.name}-", *points], 0.0)
        bus = float(brentq(lambda v: given(v) - inside(v)[0], 0.0, 20.0, xtol=1e-6))
        return inside(bus)[1]

    def across(self, plus: str, minus: str, state: int = 0, *, mains: bool = True) -> float:
        """Return the volts between two points; none at a point cut off."""
        found = self.volts(state, mains)
        return found[plus] - found[minus] if plus in found and minus in found else 0.0

    def amps_out(self, output: str, state: int, *, mains: bool) -> float:
        """Return the amperes out of an output."""
        a, b, ohm = self.wires[output]
        found = self.volts(state, mains)
        return (
            0.0
            if math.isinf(ohm) or a not in found or b not in found or (output.endswith(".bells") and state != 3)
            else (found[a] - found[b]) / ohm
        )

    def dark(self, device: str) -> bool:
        """Return whether a device has too little to hold its relay: under nine tenths of its least volts."""
        least = min(load.min_v for load in self.job.sheet_of(device).loads.values())
        return self.across(f"{device}+", f"{device}-") < 0.9 * least

    def battery_reads(self, word: str, state: int, *, mains: bool) -> float:
        """Return what a meter reads at the battery: between its leads, across its fuse, at its posts in a state, or rested."""
        marks = self.marks
        charging = self.mains is not None and "no-charge" not in marks
        emf = self.battery[0] if self.battery is not None else marks.get("emf", 0.0)
        if word == "leads":
            return self.float_v if charging and "fuse-open" not in marks else 0.0
        if word == "fuse":
            return emf if "fuse-open" in marks else 0.0
        if "no-battery" in marks:
            return self.float_v if charging and mains and word not in ("rested", "test load") else 0.0
        sign = -1.0 if "reversed" in marks else 1.0
        if word == "test load":
            fitted = self.job.equipment[self.name].battery
            kind = self.job.sheets.batteries[fitted.sheet]
            inner = self.battery[1] if self.battery is not None else kind.internal_ohm / fitted.parallel
            lost = 0.5 * kind.capacity_ah * fitted.parallel * self.draw.uniform(0.9, 1.1) * inner * self.draw.uniform(0.8, 1.2)
            return sign * max(emf - lost, 0.0)
        if word == "rested" or "fuse-open" in marks:
            return sign * emf
        if mains and charging:
            return min(self.float_v, emf + self.draw.uniform(0.5, 1.5)) if "charging" in marks else self.float_v
        if self.battery is None:
            return sign * emf
        return emf - max(emf - self.volts(state, mains)["bus"], 0.0) / (self.battery[1] + self.battery[2]) * self.battery[1]


def put_in_supply(supply: Supply, fault: str, place: str, draw: Random) -> bool:
    """Put a fault in, in an amount drawn at random; return whether it is known here. ``place`` is a supply, output, run or landing."""

    def log(low: float, high: float) -> float:
        return math.exp(draw.uniform(math.log(low), math.log(high)))

    def change(wire: str, ohm: float) -> None:
        a, b, _ = supply.wires[wire]
        supply.wires[wire] = (a, b, ohm)

    run = place if place in supply.job.cables else next((n for n, c in supply.job.cables.items() if c.end == place.partition(".")[0]), "")
    marks, battery, mains = supply.marks, supply.battery, supply.mains
    emf = battery[0] if battery else 0.0
    if fault in ("P01", "P02", "P03", "P27"):
        supply.mains = None
        marks["no-secondary"] = 1
    elif fault == "P04" and mains:
        supply.mains = (mains[0], mains[1], mains[2] * log(0.15, 0.6))
        marks["secondary"] = 0.85
    elif fault == "P05" and mains:
        supply.mains = (log(0.3, 9), *mains[1:])
        marks["no-charge"] = 1
    elif fault == "P06":
        marks["no-charge"] = 1
    elif fault == "P07" and mains:
        by = log(0.4, 1.6) * draw.choice([-1, 1])
        supply.mains, supply.float_v = (mains[0] + by, *mains[1:]), supply.float_v + by
    elif fault in ("P08", "P09", "P10"):
        supply.battery = None
        marks.update({"no-battery": 1} if fault == "P08" else {"fuse-open": 1, "emf": emf} | ({"reversed": 1} if fault == "P10" else {}))
    elif fault == "P11" and battery:
        supply.battery = (emf, battery[1] * log(6, 120), battery[2])
    elif fault in ("P12", "P13") and battery:
        supply.battery = (draw.uniform(11.2, 12.2) if fault == "P12" else emf - 2.1, *battery[1:])
        marks["charging"] = 1
    elif fault == "P15" and battery:
        supply.battery = (emf, battery[1], battery[2] + log(0.1, 6))
    elif fault in ("P16", "P26"):
        amps = log(0.3, 2.4) if fault == "P16" else log(0.06, 0.3)
        supply.loads.append(Drawn(place, f"{supply.name}-", (amps,) * 4, 6.0))
    elif fault == "P17":
        supply.wires["bridge"] = (supply.wires[f"{run}+"][1], supply.wires[f"{run}-"][1], log(0.05, 2))
    elif fault == "P18":
        change(place, math.inf)
    elif fault == "P19":
        factor = log(2.5, 20)
        for core in "+-":
            change(run + core, supply.wires[run + core][2] * factor)
    elif fault == "P20":
        change(f"{run}-", supply.wires[f"{run}-"][2] + log(1, 60))
    elif fault == "D26":
        change(run + draw.choice("+-"), math.inf)
    elif fault == "D27":
        (a, b, one), (c, d, other) = supply.wires[f"{run}+"], supply.wires[f"{run}-"]
        supply.wires[f"{run}+"], supply.wires[f"{run}-"] = (a, d, one), (c, b, other)
    else:
        return fault in ("P14", "P22", "P23", "P24")
    supply.known.clear()
    return True


def _reached(wires: dict[str, tuple[str, str, float]], start: str) -> set[str]:
    beside: dict[str, list[str]] = {}
    for a, b, _ in wires.values():
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    found, left = {start}, [start]
    while left:
        for point in beside.get(left.pop(), ()):
            if point not in found:
                found.add(point)
                left.append(point)
    return found


@dataclass
class Sounders:
    """A watched output: the runs to its sounders side by side, the resistor at the first of the longest ways."""

    job: Job
    output: str
    draw: Random

    def __post_init__(self) -> None:
        """Read the wiring off the document; every part somewhere in its tolerance."""
        unit, _, word = self.output.partition(".")
        watch = self.job.sheet_of(unit).outputs[word].supervision
        assert watch is not None
        self.watch = watch
        self.runs = [name for name, cable in self.job.cables.items() if any(feed.output == self.output for feed in cable.feeds)]
        self.pull = watch.pull_up_ohm * self.draw.uniform(0.99, 1.01)
        drum = self.draw.uniform(0.97, 1.1)
        self.ohm: dict[str, tuple[str, str, float]] = {}
        for run in self.runs:
            for core, root in (("+", "T"), ("-", "0")):
                self.ohm[run + core] = (root, run + core, core_ohm(self.job, run) * drum)
        self.last = self.runs[0]
        self.ohm["end"] = (f"{self.last}+", f"{self.last}-", watch.resistor_ohm * self.draw.uniform(0.95, 1.05))

    def loop_ohm(self, act: str, device: str) -> float:
        """Return the ohms of the pair, both wires out, at rest, shorted or cut at a sounder."""
        now = dict(self.ohm)
        run = next((name for name in self.runs if self.job.cables[name].end == device), "")
        if act == "shorted":
            now["link"] = (f"{run}+", f"{run}-", TOUCH)
        elif act == "cut":
            now[f"{run}+"] = (*now[f"{run}+"][:2], math.inf)
        live = {name: wire for name, wire in now.items() if math.isfinite(wire[2])}
        points = _reached(live, "0")
        if "T" not in points:
            return math.inf
        index = {p: n for n, p in enumerate(sorted(points - {"0"}))}
        g = np.zeros((len(index), len(index)))
        for a, b, ohm in live.values():
            for p, q in ((a, b), (b, a)):
                if p in index:
                    g[index[p], index[p]] += 1 / ohm
                    if q in index:
                        g[index[p], index[q]] -= 1 / ohm
        drive = np.zeros(len(index))
        drive[index["T"]] = 1.0
        return float(np.linalg.solve(g, drive)[index["T"]])

    def trouble(self, act: str, device: str) -> bool:
        """Return whether the unit takes the pair for cut or shorted."""
        ohm = self.loop_ohm(act, device)
        seen = math.inf if math.isinf(ohm) else self.watch.pull_up_ohm * ohm / self.pull
        return not self.watch.short_below_ohm <= seen <= self.watch.open_above_ohm


def put_in_sounders(pair: Sounders, fault: str, place: str, draw: Random) -> bool:
    """Put a fault in, in an amount drawn at random; return whether this simulator knows it. ``place`` is a run or a sounder."""
    run = place if place in pair.runs else next((name for name in pair.runs if pair.job.cables[name].end == place), pair.last)
    if fault == "S01":
        core = run + draw.choice("+-")
        pair.ohm[core] = (*pair.ohm[core][:2], math.inf)
    elif fault == "S02":
        if draw.random() < 0.5:
            share = draw.uniform(0.05, 0.95)
            for core in "+-":
                pair.ohm[run + core] = (*pair.ohm[run + core][:2], pair.ohm[run + core][2] * share)
        pair.ohm["bridge"] = (f"{run}+", f"{run}-", 0.05)
    elif fault == "S04":
        pair.ohm["end"] = (*pair.ohm["end"][:2], math.inf)
    elif fault == "S05":
        pair.ohm["end"] = ("T", "0", pair.ohm["end"][2])
    else:
        return fault in ("S03", "S10", "S11", "S12", "S13")
    return True
