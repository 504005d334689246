"""The observation file: what is read out of it, what is said of slips, and that the rest is used all the same."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

import loopwright.demo
from loopwright.explain.check import CheckKind
from loopwright.explain.explain import Inquiry, explain
from loopwright.explain.meter import Instrument
from loopwright.explain.observation import read_observations
from loopwright.explain.written import Unreadable, shown_of
from loopwright.job.read import read
from loopwright.netlist.loop import ActKind
from loopwright.values.error import JobError

JOB = read(loopwright.demo.text("business")).job


def only(entry: str):  # type: ignore[no-untyped-def]  # noqa: ANN201
    found = read_observations(JOB, f"readings:\n  - {entry}\n")
    assert not found.problems, [str(p) for p in found.problems]
    (seen,) = found.seen
    return seen


@pytest.mark.parametrize(
    ("entry", "kind", "where", "act", "device", "scenario"),
    [
        ("{where: c05, reading: 2k72}", CheckKind.OHM, "c05", ActKind.REST, "", ""),
        ("{where: z05, reading: OL}", CheckKind.OHM, "c05", ActKind.REST, "", ""),
        ("{where: control.5, reading: 1.8 V}", CheckKind.VOLTS, "c05", ActKind.REST, "", ""),
        ("{where: c05, at: cores, reading: 31 Ω}", CheckKind.CORES_OHM, "c05", ActKind.REST, "", ""),
        ("{where: c01, at: contact, reading: 0.3 Ω}", CheckKind.CONTACT_OHM, "c01", ActKind.REST, "door-front", ""),
        ("{where: c05, state: Shorted dual-till, shows: rest}", CheckKind.STATE, "c05", ActKind.SHORTED, "dual-till", ""),
        ("{where: c01, state: lid open, shows: tamper}", CheckKind.STATE, "c01", ActKind.LID_OPEN, "door-front", ""),
        (
            "{where: dual-till, state: alarm on battery, reading: 9 V}",
            CheckKind.DEVICE_VOLTS,
            "dual-till.supply",
            ActKind.REST,
            "",
            "alarm/battery",
        ),
        (
            "{where: sounder-street.trigger, state: set, reading: 0.0 V}",
            CheckKind.DEVICE_VOLTS,
            "sounder-street.trigger",
            ActKind.REST,
            "",
            "unset/mains",
        ),
        ("{where: control.aux-1, reading: 612 mA}", CheckKind.OUTPUT_AMPS, "control.aux-1", ActKind.REST, "", "unset/mains"),
        (
            "{where: control, at: battery, state: rested, reading: 12.8 V dc}",
            CheckKind.BATTERY_VOLTS,
            "control",
            ActKind.REST,
            "",
            "rested",
        ),
        ("{where: control, at: mains, shows: yes}", CheckKind.TROUBLE, "control", ActKind.REST, "", "mains"),
        ("{where: keypad-press, shows: yes}", CheckKind.TROUBLE, "keypad-press", ActKind.REST, "", "missing"),
        ("{where: control.sounders, at: silent, shows: yes}", CheckKind.TROUBLE, "control.sounders", ActKind.REST, "", "silent"),
    ],
)
def test_entries_find_their_check(entry: str, kind: CheckKind, where: str, act: ActKind, device: str, scenario: str) -> None:
    check = only(entry).check
    assert (check.kind, check.where, check.act, check.device, check.scenario) == (kind, where, act, device, scenario)


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ("{where: c50, shows: rest}", "Did you mean"),
        ("{where: c05, reading: 2.7}", "has no unit"),
        ("{where: c05, reading: -20 Ω}", "below naught"),
        ("{where: c05, reading: fine}", "is not a reading"),
        ("{where: c05, reading: 2 A}", "ohms, volts"),
        ("{where: c05, state: shorted, shows: rest}", "has 2 devices"),
        ("{where: c05, state: shorted door-shop, shows: rest}", "not a device on circuit c05"),
        ("{where: c05, state: upside down, shows: rest}", "not a state of a circuit"),
        ("{where: dual-till, state: sleeping, reading: 12 V}", "not a state of the system"),
        ("{where: c05, shows: green}", "not what a keypad shows"),
        ("{where: c05, look: D07, answer: maybe}", "no answer"),
        ("{where: c05}", "one of: reading"),
        ("{where: c05, shows: rest, reading: 3 V}", "one of: reading"),
        ("{shows: rest}", "where is missing"),
        ("{where: c05, shows: rest, colour: red}", "colour is not known"),
        ("just text", "must be a mapping"),
        ("{where: control.aux-1, reading: 40 Ω}", "not watched"),
    ],
)
def test_a_slip_costs_its_own_entry_only(entry: str, words: str) -> None:
    found = read_observations(JOB, f"readings:\n  - {entry}\n  - {{where: c05, reading: 2.72 kΩ}}\n")
    assert len(found.seen) == 1
    (problem,) = found.problems
    assert words in problem.message
    assert problem.line == 2


def test_what_the_job_does_not_have_is_left_out_with_a_sentence() -> None:
    found = explain(
        JOB, read_observations(JOB, "readings:\n  - {where: c14, state: operated, shows: active}\n  - {where: c14, shows: rest}\n")
    )
    assert found.used == 1
    assert "left out" in found.left_out[0]


def test_repeats_count_once_and_contradictions_stand_side_by_side() -> None:
    lines = ["{where: c05, reading: 2.7 kΩ}", "{where: c05, reading: 2.724 kΩ}", "{where: c05, reading: 3.9 kΩ}"]
    found = read_observations(JOB, "readings:\n" + "".join(f"  - {line}\n" for line in lines))
    assert [seen.text for seen in found.seen] == ["2.724 kΩ", "3.9 kΩ"]
    assert [(c.first.text, c.second.text) for c in found.contradictions] == [("2.724 kΩ", "3.9 kΩ")]
    told = explain(JOB, found)
    assert told.contradictions[0][1:] == ("2.724 kΩ", "3.9 kΩ")


def test_only_what_is_no_mapping_at_all_is_refused() -> None:
    with pytest.raises(JobError):
        read_observations(JOB, "- a list\n")
    assert read_observations(JOB, "format: 1\n").seen == ()
    assert explain(JOB, read_observations(JOB, "format: 1\n")).verdict.startswith("Nothing was read")


@pytest.mark.parametrize(
    ("text", "value", "half"),
    [
        ("2.72 kΩ", 2720, 5),
        ("2k7", 2700, 50),
        ("2200 Ω", 2200, 0.5),
        ("13.2 V", 13.2, 0.05),
        ("230 mA", 0.23, 0.0005),
        ("about 2.7 kΩ", 2700, 135),
    ],
)
def test_digits_say_how_finely_it_was_read(text: str, value: float, half: float) -> None:
    shown = shown_of(text, Instrument())
    assert shown.value == pytest.approx(value)
    assert shown.half == pytest.approx(half)


def test_over_range_in_every_spelling() -> None:
    assert all(math.isinf(shown_of(text, Instrument()).value) for text in ("OL", "o.l", "Over range", "∞"))


@given(st.text(max_size=30))
def test_any_text_is_a_reading_or_a_sentence(text: str) -> None:
    try:
        shown = shown_of(text, Instrument())
    except Unreadable as error:
        assert str(error).endswith(".")
    else:
        assert shown.half >= 0


def test_the_second_zone_of_a_pair_is_told_in_the_words_of_the_pair() -> None:
    assert only("{where: z14, state: operated hatch-store, shows: active}").told == ("fault",)
    assert only("{where: z14, shows: rest}").told == ("rest", "active")
    assert only("{where: z13, state: operated dual-store, shows: active}").told == ("active",)


def test_a_keypad_that_is_lit_or_dark_is_a_reading_of_its_volts_and_a_meter_still_tells_more() -> None:
    """Lit leaves the data, dark the supply or its polarity; the volts themselves are offered next where it is dark."""
    job = read(loopwright.demo.text("dwelling")).job
    inquiry = Inquiry(job)
    lead = "readings:\n - {where: pad-upstairs, shows: yes}\n - {where: pad-upstairs, at: others, shows: no}\n"
    found = {}
    for shows in ("yes", "no"):
        observed = read_observations(job, f"{lead} - {{where: pad-upstairs, at: lit, shows: {shows}}}\n")
        explained = inquiry.explain(observed)
        assert not explained.left_out
        found[shows] = {cause.fault: cause.probability for answer in explained.answers for cause in answer.causes}
        weighed, _ = inquiry.weigh(observed)
        assert weighed.outs is not None
        assert any(each.kind is CheckKind.DEVICE_VOLTS and each.where == "pad-upstairs.supply" for each in weighed.outs.checks)
    assert found["yes"]["B01"] > 20 * found["no"]["B01"] and found["no"]["D26"] > 20 * found["yes"].get("D26", 0)
    assert found["no"]["D27"] > 0.1 and found["yes"].get("D27", 0) < 0.01
    for where, shows, words in (
        ("control", "yes", "something feeds"),
        ("pad-upstairs", "perhaps", "a yes or a no"),
        ("c01", "yes", "keypad"),
    ):
        refused = read_observations(job, f"readings:\n - {{where: {where}, at: lit, shows: {shows}}}\n").problems
        assert refused and words in str(refused[0])


def test_who_tells_when_alarms_come_tells_that_there_were_some() -> None:
    inquiry = Inquiry(JOB)
    told = "readings:\n - {where: z05, told: hours, answer: same night hour}\n"
    alone = inquiry.explain(read_observations(JOB, told))
    both = inquiry.explain(read_observations(JOB, told + " - {where: z05, told: alarms, answer: yes}\n"))
    assert [(c.key, c.probability) for a in alone.answers for c in a.causes] == [
        (c.key, c.probability) for a in both.answers for c in a.causes
    ]
    # Who says that there were none is taken at their word.
    assert len(read_observations(JOB, told + " - {where: z05, told: alarms, answer: no}\n").seen) == 2


def test_nobody_is_asked_when_alarms_come_before_there_were_any() -> None:
    found = Inquiry(JOB).explain(read_observations(JOB, "readings:\n - {where: c05, reading: 2.73 kΩ}\n - {where: c05, shows: active}\n"))
    assert found.next_checks and not any(each.entry.get("told") in ("hours", "heating", "plant", "sun") for each in found.next_checks)


@pytest.mark.parametrize("reading", ("1e9 kΩ", "1000000000 kΩ", "3000 V", "2000 A", "-5000 V"))
def test_more_than_a_meter_shows_is_no_reading(reading: str) -> None:
    with pytest.raises(Unreadable, match="more than a meter shows"):
        shown_of(reading, Instrument())
    assert shown_of("400 MΩ", Instrument()).value == 4e8 and shown_of("230 V", Instrument()).value == 230


def test_another_format_is_told_and_what_can_be_used_is_used() -> None:
    found = read_observations(JOB, "format: 2\nreadings:\n  - {where: c05, reading: 2.72 kΩ}\n")
    assert len(found.seen) == 1 and "format 1" in found.problems[0].message
