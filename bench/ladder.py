"""A detection circuit built and solved a second time, apart from the program's own network and fault code; and how far the two agree.

Run from the project's root with ``PYTHONPATH=src``. ``bench/explain.py`` takes its blind readings from here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from random import Random

import numpy as np

from loopwright.job.document import Job
from loopwright.netlist.conductor import Basis, conductor_of, ohm_per_m

OPEN = 1e13
TOUCH = 1e-4


@dataclass
class Ladder:
    """A circuit as a list of resistors between numbered points; 0 is the common, 1 the terminal."""

    job: Job
    name: str
    draw: Random | None = None
    ohm: dict[str, float] = field(default_factory=dict)
    ends: dict[str, tuple[str, str]] = field(default_factory=dict)
    still: bool = False
    inverted: set[str] = field(default_factory=set)
    held: set[str] = field(default_factory=set)
    topology: str = ""
    broken_at: float = 0.5
    holds_below: bool = False
    drift: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Build the sound circuit; with ``draw``, every part somewhere in its tolerance."""
        circuit = self.job.circuits[self.name]
        self.circuit = circuit
        inputs = self.job.sheet_of(circuit.input.split(".")[0]).inputs
        self.pull, self.watch, self.inputs = inputs.pull_up_ohm, inputs.pull_up_v, inputs
        self.fitted_pull = self.pull * self._factor(inputs.pull_up_tolerance_pct / 100)
        self.topology = circuit.topology.value
        share = circuit.resistor_tolerance_pct / 100
        out, back = "T", "0"
        self.drums = {}
        for n, hop in enumerate(circuit.path):
            cable = self.job.cables[hop.cable]
            per_m = ohm_per_m(conductor_of(self.job.sheets.cables[cable.sheet]), cable.temperature_c, Basis.NOMINAL)
            drum = self.drums.setdefault(cable.sheet, self._factor(0.03))
            core = max(per_m * (cable.length_m + cable.slack_m), TOUCH) * drum
            self.add(f"out{n}", out, f"a{n}", core)
            self.add(f"back{n}", back, f"b{n}", core)
            out, back = f"a{n}", f"b{n}"
            if hop.device is None:
                continue
            for word in hop.contacts:
                sheet = self.job.sheet_of(hop.device).contacts[word]
                closed = max(sheet.closed_ohm, TOUCH)
                if self.draw:
                    closed = max(closed + self.draw.uniform(-1, 1) * sheet.closed_tolerance_ohm, TOUCH)
                self.drift[f"{word}{n}"] = closed
                if sheet.rest.value == "open":
                    self.add(f"{word}{n}", out, back, OPEN)
                    continue
                nxt = f"{word[0]}{n}x"
                self.add(f"{word}{n}", out, nxt, closed)
                across = self._across(word, hop.part)
                if across:
                    self.add(f"{word}R{n}", out, nxt, across * self._factor(share))
                out = nxt
        self.last = (out, back)
        self.holds_below = self.draw is not None and self.draw.random() < 0.5
        if circuit.resistors.end_ohm and self.topology != "none":
            self.add("end", out, back, circuit.resistors.end_ohm * self._factor(share))
        else:
            self.add("end", out, back, TOUCH)

    def _factor(self, share: float) -> float:
        return 1 + (self.draw.uniform(-1, 1) * share if self.draw else 0.0)

    def _across(self, word: str, part: str) -> float | None:
        resistors = self.circuit.resistors
        if word == "alarm" and self.topology in ("double", "triple"):
            return resistors.alarm_ohm
        if word == "fault" and self.topology == "triple":
            return resistors.fault_ohm
        if word == "alarm" and self.topology == "two-zones":
            return resistors.fault_ohm if part == "b" else resistors.alarm_ohm
        return None

    def add(self, name: str, a: str, b: str, ohm: float) -> None:
        """Put a resistor in."""
        self.ends[name], self.ohm[name] = (a, b), ohm

    def device(self, name: str) -> int:
        """Return the hop a device stands at."""
        return next(n for n, hop in enumerate(self.circuit.path) if hop.device == name)

    def nanofarads(self) -> float:
        """Return what a meter shows on the field cores, both out: infinite while anything stands across them."""
        if self.loop_ohm("rest", "", "E" if "cabinet" in self.ohm else "T") < 1e6:
            return math.inf
        start = self.ends["out0"][0]
        reached = {word: self._reached(point) for word, point in (("out", start), ("back", "0"))}
        total = 0.0
        for n, hop in enumerate(self.circuit.path):
            cable = self.job.cables[hop.cable]
            pf = self.job.sheets.cables[cable.sheet].core_to_core_pf_per_m * (cable.length_m + cable.slack_m)
            shares = []
            for word, points in reached.items():
                ends = sum(point in points for point in self.ends[f"{word}{n}"])
                whole = self.ohm[f"{word}{n}"] < OPEN
                shares.append(0.0 if not ends else 1.0 if whole else self.broken_at)
            total += min(shares) * pf / 1000
        return total * self._factor(0.1)

    def _reached(self, start: str) -> set[str]:
        found, left = {start}, [start]
        while left:
            here = left.pop()
            for name, (a, b) in self.ends.items():
                if self.ohm.get(name, OPEN) < 1e6 and here in (a, b):
                    other = b if here == a else a
                    if other not in found:
                        found.add(other)
                        left.append(other)
        return found

    def state(self, act: str, device: str) -> dict[str, float]:
        """Return every resistance while an act is done."""
        now = dict(self.ohm)

        def work(contact: str) -> None:
            if contact in self.held or contact not in now:
                return
            sheet_open = self.ohm[contact] >= OPEN
            if contact in self.inverted:
                now[contact] = self.drift[contact]
            else:
                now[contact] = self.drift[contact] if sheet_open else OPEN

        for contact in self.inverted:
            now[contact] = OPEN
        if self.still or act == "rest":
            return now
        n = self.device(device) if device else -1
        if act == "operated":
            work(f"alarm{n}")
        elif act == "all":
            for k, hop in enumerate(self.circuit.path):
                if hop.device and "alarm" in hop.contacts:
                    work(f"alarm{k}")
        elif act == "lid":
            work(f"tamper{n}")
        elif act == "fault":
            work(f"fault{n}")
        elif act == "shorted":
            now["link"] = TOUCH
            self.ends["link"] = (f"a{n}", f"b{n}")
        elif act == "cut":
            now[f"out{n}"] = OPEN
        elif act == "lifted":
            for name, (a, b) in self.ends.items():
                if f"a{n}" in (a, b) and name not in (f"out{n}", f"near{n}") and not name.startswith("cable"):
                    now[name] = OPEN
        return now

    def loop_ohm(self, act: str, device: str = "", start: str = "T") -> float:
        """Return the ohms between a point and the common, infinite when over range."""
        now = {name: ohm for name, ohm in self.state(act, device).items() if ohm < OPEN}
        reached, front = {"0"}, ["0"]
        while front:
            point = front.pop()
            for a, b in (self.ends[name] for name in now):
                for here, there in ((a, b), (b, a)):
                    if here == point and there not in reached:
                        reached.add(there)
                        front.append(there)
        if start not in reached:
            return math.inf
        index = {p: i for i, p in enumerate(sorted(reached - {"0"}))}
        g = np.zeros((len(index), len(index)))
        for name, ohm in now.items():
            a, b = self.ends[name]
            for p, q in ((a, b), (b, a)):
                if p in index:
                    g[index[p], index[p]] += 1 / ohm
                    if q in index:
                        g[index[p], index[q]] -= 1 / ohm
        drive = np.zeros(len(index))
        drive[index[start]] = 1.0
        found = float(np.linalg.solve(g, drive)[index[start]])
        return math.inf if found > 5e7 else found

    def volts(self, act: str, device: str = "") -> float:
        """Return the volts at the terminals in place."""
        ohm = self.loop_ohm(act, device)
        return self.watch if math.isinf(ohm) else self.watch * ohm / (ohm + self.fitted_pull)

    def reads(self, act: str, device: str = "") -> str:
        """Return what the input takes the circuit for, by the bands of its sheet; in a gap it holds to the band it was drawn to hold to."""
        ratio = self.volts(act, device) / self.watch
        ohm = math.inf if ratio >= 1 - 1e-12 else self.pull * ratio / (1 - ratio)
        bands = next(rows for topology, rows in self.inputs.bands.items() if topology.value == self.topology)
        below = None
        for band in sorted(bands, key=lambda b: b.from_ohm):
            if band.to_ohm is None or ohm < band.to_ohm:
                return (below if below is not None and ohm < band.from_ohm and self.holds_below else band).reads.value
            below = band
        return bands[-1].reads.value

    def shown(self, act: str, device: str = "", draw: Random | None = None) -> str:
        """Return the word at the keypad."""
        reads = self.reads(act, device)
        kinds = {b.reads.value for rows in self.inputs.bands.items() if rows[0].value == self.topology for b in rows[1]}
        if not {"active", "fault"} & kinds:
            either = "tamper" if draw is not None and draw.random() < 0.5 else "active"
            return {"open": "active", "short": either, "rest": "rest"}[reads]
        return {"open": "tamper", "short": "tamper", "active-and-fault": "active"}.get(reads, reads)


def put_in(ladder: Ladder, fault: str, place: str, draw: Random, topologies: list[str]) -> bool:
    """Put a fault in, in an amount drawn at random; return whether this simulator knows it."""
    path = ladder.circuit.path
    n = next((k for k, hop in enumerate(path) if place in (hop.cable, hop.device)), 0)
    ohm, job = ladder.ohm, ladder.circuit
    alarm = f"alarm{n}"

    def shut(name: str) -> None:
        ohm[name] = OPEN
        ladder.held.add(name)

    def touch(share: float, across: float) -> None:
        for name in (f"out{n}", f"back{n}"):
            ohm[name] *= share
        ladder.add("cable-short", f"a{n}", f"b{n}", across)

    def log(low: float, high: float) -> float:
        return math.exp(draw.uniform(math.log(low), math.log(high)))

    end = job.resistors.end_ohm
    if fault in ("D01", "D02", "D03", "D05"):
        shut(alarm)
    elif fault in ("D04", "D28", "D45"):
        ohm[alarm] = ladder.drift[alarm]
        ladder.held.add(alarm)
    elif fault == "D06":
        ohm[alarm] += log(10, 1e5)
    elif fault == "D07":
        shut(draw.choice([f"out{n}", f"back{n}"]))
        ladder.broken_at = draw.choice([0.01, 0.99])
    elif fault == "D39":
        shut(f"out{n}")
    elif fault == "D08" or fault == "D40" and draw.random() < 0.5:
        shut(f"out{n}")
        shut(f"back{n}")
        ladder.broken_at = draw.random()
    elif fault in ("D09", "D40"):
        touch(draw.uniform(0.05, 0.95), draw.choice([0.05, 3.0, draw.uniform(0.05, 3)]))
    elif fault == "D10":
        ladder.add(f"device-short{n}", f"a{n}", f"b{n}", 0.05)
    elif fault == "D11":
        value = ohm["end"]
        ohm["end"] = TOUCH
        a, b = ladder.ends["out0"]
        ladder.ends["out0"] = ("E", b)
        ladder.add("cabinet", "T", "E", value)
    elif fault == "D12":
        common = [1000, 1500, 2200, 2700, 3300, 3900, 4700, 5600, 6800, 8200, 10000]
        ohm["end"] = draw.choice([r for r in common if abs(r - end) > 1]) * draw.uniform(0.99, 1.01)
    elif fault == "D13":
        ohm["end"] = TOUCH
    elif fault == "D14":
        ohm["end"] = OPEN
    elif fault == "D15":
        ladder.ends["end"] = ladder.ends[alarm]
        ladder.add("straight", *ladder.last, TOUCH)
    elif fault == "D17":
        ohm["end"], ohm[next(k for k in ohm if k.startswith("alarmR"))] = job.resistors.alarm_ohm, job.resistors.end_ohm
    elif fault == "D18":
        ohm[f"alarmR{n}"] = OPEN
    elif fault == "D19":
        ladder.ends[f"alarmR{n}"] = ladder.ends[f"tamper{n}"]
    elif fault == "D20":
        ohm[f"out{n}"] += end
    elif fault == "D21":
        ladder.add("cable-second", f"a{n}", f"b{n}", end)
    elif fault == "D23":
        ladder.add("linked", *ladder.ends[f"tamper{n}"], TOUCH)
    elif fault == "D24":
        shut(f"tamper{n}")
    elif fault == "D25":
        shut(f"out{n}")
    elif fault == "D29":
        ladder.inverted.add(alarm)
    elif fault == "D30":
        ladder.add("cable-wet", f"a{n}", f"b{n}", log(1000, 3e5))
    elif fault in ("D33", "D36"):
        ladder.still = True
    elif fault == "D34":
        shut("out0")
    elif fault == "D35":
        ladder.topology = draw.choice(topologies)
    elif fault == "D38":
        ohm[f"out{n}"] += log(30, 3e4)
    elif fault == "D41":
        factor = log(1.5, 12)
        ohm[f"out{n}"] *= factor
        ohm[f"back{n}"] *= factor
    elif fault == "D43":
        ladder.fitted_pull *= draw.choice([0.05, 0.4, 2.5, 20.0])
    else:
        return False
    return True


def main() -> None:
    """Print the worst difference between this and the program's own networks, every circuit of the business example, every act."""
    import loopwright.demo
    from loopwright.job.read import read
    from loopwright.netlist.loop import compile_loop, read_loops

    words = {"rest": "rest", "activated": "operated", "lid open": "lid", "shorted at the device": "shorted", "cut before the device": "cut"}
    job = read(loopwright.demo.text("business")).job
    worst, count = 0.0, 0
    for name in job.circuits:
        network = compile_loop(job, name)
        reading, ladder = read_loops([network])[0], Ladder(job, name)
        for position, act in enumerate(network.acts):
            if act.kind.value in words:
                ours, theirs = float(reading.field_ohm[position]), ladder.loop_ohm(words[act.kind.value], act.device or "")
                both = math.isinf(ours) and math.isinf(theirs)
                worst, count = max(worst, 0.0 if both else abs(ours - theirs) / theirs), count + 1
    print(f"{count} readings of {len(job.circuits)} sound circuits: worst relative difference {worst:.1e}")


if __name__ == "__main__":
    main()
