"""The posterior against a library for Bayesian networks (pyAgrum, exact inference by junction tree): single faults, pairs, none of these.

The library brings plotting and learning libraries of several hundred megabytes, so it is not among the locked requirements: where it is
not installed these tests are skipped and say so. ``pip install pyagrum`` brings it.
"""

from __future__ import annotations

import numpy as np
import pytest

import loopwright.demo
from loopwright.explain.explain import Inquiry, Weighed
from loopwright.explain.learned import NONE_OF_THESE, NOTHING
from loopwright.explain.observation import read_observations
from loopwright.explain.weigh.posterior import TWO_FAULTS
from loopwright.job.read import read

gum = pytest.importorskip("pyagrum", reason="pyAgrum is not installed: too heavy to be locked")

SEEN = {
    "one short pair": "  - {where: p01, reading: 1.3 Ω}\n  - {where: p01, state: operated, reading: OL}\n",
    "a stuck contact": "  - {where: p02, reading: 3.30 kΩ}\n  - {where: p02, state: operated, shows: rest}\n",
    "nothing wrong": "  - {where: p03, reading: 3.31 kΩ}\n  - {where: p03, state: operated, shows: active}\n",
    "nothing fits": "  - {where: p03, reading: 413 Ω}\n  - {where: p03, state: operated, reading: 61 Ω}\n",
    "two circuits at fault": "  - {where: p01, reading: 1.3 Ω}\n  - {where: p01, state: shorted, reading: 1.3 Ω}\n"
    "  - {where: p02, reading: OL}\n  - {where: p02, shows: active}\n",
}


def weighed(text: str) -> Weighed:
    job = read(loopwright.demo.text("dwelling")).job
    found, left_out = Inquiry(job).weigh(read_observations(job, f"readings:\n{text}"), ahead=False)
    assert not left_out
    return found


def states(found: Weighed) -> tuple[np.ndarray, np.ndarray]:
    """Return the prior of every state of the world and the chance of every reading in it: nothing, singles, pairs, none of these.

    Written out state by state from the words of the model, not with its arrays.
    """
    rows, chance = found.rows, found.likely.chance
    own = [reading.check.where for reading in found.used]
    weight = np.array([rows.hypotheses[o].weight * s if o >= 0 else 0.0 for o, s in zip(rows.owner, rows.share, strict=True)])
    # Two that move the readings of one part stand beside each other nowhere, nor does what was not spoken of. Words were not asked.
    parts = {part.name.partition("/")[2]: number for number, part in enumerate(rows.parts)}
    every = [{int(rows.part[r])} | {part for part, column in rows.dark.items() if column[r] >= 0} for r in range(weight.size)]
    whole = [set().union(*(every[r] for r in np.flatnonzero(rows.owner == owner))) for owner in range(len(rows.hypotheses))]
    moves = [{part for part in (whole[owner] if owner >= 0 else ()) if not rows.parts[part].worded} for owner in rows.owner]
    able = [r for r in range(1, weight.size) if rows.parts[rows.part[r]].paired]
    pairs = [(a, b) for n, a in enumerate(able) for b in able[n + 1 :] if not moves[a] & moves[b]]
    total = sum(weight[a] * weight[b] for a, b in pairs)
    two = TWO_FAULTS * 2 * total / weight.sum() ** 2
    single = 1 - NOTHING - NONE_OF_THESE - two
    prior = [NOTHING, *(single * weight[1:] / weight.sum())]
    likely = [chance[0], *chance[1:]]
    for a, b in pairs:
        prior.append(two * weight[a] * weight[b] / total)
        who = [next((row for row in (a, b) if parts[where] in moves[row]), 0) for where in own]
        likely.append(np.array([chance[row, number] for number, row in enumerate(who)]))
    return np.array([*prior, NONE_OF_THESE]), np.array([*likely, found.likely.anything])


@pytest.mark.parametrize("name", SEEN)
def test_posterior_equals_exact_inference(name: str) -> None:
    found = weighed(SEEN[name])
    prior, likely = states(found)
    net = gum.BayesNet()
    world = net.add(gum.LabelizedVariable("world", "", len(prior)))
    net.cpt(world).fillWith(prior.tolist())
    for number in range(likely.shape[1]):
        child = net.add(gum.LabelizedVariable(f"reading{number}", "", 2))
        net.addArc(world, child)
        net.cpt(child).fillWith(np.stack((1 - likely[:, number], likely[:, number]), axis=1).ravel().tolist())
    engine = gum.LazyPropagation(net)
    engine.setEvidence({f"reading{number}": 1 for number in range(likely.shape[1])})
    engine.makeInference()
    theirs = engine.posterior("world").toarray()
    count = found.rows.part.size
    assert found.after.rows == pytest.approx(theirs[:count], abs=1e-9)
    assert found.after.none_of_these == pytest.approx(theirs[-1], abs=1e-9)
    assert found.after.two_faults == pytest.approx(theirs[count:-1].sum(), abs=1e-9)
    assert found.after.rows.sum() + found.after.none_of_these + found.after.two_faults == pytest.approx(1.0, abs=1e-12)
