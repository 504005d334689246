"""Two faults at once: the sum over kinds against every pair written out one by one."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

import loopwright.demo
from loopwright.explain.explain import Inquiry
from loopwright.explain.observation import read_observations
from loopwright.explain.weigh.likelihood import Rows
from loopwright.explain.weigh.posterior import TWO_FAULTS, prior
from loopwright.job.read import read

INQUIRY = Inquiry(read(loopwright.demo.text("business")).job)
CLOCK = "{where: control, at: clock, shows: yes}"
SEEN = {
    "two circuits": ["{where: c01, reading: 3.1 Ω}", "{where: c04, state: operated, reading: 2.70 kΩ}", "{where: c04, shows: rest}"],
    "two circuits and what is told of a zone": ["{where: c01, reading: 3.1 Ω}", "{where: z04, told: alarms, answer: yes}"],
    "words of the premises": [CLOCK, "{where: system, told: outage, answer: yes}", "{where: system, told: entry, answer: yes}"],
    "words and a circuit": [CLOCK, "{where: c04, shows: active}", "{where: z04, told: alarms, answer: yes}"],
}


def moved(rows: Rows) -> dict[int, set[str]]:
    """Return for each hypothesis what no two may share: parts that a meter reads, and the group of a fault of the whole."""
    out: dict[int, set[str]] = {}
    for row in range(1, rows.part.size):
        parts = {int(rows.part[row])} | {part for part, column in rows.dark.items() if column[row] >= 0}
        own = out.setdefault(int(rows.owner[row]), set())
        own |= {rows.parts[part].name for part in parts if not rows.parts[part].worded}
        own |= {rows.hypotheses[rows.owner[row]].fault.group} if rows.parts[rows.part[row]].worded else set()
    return out


@pytest.mark.parametrize("name", SEEN)
def test_all_pairs_are_those_written_out_one_by_one(name: str) -> None:
    text = "readings:\n" + "".join(f"  - {each}\n" for each in SEEN[name])
    found, left_out = INQUIRY.weigh(read_observations(INQUIRY.job, text), ahead=False)
    assert not left_out
    rows, before, moves = found.rows, prior(found.rows), moved(found.rows)
    own = {h: np.flatnonzero(rows.owner == h) for h in moves if rows.parts[rows.part[rows.owner == h][0]].paired}
    worded = [rows.parts[rows.index[each.check][0]].worded for each in found.used]
    sound = found.likely.chance[0]
    total, mass = 0.0, 0.0
    metered = {
        h: before[own[h]] @ np.prod(found.likely.chance[own[h]][:, [not w for w in worded]] / sound[[not w for w in worded]], axis=1)
        for h in own
    }
    for a, b in combinations(own, 2):
        if moves[a] & moves[b]:
            continue
        total += before[own[a]].sum() * before[own[b]].sum()
        words = 1.0
        for number, reading in enumerate(found.used):
            if worded[number]:
                one, other = (float(found.likely.chance[own[h][0], number]) for h in (a, b))
                words *= together(one, other, float(sound[number]), reading.told[0]) / float(sound[number])
        mass += metered[a] * metered[b] * words
    both = TWO_FAULTS * 2 * mass / float(before[1:].sum()) ** 2
    single = (before * np.prod(found.likely.chance / sound, axis=1)).sum()
    none = 0.01 * np.prod(found.likely.anything / sound)
    assert found.after.two_faults == pytest.approx(both / (both + single + none), rel=1e-9)
    assert found.after.paired.sum() == pytest.approx(2 * found.after.two_faults, rel=1e-9)
    assert sum(pair.probability for pair in found.after.pairs) <= found.after.two_faults


def together(one: float, other: float, sound: float, told: str) -> float:
    """Return the chance of a word under two faults: it is not said only where neither makes it be said."""
    if one == pytest.approx(sound, abs=1e-12) or other == pytest.approx(sound, abs=1e-12):
        return one * other / sound
    if told == "no":
        return one * other / sound
    return 1 - (1 - one) * (1 - other) / (1 - sound)
