"""Explaining end to end: laws of the probabilities, mistakes of measurement, faults of every group, advice and when it stops."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

import loopwright.demo
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.explain import Inquiry, explain
from loopwright.explain.explanation import Explanation
from loopwright.explain.meter import METER_MISTAKES, NEXT_TO_NOTHING, Instrument, Mistake, Shown, chance_shown, chances_of_mistakes
from loopwright.explain.observation import read_observations
from loopwright.explain.telling import entry_of
from loopwright.explain.weigh.next_check import TIED
from loopwright.job.read import read

JOB = read(loopwright.demo.text("business")).job
INQUIRY = Inquiry(JOB)


def told(*entries: str) -> Explanation:
    return INQUIRY.explain(read_observations(JOB, "readings:\n" + "".join(f"  - {entry}\n" for entry in entries)))


def lead(found: Explanation) -> list[str]:
    return [cause.key for cause in found.answers[0].causes]


def test_the_digits_of_a_display_have_probabilities_that_sum_to_one() -> None:
    meter, mean, sd = Instrument(), np.array([2718.0, np.inf]), np.array([15.0, 1.0])
    steps = np.arange(2300, 3200, 1.0)
    total = sum(chance_shown(Shown(value=float(v), half=0.5, unit="Ω"), mean, sd, meter) for v in steps)
    assert total[0] == pytest.approx(1.0, abs=1e-6)
    assert total[1] == 0.0
    assert chance_shown(Shown(value=np.inf, half=0.0, unit="Ω"), mean, sd, meter).tolist() == [0.0, 1.0]
    # Beyond its highest range a meter shows over range for a resistance too.
    assert chance_shown(Shown(value=np.inf, half=0.0, unit="Ω"), np.array([9e7]), np.array([1e5]), meter)[0] == pytest.approx(1.0)


@pytest.mark.parametrize(("unit", "step"), [("V", 0.001), ("A", 0.001), ("nF", 0.01)])
def test_a_meter_that_touches_nothing_shows_what_a_dead_point_shows(unit: str, step: float) -> None:
    """Over all digits its chances sum to its prior, so that naught read at a dead point speaks for the point."""
    meter, mean, sd = Instrument(), np.array([0.0, 12.0]), np.array([NEXT_TO_NOTHING[unit] / 2, 0.1])
    total, ratio = 0.0, []
    for digit in range(-600, 601):
        seen = chances_of_mistakes(Shown(value=digit * step, half=step / 2, unit=unit), mean, sd, meter, np.inf)
        total += float(seen[Mistake.NO_CONTACT][0])
        ratio += [float(seen[Mistake.NONE][0] / seen[Mistake.NO_CONTACT][0])] if abs(digit) < 5 else []
    assert total == pytest.approx(METER_MISTAKES[Mistake.NO_CONTACT], rel=1e-6)
    assert ratio == pytest.approx([ratio[0]] * len(ratio))
    assert ratio[0] > 300


def test_a_gnawed_cable_and_a_staple_read_alike_wherever_they_are() -> None:
    for ohm in ("0.9 Ω", "2.0 Ω", "3.6 Ω"):
        found = told(f"{{where: c01, reading: {ohm}}}", "{where: c01, state: operated, reading: " + ohm + "}")
        chance = {cause.fault: cause.probability for answer in found.answers for cause in answer.causes}
        assert chance["D09"] / chance["D40"] == pytest.approx(6.0, rel=0.05), (
            "three times as common, and a gnawed run is broken half the time"
        )


def test_more_readings_of_a_sound_circuit_make_it_sounder() -> None:
    entries = [
        "{where: c01, reading: 2.70 kΩ}",
        "{where: c01, state: operated, reading: 9.50 kΩ}",
        "{where: c01, state: lid open, reading: OL}",
    ]
    entries += ["{where: c01, state: shorted, reading: 3.1 Ω}", "{where: c01, state: operated, shows: active}", "{where: c01, shows: rest}"]
    chances = [told(*entries[:count]).nothing for count in range(1, len(entries) + 1)]
    assert chances == sorted(chances)
    # What truly opens the door now and then is ruled out by no reading of a moment without it.
    assert chances[-1] > 0.6
    found = told(*entries)
    assert found.none_of_these < 1e-3


def test_a_reading_nothing_explains_raises_none_of_these() -> None:
    found = told(
        "{where: c01, reading: 47.3 kΩ}", "{where: c01, state: operated, reading: 7.7 Ω}", "{where: c01, state: lid open, reading: 612 Ω}"
    )
    assert found.none_of_these > 0.5
    assert "None of the known faults" in found.verdict


def test_a_wire_left_in_its_terminal_is_doubted() -> None:
    """2703 Ω beside the pull-up of 4.7 kΩ reads 1716 Ω; all else is right."""
    good = ["{where: c01, state: operated, reading: 9.50 kΩ}", "{where: c01, state: lid open, shows: tamper}", "{where: c01, shows: rest}"]
    good += ["{where: c01, reading: 1.84 V}", "{where: c01, state: shorted, shows: tamper}"]
    found = told("{where: c01, reading: 1716 Ω}", *good)
    assert found.doubts[0].read == "1716 Ω"
    assert "still in its terminal" in found.doubts[0].kind
    assert found.nothing > 0.5


def test_two_faults_in_different_circuits() -> None:
    found = told(
        "{where: c01, reading: 3.1 Ω}",
        "{where: c01, state: operated, reading: OL}",
        "{where: c04, state: operated, reading: 2.70 kΩ}",
        "{where: c04, state: lid open, reading: OL}",
        "{where: c04, reading: 2.70 kΩ}",
    )
    assert found.two_faults > 0.5
    best = found.pairs[0]
    assert {best[1].fault, best[2].fault} == {"D13", "D04"}


def test_a_dead_supply_explains_a_circuit_that_is_active() -> None:
    found = told("{where: c02, shows: active}", "{where: dual-lobby, reading: 0.0 V}", "{where: control.aux-1, reading: 13.6 V}")
    assert found.answers[0].causes[0].key == "D26@power:dual-lobby.supply"


@pytest.mark.parametrize(
    ("entries", "fault"),
    [
        (
            [
                "{where: control, at: battery, shows: yes}",
                "{where: control, at: leads, reading: 0.0 V}",
                "{where: control, at: fuse, reading: 0.0 V}",
                "{where: control, reading: 13.65 V}",
            ],
            "P06",
        ),
        (
            [
                "{where: control, at: battery, shows: yes}",
                "{where: control, at: fuse, reading: 12.9 V}",
                "{where: control, at: battery, reading: 12.9 V}",
            ],
            "P09",
        ),
        (["{where: control, at: battery, reading: -12.8 V}", "{where: control, at: fuse, reading: 12.8 V}"], "P10"),
        (["{where: control, at: battery, state: rested, reading: 10.6 V}", "{where: control, at: battery, shows: yes}"], "P13"),
        (
            [
                "{where: control.sounders, shows: yes}",
                "{where: control.sounders, reading: OL}",
                "{where: control.sounders, look: S04, answer: yes}",
            ],
            "S04",
        ),
        (["{where: keypad-press, shows: yes}", "{where: bus, look: B06, at: keypad-press, answer: yes}"], "B06"),
    ],
)
def test_faults_of_every_group_are_named(entries: list[str], fault: str) -> None:
    found = told(*entries)
    assert found.answers[0].causes[0].fault == fault
    assert found.answers[0].probability > 0.5


def test_advice_is_ranked_and_its_entry_reads_back_as_the_same_check() -> None:
    found = told("{where: c05, shows: active}")
    assert not found.stop
    ends = [each.end_minutes for each in found.next_checks]
    assert ends[0] <= min(ends) * (1 + TIED)
    assert all(each.bits > 0 and each.minutes > 0 for each in found.next_checks)
    weighed, _ = INQUIRY.weigh(read_observations(JOB, "readings:\n  - {where: c05, shows: active}\n"))
    for check in (check for part in weighed.rows.parts for check in part.predicted.checks):
        seen, *_ = read_observations(JOB, f"readings:\n  - {entry_with_a_result(check)}\n").seen
        assert seen.check == check


def entry_with_a_result(check: Check) -> str:
    entry = entry_of(check)
    if "reading" in entry:
        entry["reading"] = f"3 {check.unit}"
    for key in ("shows", "answer"):
        if key in entry:
            entry[key] = check.outcomes[0]
    return "{" + ", ".join(f"{key}: {value}" for key, value in entry.items()) + "}"


def test_it_stops_with_what_to_do() -> None:
    found = told(
        "{where: c01, reading: 2.70 kΩ}",
        "{where: c01, shows: rest}",
        "{where: c01, at: cores, reading: 3.2 Ω}",
        "{where: c01, state: shorted, shows: rest}",
        "{where: c01, state: lid open, shows: tamper}",
    )
    assert lead(found) == ["D11@circuits/c01"]
    assert found.stop
    assert found.verdict.startswith("Nothing further would change what you do")
    cause = found.answers[0].causes[0]
    assert cause.fix in found.verdict
    assert cause.working[2].here == "3.2 Ω"


def test_what_no_check_tells_apart_is_one_answer() -> None:
    found = told("{where: c05, state: operated dual-till, shows: rest}", "{where: c05, state: lid open dual-till, shows: rest}")
    assert {cause.fault for cause in found.answers[0].causes} == {"D33", "D36"}


def test_probabilities_sum_to_one_and_the_record_is_json() -> None:
    found = told("{where: c09, reading: 1.2 kΩ}", "{where: control, at: battery, shows: yes}")
    whole = found.nothing + found.others + found.none_of_these + found.two_faults + sum(answer.probability for answer in found.answers)
    assert whole == pytest.approx(1.0, abs=1e-9)
    assert found.others < 0.3
    data = json.loads(json.dumps(found.as_data(), allow_nan=False))
    expected = data["answers"][0]["causes"][0]["expected"]
    assert any("value_ohm" in each or "value_v" in each for each in expected)
    assert all({"minutes", "expected_minutes_to_the_end", "entry"} <= set(each) for each in data["next_checks"])


def test_the_same_readings_give_the_same_answer_whatever_was_asked_before() -> None:
    observed = read_observations(JOB, "readings:\n  - {where: c28, shows: tamper}\n")
    assert explain(JOB, observed) == INQUIRY.explain(observed)
    assert explain(replace(JOB, title="another"), observed).answers == INQUIRY.explain(observed).answers


def test_every_unit_has_a_way_to_be_read() -> None:
    weighed, _ = INQUIRY.weigh(read_observations(JOB, "readings:\n  - {where: c02, shows: active}\n"))
    kinds = {check.kind for part in weighed.rows.parts for check in part.predicted.checks}
    assert {CheckKind.OHM, CheckKind.VOLTS, CheckKind.STATE, CheckKind.CONTACT_OHM, CheckKind.DEVICE_VOLTS, CheckKind.LOOK} <= kinds
