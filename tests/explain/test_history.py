"""Since when it is wrong, and whether always: two questions that every fault looked into moves, whatever part it is of.

That a fault left by the fitter shows from the first day and a worn part after years is common practice, no source.
"""

from __future__ import annotations

import pytest

import loopwright.demo as demo
from loopwright.explain.catalogue import faults
from loopwright.explain.explain import Inquiry
from loopwright.explain.explanation import Explanation
from loopwright.explain.observation import read_observations
from loopwright.explain.whole.history import BEGINS, SINCE, STAYS, STEADY, stays
from loopwright.explain.whole.word import words
from loopwright.job.read import read

JOB = read(demo.text("business")).job
INQUIRY = Inquiry(JOB)
NEVER, WORK, LONG = words()[SINCE].outcomes
MISSING = "{where: keypad-press, at: missing, shows: yes}"
BATTERY = "{where: control, at: battery, shows: yes}"


def since(answer: str, word: str = SINCE) -> str:
    return f"{{where: system, told: {word}, answer: {answer}}}"


def explained(*entries: str) -> Explanation:
    found = INQUIRY.explain(read_observations(JOB, "readings:\n" + "".join(f"  - {each}\n" for each in entries)))
    assert not found.left_out
    return found


def chances(found: Explanation) -> dict[str, float]:
    out: dict[str, float] = {}
    for answer in found.answers:
        for cause in answer.causes:
            out[cause.fault] = out.get(cause.fault, 0.0) + cause.probability
    return out


def test_every_fault_begins_in_a_way_that_is_known() -> None:
    assert {fault.begins for fault in faults().values()} == set(BEGINS)
    assert {stays(fault) for fault in faults().values()} == set(STAYS)
    for chance in (*BEGINS.values(), *STAYS.values()):
        assert sum(chance) == pytest.approx(1.0)
        assert min(chance) > 0, "no answer rules a fault out"


def test_data_lines_swapped_are_no_fault_of_a_keypad_that_worked_for_years() -> None:
    before, new, old = (chances(explained(MISSING, *more)) for more in ((), (since(NEVER),), (since(LONG),)))
    assert new["B01"] > 1.3 * before["B01"] > 4 * old["B01"]
    assert old["D26"] > 2 * before["D26"] > 4 * new["D26"], "a core of its feed that broke"


def test_it_moves_a_supply_and_brings_nothing_in_by_itself() -> None:
    plain, old = explained(BATTERY), explained(BATTERY, since(LONG))
    assert old.looked_at == plain.looked_at
    assert chances(old)["P11"] > chances(plain)["P11"]


def test_what_it_was_told_moves_by_the_stated_chances_alone() -> None:
    """Bayes' rule by hand: between two single faults the odds move by the quotient of their stated chances."""
    said = since(WORK)
    plain, told = chances(explained(MISSING)), chances(explained(MISSING, said))
    at = words()[SINCE].outcomes.index(WORK)
    # A word may be misheard; that mixes the stated chance with an even one.
    moved = (told["B01"] / told["B02"]) / (plain["B01"] / plain["B02"])
    stated = BEGINS[faults()["B01"].begins][at] / BEGINS[faults()["B02"].begins][at]
    assert moved == pytest.approx(stated, rel=0.1)


def test_what_comes_and_goes_is_no_swapped_pair() -> None:
    always, at_times = (chances(explained(MISSING, since(answer, STEADY))) for answer in ("yes", "no"))
    assert always["B01"] > 2 * at_times["B01"], "swapped cores never answer"
    assert at_times["B05"] > 5 * always["B05"], "two with one address answer now and then"
    assert at_times["P19"] > always["P19"], "volts fall while keypads are lit"
    # Both together: each moves by its own chances.
    both = chances(explained(MISSING, since("no", STEADY), since(LONG)))
    assert both["B01"] < at_times["B01"]


def test_it_is_among_the_first_questions_where_a_caller_can_tell() -> None:
    found = INQUIRY.explain(read_observations(JOB, f"readings:\n  - {MISSING}\n"), may=lambda check: check.by == "caller")
    assert any(each.entry.get("told") == SINCE for each in found.next_checks)


@pytest.mark.parametrize(("answer", "as_now"), [("yes", NEVER), ("no", None)])
def test_a_file_that_asks_it_as_it_was_asked_before_is_read(answer: str, as_now: str | None) -> None:
    old = chances(explained(MISSING, since(answer, "first-day")))
    if as_now is not None:
        assert old == chances(explained(MISSING, since(as_now)))
    else:
        assert old["B01"] < chances(explained(MISSING))["B01"]


def test_another_answer_is_told_what_would_do() -> None:
    found = read_observations(JOB, f"readings:\n  - {since('last week')}\n")
    assert any("never yet, until work was done, for long" in problem for problem in map(str, found.problems))
