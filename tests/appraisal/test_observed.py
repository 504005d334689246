"""Readings on record: what a meter would show is called as forecast, what a wrong part makes of it is not, and words never break it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

import loopwright.demo
from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.appraisal.observed import Held, Verdict, held_readings, measurement, scenario_of
from loopwright.job.document import Job, Observation
from loopwright.job.read import read
from loopwright.netlist.loop import ActKind
from loopwright.power.forecast import CONDITIONS, scenario_words
from loopwright.values.figure import Figure


@cache
def known() -> Appraisal:
    return appraise(read(loopwright.demo.text("business")).job)


def noted(where: str, reading: str, state: str = "", *, job: Job | None = None) -> Held:
    """Return a reading held against the forecast of the example, or of another job."""
    entry = Observation(at="2025-01-01", by="J. Pell", where=where, state=state, reading=reading)
    base = known() if job is None else appraise(job)
    return held_readings(replace(base, job=replace(base.job, observations=(entry,))))[0]


def value_of(held: Held) -> float:
    assert isinstance(held.figure, Figure) and held.figure.value is not None, held
    return held.figure.value


def test_the_examples_own_readings_are_held_against_their_forecast() -> None:
    circuit, sounder = held_readings(known())
    assert circuit.verdict is Verdict.AGREES and circuit.figure is not None and circuit.figure.key == "ohm/c11/rest/"
    assert sounder.verdict is Verdict.AGREES and sounder.figure is not None
    assert sounder.figure.key == "volts/sounder-press.supply/alarm/mains"


def test_what_a_circuit_should_read_is_as_forecast_and_another_end_resistor_is_not() -> None:
    # Every circuit read with the other of the example's two end resistors in it; the loop's own ohms are far below their difference.
    seen = 0
    for item in known().circuits:
        ohm = item.rest.field_ohm
        if math.isfinite(ohm) and ohm > 500:
            assert noted(item.circuit, f"{ohm:.0f} ohm").verdict is Verdict.AGREES, item.circuit
            assert noted(item.circuit, f"{ohm * 1.22:.0f} ohm").verdict is Verdict.DIFFERS, item.circuit
            seen += 1
    assert seen > 5


@pytest.mark.parametrize(
    ("words", "kind"),
    [("at rest", ActKind.REST), ("", ActKind.REST), ("activated", ActKind.ACTIVATED), ("lid open", ActKind.LID_OPEN), ("cut", ActKind.CUT),
     ("shorted", ActKind.SHORTED), ("walked past, alarm", ActKind.ACTIVATED)],
)  # fmt: skip
def test_the_state_in_words_chooses_the_act(words: str, kind: ActKind) -> None:
    held = noted("c03", "1 kΩ", words)
    assert held.figure is not None and held.figure.key.split("/")[2] == kind


def test_volts_at_every_device_in_every_state_are_as_forecast_and_a_volt_and_a_half_less_is_not() -> None:
    power = known().power
    for load in power.loads[:6]:
        for name in power.names:
            volts = float(load.volts_v[power.column(name)])
            if not load.live[power.column(name)] or name.endswith("recharging"):
                continue
            assert noted(load.name, f"{volts:.3f} V", scenario_words(name)).verdict is Verdict.AGREES, (load.name, name)
            assert noted(load.name, f"{volts - 1.5:.3f} V", scenario_words(name)).verdict is Verdict.DIFFERS, (load.name, name)


def test_every_scenario_is_understood_in_its_own_words() -> None:
    for state in ("unset", "set", "entry", "alarm"):
        for condition in set(CONDITIONS) - {"mains-no-battery"}:
            assert scenario_of(scenario_words(f"{state}/{condition}")) == f"{state}/{condition}"
    assert scenario_of("set, mains, no battery") == "set/mains-no-battery"


def test_a_divider_by_hand_is_as_forecast() -> None:
    """The volts on an input are those of two resistors in series (Ohm's law), reckoned here without the program's network."""
    item = next(each for each in known().circuits if each.circuit == "c03")
    pull, loop = item.network.pull_up, item.rest.field_ohm
    by_hand = pull.open_v * loop / (loop + pull.ohm)
    held = noted("c03", f"{by_hand:.2f} V", "at rest")
    assert held.verdict is Verdict.AGREES and abs(value_of(held) - by_hand) < 0.01


def test_volts_at_an_output_are_those_at_its_load_and_the_drop_on_the_way() -> None:
    """Kirchhoff round the loop of the second supply's only run: what is lost on the way is amperes by ohms of its two cores."""
    power, job = known().power, known().job
    load = next(each for each in power.loads if each.landing.runs == ("W07",) and each.landing.output)
    output = load.landing.output or ""
    held = noted(output, "13 V", "unset, on mains")
    cable, sheet = job.cables["W07"], job.sheets.cables[job.cables["W07"].sheet]
    assert sheet.ohm_per_km is not None
    feed = next(each for each in cable.feeds if each.output == output)
    core_ohm = sheet.ohm_per_km * (cable.length_m + cable.slack_m) / 1000
    amps = next(each for each in power.outputs if each.name == output).amps_a[power.column("unset/mains")]
    dropped = value_of(held) - float(load.volts_v[power.column("unset/mains")])
    assert dropped == pytest.approx(amps * core_ohm * (1 / feed.cores + 1 / feed.cores_back), rel=0.05)


@pytest.mark.parametrize(
    ("where", "reading", "words"),
    [("the attic", "3 V", "names no circuit"), ("c11", "3310", "names no unit"), ("c11", "about three", "no number of ohms"),
     ("W22", "2 kΩ", "ohms are forecast of circuits"), ("keypad-press", "0.1 A", "name the output"),
     ("c11", "1 A", "not forecast of a circuit")],
)  # fmt: skip
def test_what_cannot_be_compared_says_why(where: str, reading: str, words: str) -> None:
    held = noted(where, reading)
    assert held.verdict is Verdict.SILENT and held.figure is None and words in held.words


def test_a_place_is_known_by_what_people_call_it() -> None:
    assert value_of(noted("Press hall sounder, at its terminals", "10 V", "alarm")) == value_of(noted("sounder-press", "10 V", "alarm"))
    assert value_of(noted("zone 11", "3 kΩ")) == value_of(noted("c11", "3 kΩ"))
    assert value_of(noted("far end of W22", "12 V")) == value_of(noted("mask-press", "12 V"))


def test_too_few_volts_are_said_beside_the_difference() -> None:
    assert "it needs" in noted("sounder-press", "6 V", "alarm, on mains").words


@pytest.mark.parametrize("text", ["OL", "o.l.", "Over range", "open"])
def test_over_range_is_a_reading(text: str) -> None:
    assert measurement(text) == (math.inf, "Ω")


@given(st.text(max_size=40), st.text(max_size=40), st.text(max_size=40))
def test_no_words_break_it(where: str, state: str, reading: str) -> None:
    held = noted(where or "x", reading or "x", state)
    assert held.verdict in Verdict and (held.figure is not None or held.words)


@given(st.sampled_from(["c11", "c03 at the lid", "sounder-press", "control.aux-1", "W22", "control"]), st.text(max_size=30),
       st.floats(0, 1e5), st.sampled_from(["Ω", "V", "A", "kΩ", "mA"]))  # fmt: skip
def test_no_number_breaks_it(where: str, state: str, value: float, unit: str) -> None:
    noted(where, f"{value:.6g} {unit}", state)
