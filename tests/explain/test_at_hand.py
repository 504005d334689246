"""What stands ready saves minutes: a pair that is out, a lid that is off, a link that stays in, and no more than that."""

from __future__ import annotations

from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.demo.synthetic import synthetic
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.circuit.check import at_height
from loopwright.explain.explain import Inquiry
from loopwright.explain.observation import read_observations
from loopwright.explain.power.check import STATE_MINUTES
from loopwright.explain.weigh.at_hand import CARRIED_MINUTES, LEAST_MINUTES, LID_MINUTES, PAIR_MINUTES, AtHand
from loopwright.job.document import Job
from loopwright.job.read import read
from loopwright.netlist.loop import ActKind
from often import often


@cache
def site() -> tuple[Job, tuple[Check, ...]]:
    """Return premises and every check of a circuit in reach, of one out of reach, their supply and its outputs."""
    job = read(synthetic(24, 3)).job
    assert job is not None
    hung = {name: [at_height(job, hop.device) for hop in each.path if hop.device] for name, each in job.circuits.items()}
    some = [next(name for name, climbed in hung.items() if climbed and climbed[0] is height) for height in (False, True)]
    read_of = "".join(f"  - {{where: {name}, shows: active}}\n" for name in some)
    seen = read_observations(job, f"readings:\n{read_of}  - {{where: control, at: mains, shows: yes}}\n")
    weighed, _ = Inquiry(job).weigh(seen)
    assert weighed.outs is not None
    return job, weighed.outs.checks


def the(kind: CheckKind, act: ActKind = ActKind.REST, *, height: bool | None = None) -> list[Check]:
    """Return the checks of a kind in an act, only those from a ladder or from none where it is said."""
    return [c for c in site()[1] if c.kind is kind and c.act is act and height in (None, "ladder" in c.needs)]


@given(st.lists(st.integers(0, 10**6), min_size=1, max_size=6))
@settings(max_examples=often(60), deadline=None)
def test_nothing_takes_longer_for_what_stands_ready_nor_less_than_the_quickest(numbers: list[int]) -> None:
    job, checks = site()
    *done, check = [checks[n % len(checks)] for n in numbers]
    hand = AtHand(job, done)
    minutes = hand.now(check).minutes
    assert min(check.minutes, LEAST_MINUTES) <= minutes <= check.minutes
    assert hand.now(check) == check
    # What is done before it tells the same as what comes straight after it, in a visit that has just begun.
    if done:
        assert AtHand(job, done[-1:]).now(check).minutes == AtHand(job).after(done[-1], check) >= minutes


def test_a_pair_that_is_out_is_not_taken_out_again() -> None:
    job, _ = site()
    ohms = the(CheckKind.OHM)[0]
    volts, cores = (next(c for c in the(kind) if c.where == ohms.where) for kind in (CheckKind.VOLTS, CheckKind.CORES_OHM))
    assert AtHand(job).now(ohms).minutes == ohms.minutes
    assert AtHand(job, [ohms]).now(cores).minutes == cores.minutes - LID_MINUTES - PAIR_MINUTES
    # The lid stays off for the visit; the pair is back in once something else was read.
    assert AtHand(job, [ohms, volts]).now(cores).minutes == cores.minutes - LID_MINUTES


def test_what_is_done_at_a_device_stays_for_the_next_reading_alone() -> None:
    job, _ = site()
    for climbed in (False, True):
        shown = the(CheckKind.STATE, ActKind.SHORTED, height=climbed)
        assert shown, "the premises have devices in reach and out of it"
        ohms = next(c for c in the(CheckKind.OHM, ActKind.SHORTED) if c.device == shown[0].device)
        at_rest = next(c for c in the(CheckKind.OHM) if c.where == ohms.where)
        plain = at_rest.minutes
        # The link is still in: only the reading itself is left.
        assert AtHand(job, [shown[0]]).now(ohms).minutes == plain
        assert AtHand(job, [shown[0], at_rest]).now(ohms).minutes == ohms.minutes - LID_MINUTES - PAIR_MINUTES
        # Another act at the same device finds its lid off and the ladder there.
        lid = next(c for c in the(CheckKind.STATE, ActKind.LID_OPEN) if c.device == shown[0].device)
        less = LID_MINUTES + (CARRIED_MINUTES if climbed else 0.0)
        assert AtHand(job, [shown[0]]).now(lid).minutes == max(lid.minutes - less, LEAST_MINUTES)


def test_mains_that_are_off_stay_off_for_the_next_reading() -> None:
    job, checks = site()
    volts = [c for c in checks if c.kind in (CheckKind.BUS_VOLTS, CheckKind.BATTERY_VOLTS, CheckKind.OUTPUT_VOLTS)]
    first, second = [c for c in volts if c.scenario == "unset/battery"][:2]
    on = next(c for c in volts if c.scenario == "unset/mains")
    hand = AtHand(job)
    assert hand.after(first, second) == second.minutes - LID_MINUTES - STATE_MINUTES["unset/battery"]
    assert hand.after(on, second) == second.minutes - LID_MINUTES
