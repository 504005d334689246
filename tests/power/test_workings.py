"""Every working whose substituted line is arithmetic is worked out again from that line, and gives the figure it stands under."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator

import pytest

from loopwright.appraisal.appraise import Appraisal, appraise
from loopwright.circuits.forecast import ohm_figure
from loopwright.circuits.forecast import volts_figure as circuit_volts_figure
from loopwright.demo import text
from loopwright.demo.synthetic import synthetic
from loopwright.job.read import read
from loopwright.power.forecast import forecast_power, heat_w, transformer_va, volts_figure
from loopwright.power.reading import mains_figure, output_figure, supply_figure
from loopwright.power.standby import recharge_figure, required_figure
from loopwright.values.figure import Figure, Origin

ARITHMETIC = re.compile(r"[\d\s.+\-*/()e]+")
IN_WORDS = ("the loop is interrupted", "the output is off", "nothing hangs on it", "it is never charged")


def worked_out(line: str) -> float | None:
    """Return what a substituted line comes to; None when it is written in words."""
    sums = line.partition(" = ")[0].replace("×", "*")
    return float(eval(sums)) if ARITHMETIC.fullmatch(sums) else None  # noqa: S307 - digits and operators only


def changed(old: str, new: str, before: str) -> str:
    """Return the text of a job with one place of it written otherwise."""
    assert before.count(old) == 1, old
    return before.replace(old, new)


def module_text() -> str:
    """Return the business with its expander feeding a detector from an output of its own, behind a diode."""
    own, feed = "loads: {supply: {unset_a: 36 mA, alarm_a: 40 mA, min_v: 8.5}}", "end: pir-landing, length_m: 10, feeds: [{output: "
    aux = f"{own}\n      outputs: {{aux: {{limit_a: 0.3, path_ohm: 0.4, diode_v: 0.5}}}}"
    return changed(f"{feed}supply-2.aux-1", f"{feed}expander.aux", changed(own, aux, text("business")))


def ring_text() -> str:
    """Return the business with its keypads in a ring, the run that closes it drawn towards the control unit."""
    closing = "W08: {sheet: six-core, start: keypad-office, end: keypad-press, length_m: 9, feeds: [{output: control.keypads}]}"
    return changed("  W05: {sheet", f"  {closing}\n  W05: {{sheet", text("business"))


def shared_return_text() -> str:
    """Return the business with the feed that has no return of its own written first, and its output watched."""
    hold_off = "      - {output: control.hold-off, load: hold-off, cores: 2}\n"
    trigger = "      - {output: control.trigger, load: trigger, return_cores: 0}"
    watch = "supervision: {resistor_ohm: 1k, pull_up_v: 5, pull_up_ohm: 4k7, short_below_ohm: 200, open_above_ohm: 3k3}"
    swapped = changed(hold_off, "", text("business"))
    swapped = changed(f"{trigger}  # comes back with the hold-off\n", f"{trigger}\n{hold_off}", swapped)
    output = "trigger: {limit_a: 500 mA, path_ohm: 0.2, on_in: [alarm]"
    return changed(f"{output}}}", f"{output}, {watch}}}", swapped)


JOBS: dict[str, Callable[[], str]] = {
    "business": lambda: text("business"),
    "dwelling": lambda: text("dwelling"),
    "made up": lambda: synthetic(30, 5),
    "module": module_text,
    "ring": ring_text,
    "shared return": shared_return_text,
}


def figures(it: Appraisal) -> Iterator[Figure]:
    job, power = it.job, it.power
    for load in power.loads:
        yield from (volts_figure(job, power, load, scenario) for scenario in power.names)
    for output in power.outputs:
        yield from (output_figure(job, power, output, scenario) for scenario in power.names)
    for supply in power.supplies:
        yield from (each(job, power, supply, scenario) for scenario in power.names for each in (supply_figure, mains_figure))
        yield from (made for made in (transformer_va(job, power, supply.name), heat_w(job, power, supply.name)) if made is not None)
    for item in it.standby:
        yield from (required_figure(job, item), recharge_figure(job, item))
    for circuit in it.circuits + it.watches:
        yield from (each(job, circuit, act) for act in circuit.acts for each in (ohm_figure, circuit_volts_figure))


@pytest.mark.parametrize("name", JOBS)
def test_a_working_comes_to_its_figure(name: str) -> None:
    """The lines carry three or four digits, so they come to the figure within what those leave out."""
    count = 0
    for figure in figures(appraise(read(JOBS[name]()).job)):
        line = figure.working().substituted
        found = worked_out(line)
        if found is None:
            assert line.startswith(IN_WORDS), (figure.key, line)
        elif figure.value is not None and not math.isnan(figure.value):
            count += 1
            assert found == pytest.approx(figure.value, rel=2e-3, abs=6e-3), (figure.key, line)
    assert count > 200


def test_a_module_behind_a_switched_output_is_live_only_when_that_is_on() -> None:
    switched = changed("aux-1: {limit_a: 750 mA, path_ohm: 0.1}", "aux-1: {limit_a: 750 mA, path_ohm: 0.1, on_in: [alarm]}", module_text())
    forecast = forecast_power(read(switched).job)
    live = forecast.load("pir-landing.supply").live
    assert live.tolist() == [name.startswith("alarm/") for name in forecast.names]


def test_volts_behind_a_module_count_its_diode_and_its_path() -> None:
    """In alarm on mains: what the module gets, less 0.5 V of its diode, less 0.4 Ω and 10 m of 92 Ω/km out and back at 14 mA."""
    forecast = forecast_power(read(module_text()).job)
    column = forecast.column("alarm/mains")
    module, far = (float(forecast.load(f"{name}.supply").volts_v[column]) for name in ("expander", "pir-landing"))
    assert far == pytest.approx(module - 0.5 - 0.014 * (0.4 + 2 * 10 * 0.092), abs=1e-4)


@pytest.mark.parametrize(("stated", "origin"), [("", Origin.RULESET), (", standby_h: 24", Origin.DOCUMENT)])
def test_hours_asked_for_name_who_asks(stated: str, origin: Origin) -> None:
    it = appraise(read(changed("ruleset: en-grade-2", f"ruleset: en-grade-2{stated}", text("business"))).job)
    hours = next(item for item in required_figure(it.job, it.standby[0]).working().inputs if item.name == "standby hours T1")
    assert hours.origin is origin
