"""Where along a run a short or a break is, against ngspice: runs of many small sections of ohms and farads, read as a meter reads them."""

from __future__ import annotations

import math
import re
import subprocess
from random import Random

import numpy as np
import pytest

import loopwright.demo
from loopwright.explain.along.cable_fault import Found, Line, NotOne, break_at, line_of, short_at
from loopwright.explain.circuit.capacitance import capacitances, drum_of
from loopwright.explain.meter import Instrument
from loopwright.job.read import read
from loopwright.netlist.fault import OpenCore
from loopwright.netlist.loop import compile_loop, read_loops, with_faults

JOB = read(loopwright.demo.text("business")).job
SECTIONS, CASES, HERTZ = 60, 24, 100.0


def ladder(name: str, sections: list[tuple[float, float]], fault: str) -> str:
    """Return a pair in sections of (ohms there and back, nF), ended by ``fault``: a resistor's ohms, or nothing for a break."""
    lines, near = [], f"{name}_0"
    for n, (ohm, nf) in enumerate(sections):
        far = f"{name}_{n + 1}"
        lines += [f"R{far} {near} {far} {ohm:.9g}", f"C{far} {far} 0 {nf:.9g}n"]
        near = far
    return "\n".join([*lines, f"Rend{name} {near} 0 {fault or '1e13'}"])


def impedances(ngspice: str, pairs: list[str], hertz: float) -> list[complex]:
    """Return what one ampere of ac meets at the start of each pair."""
    text = "* pairs\n" + "\n".join(f"{pair}\nI{n} 0 p{n}_0 AC 1" for n, pair in enumerate(pairs))
    names = [f"p{n}_0" for n in range(len(pairs))]
    shown = "\n".join(f"print vr({name}) vi({name})" for name in names)
    text += f"\n.control\nset numdgt=10\nac lin 1 {hertz} {hertz}\n{shown}\n.endc\n.end\n"
    printed = subprocess.run([ngspice, "-b"], input=text, capture_output=True, text=True, check=False, timeout=120).stdout
    found = {(kind, name): float(value) for kind, name, value in re.findall(r"v([ri])\((p\d+_0)\) = (\S+)", printed)}
    return [complex(found["r", name], found["i", name]) for name in names]


def sections(line: Line, metres: float, ohm: float, pf: float) -> list[tuple[float, float]]:
    each = metres / SECTIONS
    return [(ohm * each, pf * each / 1000)] * SECTIONS


def holds(found: Found, metres: float) -> bool:
    return abs(found.metres - metres) <= 3 * found.spread_m


def test_a_short_is_found_from_both_ends_whatever_ohms_it_has(ngspice: str) -> None:
    draw, cases, pairs = Random(3), [], []
    for _ in range(CASES):
        line = line_of(JOB, draw.choice(list(JOB.cables)))
        at, own = draw.uniform(0, 1) * line.length_m, draw.choice([0.05, 3.0, 60.0, 800.0])
        ohm = line.ohm_per_m * draw.uniform(0.98, 1.03)
        pairs += [ladder(f"p{2 * len(cases)}", sections(line, at, ohm, 95), f"{own}")]
        pairs += [ladder(f"p{2 * len(cases) + 1}", sections(line, line.length_m - at, ohm, 95), f"{own}")]
        cases.append((line, at, own))
    read_ohm = [z.real for z in impedances(ngspice, pairs, 1e-3)]
    exact = Instrument(accuracy_pct=0.0, digits=0.0)
    for n, (line, at, own) in enumerate(cases):
        near, far = read_ohm[2 * n], read_ohm[2 * n + 1]
        assert holds(short_at(line, near, far, exact), at)
        usual = short_at(line, near * 1.004, far * 0.997 + 0.1)
        assert holds(usual, at)
        assert usual.fault_ohm == pytest.approx(own, rel=0.02, abs=0.6)
        assert usual.between[0] <= usual.metres <= usual.between[1]


def test_a_break_is_found_by_capacitance_against_a_spare_against_the_far_end_and_against_the_sheet(ngspice: str) -> None:
    draw, cases, pairs = Random(5), [], []
    for _ in range(CASES):
        line = line_of(JOB, draw.choice(list(JOB.cables)))
        at, pf = draw.uniform(0.02, 0.98) * line.length_m, line.pf_per_m * draw.uniform(0.87, 1.13)
        for metres in (at, line.length_m - at, line.length_m):
            pairs.append(ladder(f"p{len(pairs)}", sections(line, metres, line.ohm_per_m, pf), ""))
        cases.append((line, at))
    read_nf = [-1e9 / (2 * math.pi * HERTZ * z.imag) for z in impedances(ngspice, pairs, HERTZ)]
    for n, (line, at) in enumerate(cases):
        near, far, spare = read_nf[3 * n : 3 * n + 3]
        assert holds(break_at(line, near, far_nf=far), at)
        assert holds(break_at(line, near, spare_nf=spare), at)
        assert holds(break_at(line, near, spare_nf=spare, spare_m=line.length_m), at)
        by_sheet = break_at(line, near)
        assert holds(by_sheet, at)
        assert by_sheet.spread_m >= break_at(line, near, spare_nf=spare, spare_m=line.length_m).spread_m * 0.9


def test_readings_that_no_such_fault_makes_are_told_apart() -> None:
    line = line_of(JOB, "W52")
    whole = line.ohm_per_m * line.length_m
    with pytest.raises(NotOne, match="Over range is no short"):
        short_at(line, math.inf, 2.0)
    with pytest.raises(NotOne, match="less than"):
        short_at(line, whole / 5, whole / 5)
    with pytest.raises(NotOne, match="along a run of"):
        short_at(line, 3 * whole, 0.1)
    with pytest.raises(NotOne, match="along a run of"):
        break_at(line, 3 * line.pf_per_m * line.length_m / 1000)
    with pytest.raises(NotOne, match="Neither end"):
        break_at(line, 0.0, far_nf=0.0)
    assert "broken twice" in " ".join(break_at(line, 0.5, far_nf=0.5).taken)


def test_a_circuit_open_at_a_device_shows_the_cable_up_to_it(ngspice: str) -> None:
    """Circuit c05 with the lid switch of each device open: the runs up to there, by ngspice."""
    network, drum = compile_loop(JOB, "c05"), drum_of(JOB, "c05")
    lines = [line_of(JOB, run) for run in ("W14", "W15")]
    opened = [with_faults(network, OpenCore(f"c05.{n}.tamper")) for n in (0, 1)]
    rest = [float(read_loops([each])[0].field_ohm[0]) for each in (*opened, network)]
    mean, _ = capacitances((*opened, network), np.array(rest), drum)
    pairs = [
        ladder(f"p{n}", [part for line in lines[: n + 1] for part in sections(line, line.length_m, line.ohm_per_m, line.pf_per_m)], "")
        for n in (0, 1)
    ]
    theirs = [-1e9 / (2 * math.pi * HERTZ * z.imag) for z in impedances(ngspice, pairs, HERTZ)]
    assert mean[:2] == pytest.approx(theirs, rel=1e-4)
    assert math.isinf(mean[2])
