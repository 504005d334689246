"""Blind single faults, a technician who takes the advised check each time, and two simpler ways of working beside it.

Readings come from ``bench/ladder.py``, a circuit built and solved apart from the program's network and fault code, parts anywhere in their
tolerance, amounts drawn from the whole range. Run from the project's root with ``PYTHONPATH=src``; ``--cases N``, ``--blunders P``.
"""

from __future__ import annotations

import argparse
import math
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from random import Random

import numpy as np

import loopwright.demo
from ladder import Ladder, put_in
from loopwright.demo.synthetic import synthetic
from loopwright.explain.catalogue import faults
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.explain import Inquiry
from loopwright.explain.hypothesis import Hypothesis, Part
from loopwright.explain.likelihood import Seen
from loopwright.explain.meter import LEAST_STEP, Instrument, Mistake, Shown
from loopwright.explain.observation import Observations, read_observations
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.netlist.loop import ActKind

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
MOST_CHECKS = 25
SURE = 0.95
WRONG_MINUTES = 240.0
OWN = {
    "D04": (CheckKind.STATE, ActKind.ACTIVATED, 1.0),
    "D09": (CheckKind.OHM, ActKind.REST, 5.0),
    "D10": (CheckKind.STATE, ActKind.LIFTED, 4.0),
    "D11": (CheckKind.STATE, ActKind.SHORTED, 4.0),
    "D12": (CheckKind.OHM, ActKind.REST, 3.0),
    "D13": (CheckKind.OHM, ActKind.REST, 3.0),
    "D15": (CheckKind.OHM, ActKind.ACTIVATED, 3.0),
    "D17": (CheckKind.OHM, ActKind.REST, 3.0),
    "D18": (CheckKind.OHM, ActKind.ACTIVATED, 4.0),
    "D19": (CheckKind.STATE, ActKind.LID_OPEN, 3.0),
    "D20": (CheckKind.OHM, ActKind.REST, 3.0),
    "D21": (CheckKind.STATE, ActKind.ACTIVATED, 4.0),
    "D23": (CheckKind.STATE, ActKind.LID_OPEN, 2.0),
    "D28": (CheckKind.CONTACT_OHM, ActKind.ACTIVATED, 5.0),
    "D29": (CheckKind.CONTACT_OHM, ActKind.REST, 3.0),
    "D36": (CheckKind.STATE, ActKind.ACTIVATED, 1.0),
}
"""The check the trade's list names for a fault that has no look, and its minutes there."""


@dataclass
class World:
    """One blind case: the circuit as it is, which nobody may look into but through checks."""

    job: Job
    part: Part
    truth: Hypothesis
    ladder: Ladder
    sound: Ladder
    draw: Random
    meter: Instrument
    gain: float
    blunders: float

    def check(self, check: Check, parts: tuple[Part, ...] = ()) -> Seen:
        """Do a check and return what is seen; at another part everything is as it should be."""
        ladder = self.ladder if self.draw.random() < self.truth.fault.present else self.sound
        other = next((part.predicted for part in parts if part is not self.part and check in part.predicted.checks), None)
        if other is not None:
            column = other.checks.index(check)
            if check.unit:
                value = float(self.draw.gauss(other.mean[0, column], other.sd[0, column]))
                return Seen(check=check, shown=self.display(value, check.unit), text="sound", meter=self.meter)
            return self._word(check, self.draw.choices(check.outcomes, other.chances[column][0])[0], check.outcomes)
        if check.kind is CheckKind.LOOK:
            yes = self.draw.random() < self._look(check)
            return self._word(check, "yes" if yes else "no", ("yes", "no"))
        act = ACTS[check.act]
        if check.kind is CheckKind.STATE:
            return self._word(check, ladder.shown(act, check.device, self.draw), check.outcomes)
        return self._meter(check, ladder, act)

    def _look(self, check: Check) -> float:
        look = faults()[check.fault].look
        assert look is not None
        same = not check.place or not self.truth.place or check.place == self.truth.place
        if check.fault == self.truth.fault.id and check.place == self.truth.place:
            return look.hit
        return look.also.get(self.truth.fault.id, look.false) if same else look.false

    def _word(self, check: Check, word: str, words: tuple[str, ...]) -> Seen:
        if self.draw.random() < self.blunders / 2:
            word = self.draw.choice(words)
        return Seen(check=check, told=(word,), text=word, meter=self.meter)

    def _meter(self, check: Check, ladder: Ladder, act: str) -> Seen:
        if check.kind is CheckKind.VOLTS:
            value, unit = ladder.volts(act, check.device) * self.draw.uniform(0.99, 1.01), "V"
        elif check.kind is CheckKind.CONTACT_OHM:
            value, unit = self._contact(ladder, check), "Ω"
        elif check.kind is CheckKind.CAPACITANCE:
            value, unit = ladder.nanofarads(), "nF"
        else:
            start = "E" if check.kind is CheckKind.CORES_OHM and "cabinet" in ladder.ohm else "T"
            value, unit = ladder.loop_ohm(act, check.device, start), "Ω"
        if self.draw.random() < self.blunders:
            value = self._blunder(value, unit, check)
        return Seen(check=check, shown=self.display(value, unit), text=f"{value:.4g} {unit}", meter=self.meter)

    def _contact(self, ladder: Ladder, check: Check) -> float:
        name = f"alarm{ladder.device(check.device)}"
        value = ladder.state("operated" if check.act is ActKind.ACTIVATED else "rest", check.device)[name]
        return math.inf if value > 1e12 else value

    def _blunder(self, value: float, unit: str, check: Check) -> float:
        kind = self.draw.choice([Mistake.WIRE_IN, Mistake.NO_CONTACT, Mistake.RANGE, Mistake.STRAY])
        if kind is Mistake.WIRE_IN and unit == "Ω":
            pull = self.ladder.fitted_pull
            return pull if math.isinf(value) else value * pull / (value + pull)
        if kind is Mistake.NO_CONTACT:
            return math.inf if unit == "Ω" else 0.0
        if kind is Mistake.RANGE and math.isfinite(value):
            return value * self.draw.choice([0.001, 0.1, 10, 1000])
        top = self.meter.top(unit)
        return math.exp(self.draw.uniform(math.log(LEAST_STEP[unit]), math.log(top)))

    def display(self, value: float, unit: str) -> Shown:
        """Return the digits a meter shows: its gain, its last digits, its range."""
        if math.isinf(value) or value > self.meter.top(unit):
            return Shown(value=math.inf, half=0.0, unit=unit)
        step = float(self.meter.step(np.array(value), unit))
        leads = self.draw.uniform(0, 0.3) if unit == "Ω" else 0.0
        shown = value * self.gain + self.draw.uniform(-1, 1) * self.meter.digits * step + leads
        step = float(self.meter.step(np.array(shown), unit))
        return Shown(value=max(round(shown / step) * step, 0.0), half=step / 2, unit=unit)


def world(job: Job, inquiry: Inquiry, draw: Random, blunders: float) -> tuple[World, list[Seen]] | None:
    """Return a blind case and what is known at first; None where the fault drawn shows nothing to complain of.

    Known are the states tried in order, at rest, operated, lid open, shorted, up to the first that is not as it should be.
    """
    name = draw.choice([c for c, circuit in job.circuits.items() if circuit.input])
    part = inquiry._circuit(name)
    truth = draw.choices(part.hypotheses, [h.weight for h in part.hypotheses])[0]
    seed = draw.random()
    ladder, sound = Ladder(job, name, Random(seed)), Ladder(job, name, Random(seed))
    topologies = [t.value for t in ladder.inputs.bands if t.value != ladder.topology]
    if not put_in(ladder, truth.fault.id, truth.place, draw, topologies):
        return None
    meter = Instrument()
    made = World(job, part, truth, ladder, sound, draw, meter, 1 + draw.uniform(-1, 1) * 0.008, blunders)
    states = [check for check in part.predicted.checks if check.kind is CheckKind.STATE and check.act in SYMPTOMS]
    known = []
    for check in sorted(states, key=lambda c: SYMPTOMS.index(c.act)):
        word, usual = ladder.shown(ACTS[check.act], check.device), sound.shown(ACTS[check.act], check.device)
        known.append(Seen(check=check, told=(word,), text=word, meter=meter))
        if word != usual:
            return made, known
    return None


@dataclass
class Run:
    """How a case went: minutes, checks, was the answer right, its place in the list, what was believed at each step."""

    minutes: float
    checks: int
    right: bool
    third: bool
    believed: list[tuple[float, bool]]


def advised(made: World, inquiry: Inquiry, first: list[Seen]) -> Run:
    """Take the advised check each time until told to stop."""
    seen, minutes, believed = list(first), 0.0, []
    while True:
        weighed, _ = inquiry.weigh(Observations(seen=tuple(seen), meter=made.meter))
        ranked = classes(weighed)
        believed.append((ranked[0][0], made.truth.key in ranked[0][1]))
        advice = weighed.advised
        if advice.stop or not advice.checks or len(seen) > MOST_CHECKS:
            break
        check = advice.checks[0].check
        minutes += check.minutes
        seen.append(made.check(check, weighed.rows.parts))
    right = made.truth.key in ranked[0][1]
    third = any(made.truth.key in keys for _, keys in ranked[:3])
    return Run(minutes, len(seen) - len(first), right, third, believed)


def classes(weighed) -> list[tuple[float, set[str]]]:  # type: ignore[no-untyped-def]
    """Return the answers, likeliest first: probability and the keys of their hypotheses."""
    rows, out = weighed.rows, defaultdict(lambda: [0.0, set()])
    for position, row in enumerate(weighed.keep.tolist()):
        owner = int(rows.owner[row])
        entry = out[int(weighed.group[position])]
        entry[0] += float(weighed.after.rows[row])
        entry[1].add(rows.hypotheses[owner].key if owner >= 0 else "nothing")
    out[-1] = [weighed.after.none_of_these, {"none"}]
    return sorted(((p, keys) for p, keys in out.values()), key=lambda each: -each[0])


class Catalogue:
    """The two simpler ways: each fault's own check, its reading told as inside or outside what a sound circuit reads."""

    def __init__(self, made: World, first: list[Seen]) -> None:
        self.made, self.part, known = made, made.part, made.part.predicted
        self.sound_rows = known.owner == -1
        weight = np.array([h.weight for h in self.part.hypotheses])
        self.p = weight[known.owner] * known.share * (known.owner >= 0)
        self.column = {check: n for n, check in enumerate(known.checks)}
        for seen in first:
            column = self.column[seen.check]
            self.update(column, known.checks[column].outcomes.index(seen.told[0]))

    def chances(self, column: int) -> np.ndarray:
        """Return the chance of inside and outside, or of each word, one row a variant."""
        known = self.part.predicted
        if column in known.chances:
            out = 0.98 * known.chances[column] + 0.02 / known.chances[column].shape[1]
        else:
            low, high = self.band(column)
            mean = known.mean[:, column]
            inside = np.where(np.isinf(mean), float(math.isinf(high)), ((mean >= low) & (mean <= high)).astype(float))
            out = np.stack((0.02 + 0.96 * inside, 0.98 - 0.96 * inside), axis=1)
        present = known.present[:, None]
        return present * out + (1 - present) * out[:1]

    def band(self, column: int) -> tuple[float, float]:
        """Return the band of a sound reading."""
        known = self.part.predicted
        mean, unit = float(known.mean[0, column]), known.checks[column].unit
        if math.isinf(mean):
            return 5e7, math.inf
        sd = math.hypot(float(known.sd[0, column]), float(self.made.meter.spread(np.array(mean), unit)))
        return mean - 3 * sd, mean + 3 * sd

    def update(self, column: int, outcome: int) -> None:
        """Take an outcome in."""
        self.p = self.p * self.chances(column)[:, outcome]
        self.p = self.p / max(self.p.sum(), 1e-300)

    def by_hypothesis(self) -> np.ndarray:
        """Return the probability of each hypothesis."""
        known = self.part.predicted
        return np.bincount(np.maximum(known.owner, 0), weights=self.p * (known.owner >= 0), minlength=len(self.part.hypotheses))

    def own(self, hypothesis: Hypothesis) -> tuple[int, float] | None:
        """Return the column and minutes of a fault's own check."""
        fault = hypothesis.fault
        for check, column in self.column.items():
            if fault.look is not None and check.kind is CheckKind.LOOK and (check.fault, check.place) == (fault.id, hypothesis.place):
                return column, check.minutes
        kind = OWN.get(fault.id)
        for check, column in self.column.items():
            near = not check.device or check.device == hypothesis.place or "W" in hypothesis.place or not hypothesis.place
            if kind and check.kind is kind[0] and check.act is kind[1] and near:
                return column, kind[2]
        return None

    def do(self, column: int) -> int:
        """Do a check and return its outcome."""
        seen = self.made.check(self.part.predicted.checks[column])
        if seen.shown is None:
            return self.part.predicted.checks[column].outcomes.index(seen.told[0])
        low, high = self.band(column)
        value = seen.shown.value
        return 0 if (math.isinf(value) and math.isinf(high)) or low <= value <= high else 1

    def run(self, *, by_weight: bool) -> Run:
        """Work by weight a minute, or down the list; until one is sure or nothing is left."""
        minutes, done = 0.0, set[int]()
        while True:
            p = self.by_hypothesis()
            best = int(np.argmax(p))
            if p[best] >= SURE or len(done) > MOST_CHECKS:
                break
            offers = [(n, own) for n, h in enumerate(self.part.hypotheses) if p[n] > 0.002 and (own := self.own(h)) and own[0] not in done]
            if not offers:
                break
            number, (column, cost) = max(offers, key=lambda o: p[o[0]] / o[1][1]) if by_weight else offers[0]
            done.add(column)
            minutes += cost
            outcome = self.do(column)
            if by_weight:
                self.update(column, outcome)
            else:
                self._confirm(number, column, outcome)
        order = np.argsort(-p)
        keys = [self.part.hypotheses[n].key for n in order[:3]]
        return Run(minutes, len(done), keys[0] == self.made.truth.key, self.made.truth.key in keys, [])

    def _confirm(self, number: int, column: int, outcome: int) -> None:
        """Down the list a check confirms its own fault or strikes it off; nothing else is learnt."""
        known = self.part.predicted
        rows = known.owner == number
        fits = float((self.chances(column)[rows, outcome] * known.share[rows]).sum())
        self.p = np.where(rows, self.p * (100.0 if fits > 0.5 else 0.001), self.p)
        self.p = self.p / self.p.sum()


def table(cases: int, blunders: float, seed: int) -> None:
    """Print how all three did."""
    draw = Random(seed)
    jobs = [read(loopwright.demo.text(name)).job for name in loopwright.demo.names()] + [read(synthetic(30, n)).job for n in range(1, 4)]
    inquiries = [Inquiry(job) for job in jobs]
    runs: dict[str, list[Run]] = defaultdict(list)
    missed: Counter[str] = Counter()
    made_of: Counter[str] = Counter()
    while len(runs["advised"]) < cases:
        pick = draw.randrange(len(jobs))
        found = world(jobs[pick], inquiries[pick], draw, blunders)
        if found is None:
            continue
        made, first = found
        run = advised(made, inquiries[pick], first)
        runs["advised"].append(run)
        made_of[made.truth.fault.id] += 1
        if not run.right:
            missed[made.truth.fault.id] += 1
        for name, by_weight in (("weight a minute", True), ("down the list", False)):
            runs[name].append(Catalogue(replace(made, draw=Random(draw.random())), first).run(by_weight=by_weight))
    print(f"\n{cases} blind single faults of detection circuits, {blunders:.0%} blunders, {len(made_of)} kinds of fault")
    print("way of working     first %  first three %  checks  minutes  minutes, wrong answers at 240")
    for name, some in runs.items():
        right, third = np.mean([r.right for r in some]), np.mean([r.third for r in some])
        minutes = np.array([r.minutes for r in some])
        paid = minutes + WRONG_MINUTES * np.array([not r.right for r in some])
        print(f"{name:18s} {right:7.1%} {third:14.1%} {np.mean([r.checks for r in some]):7.1f} {minutes.mean():8.1f} {paid.mean():10.1f}")
    error, chance, tilt = calibration(runs["advised"])
    print(f"calibration error {error:.3f}, of which about {chance:.3f} is chance at so many cases; right less believed {tilt:+.3f}")
    print("missed:", ", ".join(f"{k} {n} of {made_of[k]}" for k, n in missed.most_common(8)) or "none")


def calibration(runs: list[Run]) -> tuple[float, float, float]:
    """Return the expected calibration error of the leading answer over all steps in ten bins, what chance alone makes of it, and its sign.

    Chance is that of one step a case: the steps of one case go together.
    """
    every = [each for run in runs for each in run.believed]
    p, right = np.array([e[0] for e in every]), np.array([float(e[1]) for e in every])
    bins = np.minimum((p * 10).astype(int), 9)
    used = [bins == b for b in range(10) if (bins == b).any()]
    error = sum(abs(p[rows].mean() - right[rows].mean()) * rows.mean() for rows in used)
    share = len(runs) / p.size
    chance = sum(math.sqrt(2 / math.pi * (p[rows] * (1 - p[rows])).sum() / share) for rows in used) / p.size
    return float(error), float(chance), float(right.mean() - p.mean())


def times() -> None:
    """Print how long the first answer and the next ones take on 200 devices."""
    job = read(synthetic(200, 1)).job
    firsts, nexts = [], []
    for name in list(job.circuits)[:24]:
        device = job.circuits[name].path[0].device
        entries = ("shows: active", "reading: OL", f"state: lid open {device}, shows: tamper")
        texts = [f"  - {{where: {name}, {entry}}}\n" for entry in entries]
        inquiry = Inquiry(job)
        for count in range(1, 4):
            observed = read_observations(job, "readings:\n" + "".join(texts[:count]))
            start = time.process_time()
            inquiry.explain(observed)
            (firsts if count == 1 else nexts).append(1000 * (time.process_time() - start))
    told = [f"{name} {np.median(some):.0f} ms (worst {max(some):.0f})" for name, some in (("first answer", firsts), ("next", nexts))]
    print(f"\n200 devices: {', '.join(told)}")


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    for blunders in (0.0, 0.02):
        table(options.cases, blunders, options.seed)
    times()


if __name__ == "__main__":
    main()
