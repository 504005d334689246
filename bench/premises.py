"""Generated premises for blind cases: the made-up jobs with three ways of wiring, watched sounder outputs and two kinds of supply."""

from __future__ import annotations

import re
from random import Random

from loopwright.demo.synthetic import synthetic
from loopwright.job.document import Job
from loopwright.job.read import read

WATCHED = "supervision: {resistor_ohm: 1k, pull_up_v: 5, pull_up_ohm: 3k3, short_below_ohm: 150, open_above_ohm: 4k7}"
TRANSFORMER = "conversion: transformer, transformer_va: 60, secondary_v: 16.5"


def premises(seed: int) -> Job:
    """Return a job of 12 to 40 devices on one supply, the same for the same seed."""
    draw = Random(seed)
    text = synthetic(draw.randint(12, 40), seed)
    found = re.search(r"resistor_sets: \{double: \{end_ohm: (\d+)", text)
    assert found is not None
    end = int(found[1])
    more = f"""
          single:
            - {{reads: short, to_ohm: {0.33 * end:.0f}}}
            - {{reads: rest, from_ohm: {0.6 * end:.0f}, to_ohm: {1.4 * end:.0f}}}
            - {{reads: open, from_ohm: {2.2 * end:.0f}}}
          none: [{{reads: rest, to_ohm: 600}}, {{reads: open, from_ohm: 2500}}]
        resistor_sets: {{single: {{end_ohm: {end}}}, double: {{end_ohm: {end}"""
    text = re.sub(r"\n +resistor_sets: \{double: \{end_ohm: \d+", more, text)
    text = re.sub(r"topology: double, resistors: \{end_ohm: (\d+), alarm_ohm: (\d+)\}", lambda m: _wired(m[1], m[2], draw), text)
    text = text.replace("bells: {limit_a: 1.5 A,", f"bells: {{limit_a: 1.5 A, {WATCHED},")
    if draw.random() < 0.5:
        text = text.replace("supply:\n        {output_v", f"supply:\n        {{{TRANSFORMER}, output_v")
    if draw.random() < 0.5:
        text = text.replace("model: QN-Sound, invented: true,", "model: QN-Sound, invented: true, self_powered: yes,")
    return read(text).job


def _wired(end: str, alarm: str, draw: Random) -> str:
    way = draw.choice(("double", "double", "single", "none"))
    both = f"resistors: {{end_ohm: {end}, alarm_ohm: {alarm}}}"
    return f"topology: {way}" + {"double": f", {both}", "single": f", resistors: {{end_ohm: {end}}}", "none": ""}[way]
