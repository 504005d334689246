"""The next check: what opens other questions counts for what they tell, and none is asked before it makes sense."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.explain.check import YES_NO, Check, CheckKind
from loopwright.explain.hypothesis import Floats
from loopwright.explain.weigh.at_hand import AtHand
from loopwright.explain.weigh.next_check import WRONG_MINUTES, advise
from loopwright.explain.weigh.outcome import Outcomes
from often import often


def outcomes(chances: list[Floats], minutes: list[float]) -> Outcomes:
    """Return checks answered with yes or no, by the chance of yes of each under each row."""
    checks = tuple(
        Check(kind=CheckKind.TOLD, where="system", scenario=str(n), minutes=each, outcomes=YES_NO) for n, each in enumerate(minutes)
    )
    yes = np.array(chances)
    return Outcomes(
        checks=checks,
        rows=np.arange(yes.shape[1] - 1),
        chance=np.stack((yes, 1 - yes), axis=2),
        reads=np.full(yes.shape, np.nan),
        edges=np.zeros((len(checks), 1)),
    )


def test_a_question_that_tells_nothing_is_asked_for_those_it_opens() -> None:
    outs = outcomes([np.array([0.9, 0.9, 0.9]), np.array([0.95, 0.03, 0.03])], [1.0, 1.0])
    p, group = np.array([0.5, 0.4, 0.1]), np.arange(3)
    assert advise(outs.only(lambda check: check.scenario == "0"), p, group).stop
    found = advise(outs, p, group, np.array([-1, 0]))
    assert not found.stop
    assert [each.check.scenario for each in found.checks] == ["0"]
    # Where the door is hardly ever open, what lies behind is not worth it.
    shut = outcomes([np.array([0.001, 0.001, 0.001]), np.array([0.95, 0.03, 0.03])], [1.0, 1.0])
    assert advise(shut, p, group, np.array([-1, 0])).stop


@given(
    st.lists(st.floats(0.02, 1.0), min_size=3, max_size=5),
    st.lists(st.floats(0.02, 0.98), min_size=5, max_size=5),
    st.floats(0.5, 20.0),
)
@settings(max_examples=often(25), deadline=None)
def test_a_door_that_costs_nothing_and_is_always_open_makes_no_difference(odds: list[float], yes: list[float], minutes: float) -> None:
    p = np.array(odds) / sum(odds)
    behind = np.array(yes[: p.size])
    group = np.arange(p.size)
    alone = advise(outcomes([behind], [minutes]), p, group)
    both = advise(outcomes([np.ones(p.size), behind], [1e-9, minutes]), p, group, np.array([-1, 0]))
    assert alone.stop == both.stop
    if not alone.stop:
        assert [each.check.scenario for each in both.checks] == ["0"]
        assert both.checks[0].end_minutes == pytest.approx(alone.checks[0].end_minutes, rel=1e-6)


def least(outs: Outcomes, mass: Floats, done: frozenset[int]) -> float:
    """Return the least expected minutes to the end times how likely the belief is, by exhaustive search."""
    found = (mass.sum() - mass.max()) * WRONG_MINUTES
    for number, check in enumerate(outs.checks):
        if number not in done:
            after = sum(least(outs, mass * outs.chance[number, :, cell], done | {number}) for cell in range(2))
            found = min(found, check.minutes * mass.sum() + after)
    return float(found)


def advised(outs: Outcomes, mass: Floats, done: frozenset[int]) -> float:
    """Return the expected minutes of what is advised, followed to the end over every answer."""
    left = [number for number in range(len(outs.checks)) if number not in done]
    some = outs.only(lambda check: int(check.scenario) in left)
    advice = advise(some, mass / mass.sum(), np.arange(mass.size))
    if advice.stop or not advice.checks:
        return float((mass.sum() - mass.max()) * WRONG_MINUTES)
    number = int(advice.checks[0].check.scenario)
    after = sum(advised(outs, mass * outs.chance[number, :, cell], done | {number}) for cell in range(2))
    return float(outs.checks[number].minutes * mass.sum() + after)


def test_a_check_that_makes_others_needless_comes_before_them() -> None:
    """An aged battery, a fuse, a charger, a lug, a stray trouble: the load settles the first, which leads; no order does better."""
    p = np.array([0.42, 0.22, 0.16, 0.12, 0.08])
    load, leads = [0.99, 0.02, 0.02, 0.02, 0.02], [0.01, 0.99, 0.99, 0.01, 0.01]
    lug, log, fuse = [0.02, 0.02, 0.02, 0.9, 0.02], [0.03, 0.03, 0.03, 0.03, 0.85], [0.01, 0.98, 0.01, 0.01, 0.01]
    outs = outcomes([np.array(each) for each in (load, leads, lug, log, fuse)], [5.0, 3.0, 3.0, 5.0, 2.5])
    assert advised(outs, p, frozenset()) <= 1.02 * least(outs, p, frozenset())


class Beside(AtHand):
    """Two readings beside each other: the second of them takes a minute, and everything else what it takes."""

    def __init__(self, beside: tuple[str, str], last: str = "") -> None:
        """Take which two, and what was done last."""
        self.beside, self.last = set(beside), last

    def now(self, check: Check) -> Check:
        """Return a check with the minutes it takes as the next one."""
        return replace(check, minutes=self.takes(self.last, check))

    def after(self, before: Check, check: Check) -> float:
        """Return the minutes a check takes straight after another."""
        return self.takes(before.scenario, check)

    def takes(self, before: str, check: Check) -> float:
        """Return the minutes of a check after another."""
        return 1.0 if before != check.scenario and {before, check.scenario} == self.beside else check.minutes


def test_what_can_be_read_beside_it_speaks_for_a_check() -> None:
    """Of two first readings that tell the same in the same time, that goes first beside which the second is soon read."""
    p, group = np.full(4, 0.25), np.arange(4)
    half, other = np.array([0.98, 0.98, 0.02, 0.02]), np.array([0.98, 0.02, 0.98, 0.02])
    outs = outcomes([half, half, other], [6.0, 6.0, 6.0])
    for beside in (("0", "2"), ("1", "2")):
        found = advise(outs, p, group, at_hand=Beside(beside))
        # Either of the two begins: the other is then at hand.
        assert found.checks[0].check.scenario in beside
        assert {found.checks[0].end_minutes} == {min(each.end_minutes for each in found.checks)}
        follows = advise(outs.only(lambda check, first=found.checks[0].check.scenario: check.scenario != first), p * half, group,
                         at_hand=Beside(beside, found.checks[0].check.scenario))  # fmt: skip
        assert (follows.checks[0].check.scenario, follows.checks[0].check.minutes) == (
            next(each for each in beside if each != found.checks[0].check.scenario), 1.0)  # fmt: skip
    plain = advise(outs, p, group)
    assert min(each.end_minutes for each in found.checks) == pytest.approx(plain.checks[0].end_minutes - 5.0, rel=0.02)
