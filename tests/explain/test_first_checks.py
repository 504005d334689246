"""What somebody who has done the job for years would check first, on the trade's hard questions."""

from __future__ import annotations

from functools import cache

import pytest

import loopwright.demo
from loopwright.explain.caution import caution_of
from loopwright.explain.check import Check, CheckKind
from loopwright.explain.explain import Inquiry
from loopwright.explain.explanation import Cause, Explanation
from loopwright.explain.observation import read_observations
from loopwright.job.read import read


@cache
def inquiry(name: str) -> Inquiry:
    return Inquiry(read(loopwright.demo.text(name)).job)


@cache
def explained(job: str, *entries: str) -> Explanation:
    own = inquiry(job)
    found = own.explain(read_observations(own.job, "readings:\n" + "".join(f"  - {each}\n" for each in entries)))
    assert not found.left_out
    return found


def causes(found: Explanation) -> list[Cause]:
    return [cause for answer in found.answers for cause in answer.causes]


def chance(found: Explanation, *names: str) -> float:
    return sum(cause.probability for cause in causes(found) if cause.fault.startswith(names))


OPEN = ("{where: c05, reading: 2.73 kΩ}", "{where: c05, shows: active}")
NIGHT = '{where: z05, told: hours, answer: "2026-01-12 03:02, 2026-01-14 03:05, 2026-01-15 02:58, 2026-01-19 03:01"}'


def test_what_reads_right_and_shows_open_is_of_the_programme_or_another_pair_and_no_ladder_comes_first() -> None:
    found = explained("business", *OPEN)
    assert {cause.fault for answer in found.answers[:3] for cause in answer.causes} >= {"D35", "D36"}
    # What a detector sees now and then seldom lasts while somebody reads the keypad and the meter.
    assert chance(found, "E") < 0.3 < chance(found, "D35", "D36", "D33")
    assert found.next_checks[0].by != "ladder"


def checks_of(circuit: str) -> tuple[Check, ...]:
    own = inquiry("business")
    weighed, _ = own.weigh(read_observations(own.job, f"readings:\n  - {{where: {circuit}, reading: OL}}\n"))
    return weighed.rows.parts[0].predicted.checks


def test_the_lid_of_what_hangs_high_is_opened_from_a_ladder() -> None:
    lids = [check for check in checks_of("c05") if "device's lid" in check.needs]
    assert lids
    assert all(check.by == "ladder" and "ladder" in check.needs for check in lids)
    assert all(check.by in ("caller", "lid") for check in checks_of("c01") if check.unit or check.device)


def test_detectors_of_one_circuit_are_named_together_in_what_they_see() -> None:
    found = explained("business", NIGHT)
    seen = [cause.fault for cause in causes(found) if cause.part == "system"]
    assert len(seen) == len(set(seen)) > 3
    assert all("Shop front detector" in cause.where and "Till detector" in cause.where for cause in causes(found) if cause.fault == "E01")
    asked = [check.words for check in found.next_checks]
    assert len(asked) == len(set(asked))


@pytest.mark.parametrize("at", ["c05", "dual-till", "dual-shop"])
def test_a_look_at_one_of_them_may_be_written_by_its_name(at: str) -> None:
    found = explained("business", NIGHT, f"{{where: system, look: E08, at: {at}, answer: yes}}")
    assert found.answers[0].causes[0].fault == "E08"


def test_nothing_that_follows_the_sun_is_thought_of_at_three_in_the_morning() -> None:
    assert chance(explained("business", NIGHT), "E02") < 0.1


def test_a_clock_lost_in_an_outage_is_asked_about_its_hours_and_its_battery_not_about_a_path() -> None:
    found = explained("dwelling", "{where: system, at: clock, shows: yes}", "{where: system, told: outage, answer: yes}")
    first = found.next_checks[0]
    assert first.by == "caller"
    assert first.entry.get("at") not in {"path", "report"}
    hours = [check for check in found.next_checks[:2] if check.entry.get("look") in {"T01", "P12", "P11"}]
    assert hours
    # Nobody touches a battery to say how long the electricity was off.
    assert all("battery" not in check.caution for check in hours)


def by_caller(check: Check) -> bool:
    return check.by == "caller"


@pytest.mark.parametrize(("lit", "asked"), [("yes", {"at": "others"}), ("no", {"at": "aux"})])
def test_of_a_dead_keypad_a_caller_is_first_asked_about_the_others_and_the_supply(lit: str, asked: dict[str, str]) -> None:
    for job, pad in (("dwelling", "pad-foyer"), ("business", "keypad-press")):
        own = inquiry(job)
        seen = f"readings:\n  - {{where: {pad}, shows: yes}}\n  - {{where: {pad}, at: lit, shows: {lit}}}\n"
        found = own.explain(read_observations(own.job, seen), may=by_caller)
        assert found.next_checks[0].entry.items() >= asked.items()


def test_of_alarms_at_the_same_hour_of_the_night_it_is_first_asked_what_starts_then() -> None:
    assert explained("business", NIGHT).next_checks[0].entry["told"] in {"heating", "plant"}


def test_what_is_only_told_hurts_nobody() -> None:
    own = inquiry("business")
    weighed, _ = own.weigh(read_observations(own.job, f"readings:\n  - {NIGHT}\n"))
    told = [check for part in weighed.rows.parts for check in part.predicted.checks if check.kind is CheckKind.TOLD]
    assert any(check.scenario == "alarms" for check in told)
    assert not any(caution_of(check) for check in told)
