"""Each fault's own forecast names it: what its network reads, and its look, lead back to it or to what nothing tells from it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest

import loopwright.demo
from loopwright.explain.check import CheckKind
from loopwright.explain.explain import Inquiry
from loopwright.explain.hypothesis import Part
from loopwright.explain.meter import Shown
from loopwright.explain.observation import Observations, read_observations
from loopwright.explain.weigh.likelihood import Seen
from loopwright.job.read import read

JOB = read(loopwright.demo.text("business")).job
INQUIRY = Inquiry(JOB)
AS_SHARP = {CheckKind.OHM, CheckKind.STATE, CheckKind.CONTACT_OHM, CheckKind.DEVICE_VOLTS, CheckKind.BATTERY_VOLTS, CheckKind.FUSE_VOLTS,
            CheckKind.LEADS_VOLTS, CheckKind.BUS_VOLTS, CheckKind.OUTPUT_VOLTS, CheckKind.OUTPUT_AMPS}  # fmt: skip


def readings(part: Part, number: int) -> Iterator[Seen]:
    """Yield what the middle variant of a hypothesis reads at every check, and its own look."""
    known, hypothesis = part.predicted, part.hypotheses[number]
    rows = np.flatnonzero(known.owner == number)
    row = int(rows[len(rows) // 2])
    for column, check in enumerate(known.checks):
        if check.kind is CheckKind.LOOK:
            if (check.fault, check.place) == (hypothesis.fault.id, hypothesis.place):
                yield Seen(check=check, told=("yes",))
        elif check.unit and check.kind in AS_SHARP:
            value = float(known.mean[row, column])
            half = 0.0 if math.isinf(value) else max(abs(value) * 0.002, 0.1)
            yield Seen(check=check, shown=Shown(value=value, half=half, unit=check.unit))
        elif check.kind in AS_SHARP:
            yield Seen(check=check, told=(check.outcomes[int(np.argmax(known.chances[column][row]))],))


def cases() -> Iterator[tuple[str, int, str]]:
    for where, entry in (("circuits/c01", "{where: c01, shows: rest}"), ("power", "{where: control, at: battery, shows: yes}")):
        part = part_of(where, entry)
        for number, hypothesis in enumerate(part.hypotheses):
            # What shows less than half the time and is seen at every check is rightly taken for something steady.
            if hypothesis.fault.present >= 0.5:
                yield where, number, hypothesis.key


def part_of(where: str, entry: str = "") -> Part:
    entry = entry or ("{where: c01, shows: rest}" if where.startswith("circuits") else "{where: control, at: battery, shows: yes}")
    weighed, _ = INQUIRY.weigh(read_observations(JOB, f"readings:\n  - {entry}\n"), ahead=False)
    return next(part for part in weighed.rows.parts if part.name == where)


@pytest.mark.parametrize(("where", "number", "key"), list(cases()), ids=lambda each: str(each))
def test_a_fault_is_named_by_what_it_makes_everything_read(where: str, number: int, key: str) -> None:
    part = part_of(where)
    seen = tuple(readings(part, number))
    weighed, _ = INQUIRY.weigh(Observations(seen=seen), ahead=False)
    order = np.argsort(-weighed.after.hypotheses)
    chances = weighed.after.hypotheses
    own = next(n for n, hypothesis in enumerate(weighed.rows.hypotheses) if hypothesis.key == key)
    # Another fault may read just the same (a detector blocked, its relay failed): then none is likelier than its weight makes it.
    weights = np.array([hypothesis.weight for hypothesis in weighed.rows.hypotheses])
    best = int(order[0])
    assert best == own or chances[own] >= 0.3 * chances[best] * weights[own] / weights[best], weighed.rows.hypotheses[best].key
    assert weighed.after.none_of_these < 0.05


def test_a_broken_run_shows_what_it_is_whatever_is_done_beyond() -> None:
    """Only where a pair hangs on another input does the keypad speak of something else; a broken run is open and stays so."""
    part = part_of("circuits/c01")
    known = part.predicted
    states = [column for column, check in enumerate(known.checks) if check.kind is CheckKind.STATE]
    broken = [row for row, owner in enumerate(known.owner.tolist()) if owner >= 0 and part.hypotheses[owner].fault.id == "D08"]
    moved = [row for row, owner in enumerate(known.owner.tolist()) if owner >= 0 and part.hypotheses[owner].fault.id == "D36"]
    assert broken
    assert moved
    rest = known.checks[states[0]].outcomes.index("rest")
    assert max(known.chances[column][row, rest] for column in states for row in broken) < 1e-6
    assert min(known.chances[column][row, rest] for column in states for row in moved) > 0.1
