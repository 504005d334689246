"""Calls played through: the questions people ring with, what may be said to whom, dangers, what is normal, when to stop, what to send."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from desk.calls import ANN, Call
from loopwright import demo
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.desk.case import CALLED_BACK, NOT_IDENTIFIED, SKIPPED, Caller
from loopwright.desk.course import CALLER, KEPT_BY, LEAST_TURN, LIKELY_PART, NOT_UNTIL, NOTHING_FURTHER, turns
from loopwright.desk.figures import SOUNDING
from loopwright.desk.opening import asks, complaints, dangers
from loopwright.explain.caution import in_full
from loopwright.explain.learned import learned_weights
from loopwright.job.read import read
from loopwright.power.charge import TROUBLE_MAY_LAST_H

SHOWN = {"opening:battery-shown": "yes"}


@pytest.mark.parametrize("danger", dangers())
def test_a_danger_stops_everything_and_says_whom_to_call(house: Appraisal, danger: str) -> None:
    call = Call(house)
    call.case = replace(call.case, danger=danger, complaint="trouble-lamp")
    found = call.stands()
    assert found.step == "stop" and found.question is None and found.found is None and not found.verdicts
    said = dangers()[danger].say
    assert any(word in said for word in ("service", "electrician", "Emergency")), said
    assert not any(word in said.casefold() for word in ("reset", "isolate", "bypass", "enter the code"))


def test_danger_is_asked_before_anything_else_and_the_caller_before_the_system(house: Appraisal) -> None:
    call = Call(house)
    call.case = replace(call.case, danger="", caller=Caller())
    assert call.stands().step == "danger"
    call.case = replace(call.case, danger="none")
    assert call.stands().step == "caller"
    call.case = replace(call.case, caller=ANN)
    assert call.stands().step == "complaint"


@pytest.mark.parametrize("complaint", complaints())
def test_whoever_is_not_identified_learns_nothing_of_the_system(house: Appraisal, complaint: str) -> None:
    call = Call(house)
    call.case = replace(call.case, caller=replace(ANN, verified=NOT_IDENTIFIED))
    found = call.play(complaint, {"opening:trouble": "battery", "opening:beeps": "keypad"})
    assert found.step == "end" and found.done == NOT_UNTIL and found.say
    assert found.found is None and not found.verdicts and not found.hindrances and found.visit is None
    # What was asked until then names no part of this design.
    assert all(key.startswith("opening:") and not asks()[key.partition(":")[2]].guarded for key in call.asked)
    names = [zone.text for zone in house.job.zones.values()] + [area.name for area in house.job.areas.values()]
    assert not any(name in sentence for name in names for sentence in (*found.say, found.done))
    call.case = replace(call.case, caller=replace(ANN, verified=CALLED_BACK))
    assert call.stands().done != NOT_UNTIL


@pytest.mark.parametrize("complaint", ("wont-set", "keypad", "centre", "new-battery"))
def test_every_call_comes_to_an_end_also_about_premises_not_on_file(complaint: str, assumed: Appraisal) -> None:
    call = Call(assumed, on_file=False)
    found = call.play(complaint, {})
    assert found.step == "end" and found.done and not found.left_out
    assert len(call.asked) == len(set(call.asked)), "the same is never asked twice"


def test_only_checks_a_caller_can_do_are_asked(house: Appraisal) -> None:
    call = Call(house)
    for complaint in ("keypad", "wont-set", "new-battery"):
        call.case = replace(call.case, complaint=complaint, said=())
        for _ in range(12):
            found = call.stands()
            if found.question is None:
                break
            if found.found is not None and found.question.key.startswith("check:"):
                assert all(check.by == CALLER for check in found.found.next_checks)
                turning = [check for check in found.found.next_checks if turns(check) >= LEAST_TURN]
                best = max(check.bits / check.minutes for check in turning)
                assert found.question.bits / found.question.minutes == pytest.approx(best)
            call.answer(found.question.key, SKIPPED)


def test_row_6_a_new_battery_is_normal_until_it_has_charged(house: Appraisal) -> None:
    answers = {"opening:battery-since": "5", "opening:outage": "none", **SHOWN}
    call = Call(house)
    found = call.play("new-battery", answers)
    (verdict,) = found.verdicts
    assert verdict.normal and "goes by itself" in verdict.words and found.done == verdict.words and found.visit is None
    assert verdict.never and any("lugs" in each for each in in_full(verdict.caution))
    assert not any(key.startswith("check:") for key in call.asked), "what is normal is answered before a fault is looked for"
    late = Call(house)
    found = late.play("new-battery", answers | {"opening:battery-since": f"{TROUBLE_MAY_LAST_H + 1:g}"})
    assert found.verdicts[0].normal is False and found.done.startswith(NOTHING_FURTHER) and found.visit is not None
    assert "battery" in dict(found.visit.parts)


def test_row_10_a_keypad_that_is_lit_and_dead_ranks_the_bus(house: Appraisal) -> None:
    call = Call(house)
    found = call.play("keypad", {"opening:keypad": "pad-foyer", "opening:keypad-when": "always", "opening:keypad-lit": "yes"})
    assert found.found is not None and found.found.answers[0].causes[0].fault in {"B01", "B05", "B06", "D26"}
    assert any("data" in verdict.words for verdict in found.verdicts)
    assert 3 <= len(call.asked) <= 8


def test_row_11_several_modules_gone_points_away_from_one(house: Appraisal) -> None:
    one, all_gone = Call(house), Call(house)
    keys = {"opening:keypad": "pad-foyer", "opening:keypad-when": "always", "opening:keypad-lit": "yes"}
    several = {"B03", "B14", "B04", "P16", "P17", "D26", "P19"}

    def share(call: Call, others: str) -> float:
        found = call.play("keypad", keys | {"check:pad-foyer|others|||": others})
        assert found.found is not None
        return sum(c.probability for a in found.found.answers for c in a.causes if c.fault in several and c.place != "pad-foyer")

    assert share(all_gone, "yes") > share(one, "no")


def test_row_12_a_sounder_circuit_trouble_names_the_resistor(house: Appraisal) -> None:
    found = Call(house).play("trouble-lamp", {"opening:trouble": "siren"})
    assert found.found is not None
    faults = [cause.fault for answer in found.found.answers[:3] for cause in answer.causes]
    assert "S04" in faults and found.visit is not None and "resistor" in dict(found.visit.parts)


def test_row_13_a_siren_in_every_power_cut_points_to_the_main_battery(bindery: Appraisal) -> None:
    found = Call(bindery).play("siren", {"opening:siren-when": "outage", "opening:battery-since": "none", "opening:outage": "1", **SHOWN})
    assert any("main battery" in verdict.words for verdict in found.verdicts)
    assert found.visit is not None and found.visit.parts[0][0] == "battery"
    assert any(each.startswith("Battery") for each in found.visit.cautions)


def test_row_14_a_line_that_nobody_promised_is_no_defect(house: Appraisal) -> None:
    found = Call(house).play("trouble-lamp", {"opening:trouble": "line", "opening:line": "no"})
    assert found.verdicts[0].normal and "promises no telephone line" in found.done and found.verdicts[0].guarded
    network = Call(house).play("trouble-lamp", {"opening:trouble": "path", "opening:network": "no"})
    assert network.verdicts[0].normal is False and "stays watched" in network.verdicts[0].words


def test_row_15_a_lost_clock_is_held_against_the_hours_the_battery_lasts(house: Appraisal) -> None:
    (standby,) = house.standby
    assert standby.to_cut_out_h is not None
    for factor, normal in ((1.5, True), (0.2, False)):
        hours = f"{standby.to_cut_out_h * factor:.0f}"
        found = Call(house).play("after-outage", {"opening:outage": hours, "opening:back": "2", "opening:trouble": "clock"})
        (verdict,) = found.verdicts
        assert verdict.normal is normal and hours in verdict.words


def test_row_25_what_a_caller_can_do_ends_with_a_visit_and_its_parts(house: Appraisal) -> None:
    found = Call(house).play("new-battery", {"opening:battery-since": "none", "opening:outage": "none", **SHOWN})
    assert found.done.startswith(f"{NOTHING_FURTHER}: send a visit with") and found.visit is not None
    assert found.visit.causes and all(0 < chance <= 1 for _, chance in found.visit.parts)
    assert [chance for _, chance in found.visit.parts] == sorted((chance for _, chance in found.visit.parts), reverse=True)


def test_an_answer_that_is_taken_back_counts_for_nothing(house: Appraisal) -> None:
    call = Call(house)
    call.case = replace(call.case, complaint="new-battery")
    before = call.stands()
    call.answer("opening:battery-since", "5")
    assert call.stands().question != before.question
    call.case = call.case.back()
    assert call.stands() == before


def test_what_keeps_it_from_being_set_is_asked_one_by_one(bindery: Appraisal) -> None:
    call = Call(bindery)
    area = next(name for name, each in bindery.job.areas.items() if not each.common_to)
    answers = {"opening:area": area, "opening:zone-open": "none"}
    call.play("wont-set", answers)
    asked = [key for key in call.asked if key.startswith("hindrance:")]
    assert len(asked) >= 5
    found = Call(bindery).play("wont-set", answers | {asked[1]: "yes"})
    assert f"hindrance:{found.hindrances[0].hindrance}" == asked[1] and found.hindrances[0].applies == "yes"
    assert found.done.startswith(f"{KEPT_BY} {found.hindrances[0].sentence} May set in spite of it: ") and "May clear it: " in found.done


def test_closed_cases_move_what_is_sent(house: Appraisal) -> None:
    answers = {"opening:battery-since": "none", "opening:outage": "none", **SHOWN}
    before = Call(house).play("new-battery", answers)
    after = Call(house, weights=learned_weights(["P09"] * 8)).play("new-battery", answers)
    assert before.visit is not None and after.visit is not None
    assert dict(after.visit.parts)["battery fuse"] > 2 * dict(before.visit.parts)["battery fuse"]


def test_row_9_a_keypad_that_restarts_when_the_siren_sounds_is_held_against_its_volts(bindery: Appraisal, assumed: Appraisal) -> None:
    answers = {"opening:keypad": "keypad-press", "opening:keypad-when": "sounding"}
    call = Call(bindery)
    found = call.play("keypad", answers)
    assert "opening:keypad-lit" not in call.asked, "what restarts was lit before"
    volts = {state: bindery.power.load("keypad-press.supply").volts_v[bindery.power.column(state)] for state in SOUNDING}
    (verdict,) = found.verdicts
    assert all(f"{each:.1f} V" in verdict.words for each in volts.values()) and "9 V are enough" in verdict.words
    assert found.found is not None and found.found.answers[0].causes[0].fault == "P19"
    assert call.stands().found is not None and {"D26", "B01"}.isdisjoint(a.causes[0].fault for a in found.found.answers[:3])
    supposed = Call(assumed, on_file=False).play("keypad", answers | {"opening:keypad": "keypad-1"})
    assert supposed.verdicts[0].words.startswith("With what is assumed")


def test_row_9_a_design_with_too_long_a_run_says_so_and_what_would_do() -> None:
    text = demo.text("business").replace("end: keypad-press, length_m: ", "end: keypad-press, length_m: 9")
    long = appraise(read(text).job)
    found = Call(long).play("keypad", {"opening:keypad": "keypad-press", "opening:keypad-when": "sounding"})
    assert found.verdicts[0].normal is False and "follows from the design" in found.verdicts[0].words
    assert "mm²" in found.verdicts[0].words or "a supply nearer" in found.verdicts[0].words


def test_row_11_what_comes_and_goes_is_held_against_the_bus_of_the_design(bindery: Appraisal) -> None:
    answers = {"opening:keypad": "keypad-press", "opening:keypad-when": "at-times", "opening:keypad-lit": "yes"}
    words = [each.words for each in Call(bindery).play("keypad", answers).verdicts]
    assert any("Length, forks, addresses" in each for each in words)
    twice = next(line for line in demo.text("business").splitlines() if line.strip().startswith("keypad-lobby:"))
    address = re.search(r"address: (\d+)", twice)
    mine = next(line for line in demo.text("business").splitlines() if line.strip().startswith("keypad-press:"))
    assert address is not None
    made = demo.text("business").replace(mine, re.sub(r"address: \d+", address[0], mine))
    wrong = Call(appraise(read(made).job)).play("keypad", answers).verdicts
    assert any(each.normal is False and "address" in each.words for each in wrong)


def test_row_11_what_worked_for_long_was_not_wired_wrongly_from_the_first_day(bindery: Appraisal) -> None:
    answers = {"opening:keypad": "keypad-press", "opening:keypad-when": "at-times", "opening:keypad-lit": "yes"}

    def wrongly_wired(since: str) -> float:
        call = Call(bindery)
        found = call.play("keypad", answers | {"opening:keypad-since": since}).found
        assert found is not None and "check:system||||before" not in call.asked, "the same is not asked in other words"
        return sum(cause.probability for each in found.answers for cause in each.causes if cause.fault in {"B01", "B06"})

    assert wrongly_wired("long") < wrongly_wired("work") < wrongly_wired("first")


def test_row_16_a_leak_to_earth_leads_to_the_order_of_parting(bindery: Appraisal) -> None:
    call = Call(bindery)
    found = call.play("trouble-lamp", {"opening:trouble": "earth"})
    where = next(each for each in found.verdicts if each.part)
    assert where.part == "?find=earth:control#where" and "half by half" in where.words and "mains" in where.caution
    assert [key for key in call.asked if key.startswith("check:")] == ["check:system||||before"], (
        "no lamp a caller reads out says where a leak is"
    )
    assert found.visit is not None and found.visit.causes[0].startswith("One leg leaking to earth")
    assert not any("Exit time" in each for each in found.visit.causes), "what explains nothing that was told is nothing to send for"


def test_row_16_a_leak_to_earth_where_nothing_is_on_file_names_no_cable_that_is_only_assumed(assumed: Appraisal) -> None:
    found = Call(assumed, on_file=False).play("trouble-lamp", {"opening:trouble": "earth"})
    where = next(each.words for each in found.verdicts if each.part)
    assert "as is assumed" in where and not any(re.search(rf"\b{name}\b", where) for name in assumed.job.cables)


YEARS = """
observations:
  - {at: 2023-03-14 10:10, by: J. Pell, where: c08, state: at rest, reading: 2.72 kΩ}
  - {at: 2026-03-10 11:20, by: J. Pell, where: c08, state: at rest, reading: 3.04 kΩ}
"""


def test_row_18_what_trips_twice_a_year_is_held_against_the_readings_on_record(bindery: Appraisal, assumed: Appraisal) -> None:
    zone = next(name for name, each in bindery.job.zones.items() if each.circuit == "c08")
    (bare,) = Call(bindery).play("false-alarms", {"opening:zone": zone}).verdicts
    assert bare.normal is None and "at most one reading" in bare.words and "twice a year in 15 of 100" in bare.words
    creeping = appraise(read(re.sub(r"\nobservations:\n(?:  .*\n)*", "\n", demo.text("business")) + YEARS).job)
    found = Call(creeping).play("false-alarms", {"opening:zone": zone})
    assert found.verdicts[0].normal is False and "320 Ω more since 2023-03-14" in found.verdicts[0].words and found.verdicts[0].guarded
    assert not Call(assumed, on_file=False).play("false-alarms", {"opening:zone": next(iter(assumed.job.zones))}).verdicts


def test_a_part_that_is_hardly_ever_wanted_is_listed_and_not_sent_for(bindery: Appraisal) -> None:
    found = Call(bindery).play("false-alarms", {"opening:zone": "z08"})
    assert found.visit is not None and found.visit.parts
    named = found.done.partition(" with ")[2]
    assert all((part in named) is (chance >= LIKELY_PART) for part, chance in found.visit.parts)


def test_row_5_a_technician_is_led_to_where_readings_are_taken_down(bindery: Appraisal) -> None:
    call = Call(bindery)
    found = call.play("trade", {"opening:trade": "old"})
    assert found.step == "end" and found.part == "old"
    call.case = replace(call.case, caller=replace(ANN, verified=NOT_IDENTIFIED))
    assert call.stands().done == NOT_UNTIL and not call.stands().part


def test_what_keeps_it_from_being_set_is_not_asked_twice(bindery: Appraisal) -> None:
    call = Call(bindery)
    found = call.play("wont-set", {"opening:area": "shop", "opening:zone-open": "none"})
    assert "hindrance:service-mode" in call.asked, "what a technician left behind stands in no document"
    again = {"check:system|memory|||", "check:system|path|||", "check:system|line|||", "check:system|lid|||", "check:system||||refused"}
    assert not again & set(call.asked) and len(call.asked) <= 16
    assert found.found is not None


def test_one_area_is_not_asked_for(assumed: Appraisal) -> None:
    call = Call(assumed, on_file=False)
    call.play("wont-set", {"opening:zone-open": "none"})
    assert "opening:area" not in call.asked and "hindrance:memory" in call.asked
