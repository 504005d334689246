"""Old pairs against ngspice: random wirings as decks, read as a meter reads them; the wiring that was drawn is among the guesses."""

from __future__ import annotations

import math
import re
import subprocess
from random import Random

from loopwright.circuits.preferred import Series, series_values
from loopwright.explain.old.job import wired_words
from loopwright.explain.old.pair import guesses
from loopwright.explain.old.table import read_table
from loopwright.job.sheet import ResistorSet, Topology

PAIRS = 40
E12 = [
    float(f"{figures}e{power}") for power in (2, 3) for figures in series_values(Series.E12) if 470 <= float(f"{figures}e{power}") <= 9e3
]
OPEN, CLOSED = 1e13, 0.1
STATES = ("rest", "operated", "lid open", "shorted")


def deck_of(name: str, core: float, end: float, alarm: float | None, state: str) -> str:
    """Return a pair from the cabinet: core, lid switch, alarm contact with or without its resistor, end resistor, core back."""
    lid = OPEN if state == "lid open" else CLOSED
    contact = OPEN if state == "operated" else CLOSED
    lines = [f"R{name}a {name}_1 {name}_2 {core}", f"R{name}t {name}_2 {name}_3 {lid}", f"R{name}c {name}_3 {name}_4 {contact}"]
    lines += [f"R{name}x {name}_3 {name}_4 {alarm}"] if alarm else []
    lines += [f"R{name}e {name}_4 {name}_5 {end}", f"R{name}b {name}_5 0 {core}", f"R{name}m {name}_1 0 1e12"]
    lines += [f"R{name}s {name}_2 {name}_5 0.01"] if state == "shorted" else []
    return "\n".join([*lines, f"I{name} 0 {name}_1 1m"])


def test_the_wiring_of_random_pairs_is_among_the_answers(ngspice: str) -> None:
    draw, drawn, decks = Random(21), [], []
    for n in range(PAIRS):
        end, alarm = draw.choice(E12), draw.choice([None, draw.choice(E12)])
        core = draw.uniform(0.5, 20)
        off = [draw.uniform(0.96, 1.04) for _ in range(2)]
        drawn.append((end, alarm))
        for s, state in enumerate(STATES):
            decks.append(deck_of(f"p{n}s{s}", core, end * off[0], alarm and alarm * off[1], state))
    shown = "\n".join(f"print v(p{n}s{s}_1)" for n in range(PAIRS) for s in range(len(STATES)))
    text = "* old pairs\n" + "\n".join(decks) + f"\n.options gmin=1e-14\n.control\nset numdgt=10\nop\n{shown}\n.endc\n.end\n"
    printed = subprocess.run([ngspice, "-b"], input=text, capture_output=True, text=True, check=False, timeout=120).stdout
    volts = [float(word) for word in re.findall(r"v\(p\d+s\d+_1\) = (\S+)", printed)]
    assert len(volts) == PAIRS * len(STATES), printed[-500:]
    ohms = [volt / 1e-3 for volt in volts]
    rows = ["pair;" + ";".join(STATES)]
    for n in range(PAIRS):
        some = ohms[n * len(STATES) : (n + 1) * len(STATES)]
        rows.append(";".join([f"P{n}", *("OL" if ohm > 5e7 else f"{ohm:.4g} Ω" for ohm in some)]))
    pairs, problems = read_table("\n".join(rows))
    assert not problems and len(pairs) == PAIRS
    for pair, (end, alarm) in zip(pairs, drawn, strict=True):
        meant = (Topology.DOUBLE if alarm else Topology.SINGLE, ResistorSet(end_ohm=end, alarm_ohm=alarm))
        found = guesses(pair)
        assert meant in [(each.topology, each.resistors) for each in found], pair
        assert all(math.isfinite(each.miss) and wired_words(each) for each in found)
