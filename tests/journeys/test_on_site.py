"""On site in a real browser: a planted fault found by following the advice, a first power-up worked through, a network that is lost."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

import loopwright.demo
from loopwright.appraisal.appraise import appraise
from loopwright.circuits.forecast import CircuitForecast
from loopwright.explain.check import CheckKind
from loopwright.explain.terminal import check_of
from loopwright.job.document import EndPlace, Job
from loopwright.job.read import read
from loopwright.job.sheet import Reads
from loopwright.netlist.loop import ActKind
from loopwright.store.visit import VisitFile
from loopwright.web.session import Session

from .in_the_hand import DESK, PHONE, fits_the_hand, idle, opened

BOTH = [pytest.param(DESK, id="desk"), pytest.param(PHONE, id="phone")]
KEYPAD = {Reads.REST: "rest", Reads.ACTIVE: "active", Reads.FAULT: "fault"}
CONTACT_OHM = 0.2


class Planted:
    """Circuit c01 with its end resistor at the control unit: what a meter and the keypad show of it, by the forecast of that wiring."""

    def __init__(self) -> None:
        self.job: Job = read(loopwright.demo.text("business")).job
        wrong = replace(self.job.circuits["c01"], end_at=EndPlace.CONTROL_UNIT)
        found = appraise(replace(self.job, circuits={**self.job.circuits, "c01": wrong}))
        self.circuit: CircuitForecast = next(item for item in found.circuits if item.circuit == "c01")
        self.cores_ohm = self.circuit.act(ActKind.REST).field_ohm - 2700.0

    def answer(self, fields: dict[str, str]) -> tuple[str, str]:
        """Return the reading and its unit, or the word, that a check ends in; ``fields`` are those the page would post."""
        if fields["look"]:
            return ("yes" if fields["look"] == "D11" else "no"), ""
        unit = fields["unit"]
        check = check_of(self.job, fields["where"], fields["place"], fields["state"], unit)
        if check.kind is CheckKind.CONTACT_OHM:
            return ("OL", "Ω") if check.act is ActKind.ACTIVATED else (f"{CONTACT_OHM}", "Ω")
        act = self.circuit.act(check.act, check.device or None)
        if check.kind is CheckKind.STATE:
            return KEYPAD.get(act.taken_for or Reads.OPEN, "tamper"), ""
        if check.kind is CheckKind.VOLTS:
            return f"{act.volts_v:.2f}", "V"
        # The resistor stands in the cabinet, so the cores alone read without it.
        ohm = act.field_ohm - (2700.0 if check.kind is CheckKind.CORES_OHM else 0.0)
        return ("OL", "Ω") if math.isinf(ohm) else (f"{ohm:.1f}", "Ω") if ohm < 1000 else (f"{ohm / 1000:.3f}", "kΩ")


@pytest.fixture
def page(browser: Any, bench: tuple[str, Session], request: pytest.FixtureRequest) -> Iterator[Any]:
    """Open the room, at a desk's width unless another is asked for."""
    with opened(browser, f"{bench[0]}/on-site", getattr(request, "param", DESK)) as made:
        yield made


@pytest.mark.parametrize("page", BOTH, indirect=True)
def test_a_resistor_at_the_control_unit_is_found_by_following_the_advice(page: Any, bench: tuple[str, Session]) -> None:
    planted, (_, session) = Planted(), bench
    page.locator("#circuit").select_option("c01")
    rest = page.locator('[id="box:c01:"]')
    field = rest.locator("input")
    assert field.get_attribute("inputmode") == "decimal"
    ohm, _ = planted.answer({"look": "", "where": "c01", "place": "", "state": "", "unit": "Ω"})
    field.fill(ohm.replace(".", ","))
    field.press("Enter")
    rest.get_by_text(f"Understood: {ohm} kΩ").wait_for()
    idle(page)
    assert "As forecast" in rest.inner_text(), "at rest this wiring reads perfectly"
    assert len(VisitFile(session.file.path.with_name("job.yaml.visit")).load().entries) == 1, "Enter and leaving the field are one"
    fits_the_hand(page)
    page.locator("#pattern").get_by_role("button", name="What to check next").click()
    page.locator("#answer").wait_for()
    page.wait_for_function("() => document.activeElement.id === 'answer-head'")
    for _ in range(12):
        idle(page)
        if page.locator(".do-this").count():
            break
        first = page.locator(".checks > li.first")
        words = first.inner_text()
        form = first.locator("form.box")
        if form.count():
            change = json.loads(form.get_attribute("data-send"))
            unit = form.locator("select").input_value()
            reading, unit = planted.answer({**change["fields"], "unit": "Ω" if "Ω" in unit else unit})
            form.locator("input").fill("")
            form.locator("select").select_option(unit)
            form.locator("input").fill(reading)
            form.get_by_role("button", name="Note").click()
        else:
            change = json.loads(first.locator("[data-send]").first.get_attribute("data-send"))
            word, _ = planted.answer({**change["fields"], "unit": ""})
            first.get_by_role("button", name=word.capitalize(), exact=True).click()
        page.wait_for_function("(words) => document.querySelector('.checks > li.first')?.innerText !== words", arg=words)
    assert "Resistor fitted at control unit" in page.locator(".verdict-line").inner_text()
    assert "Move the resistor from the control unit to the last device" in page.locator(".do-this").inner_text()
    fits_the_hand(page)
    before = session.state.revision
    page.locator("#why").get_by_role("button", name="on record").click()
    page.wait_for_function("(before) => Number(document.getElementById('page').dataset.revision) === before + 1", arg=before)
    assert len(session.state.job.observations) > 3
    page.locator('[data-do="undo"]').click()
    page.locator("#why").get_by_role("button", name="on record").wait_for()
    assert len(session.state.job.observations) == 2


@pytest.mark.parametrize("page", BOTH, indirect=True)
def test_the_list_of_a_first_power_up_is_shortened_to_nothing(page: Any, bench: tuple[str, Session]) -> None:
    page.locator('[id="c:stage"]').select_option("first-power-up")
    page.locator(".trouble-kind").first.wait_for()
    count = page.locator("#count > b").first
    started = int(count.inner_text())
    assert started > 10
    page.locator(".trouble-kind .tick").first.click()
    page.get_by_text("Expected, and shows").wait_for()
    fits_the_hand(page)
    for _ in range(40):
        idle(page)
        if count.inner_text() == "0":
            break
        was = count.inner_text()
        page.locator(".trouble-kind button:visible").first.click()
        page.wait_for_function("(was) => document.querySelector('#count > b').innerText !== was", arg=was)
    assert count.inner_text() == "0" and not page.locator(".trouble-kind").count()
    # What is still ticked shows without a reason by now, until it is gone.
    page.locator("#split").get_by_role("button", name="It is gone").click()
    page.locator("#split", has_text="Shows, and should not").get_by_text("none").first.wait_for()
    idle(page)
    assert not page.locator("#split .odd").count()
    page.reload()
    assert page.locator("#count > b").first.inner_text() == "0", "a reload keeps it"


@pytest.mark.parametrize("page", [PHONE], indirect=True)
def test_what_is_said_while_the_network_is_lost_is_neither_lost_nor_doubled(page: Any, bench: tuple[str, Session]) -> None:
    kept = VisitFile(bench[1].file.path.with_name("job.yaml.visit"))
    page.locator("#circuit").select_option("c01")
    field = page.locator('[id="box:c01:"] input')
    field.wait_for()
    # The first comes through and its answer is lost; the second does not even come through.

    def lost(route: Any) -> None:
        if route.request.method == "POST":
            route.fetch()
            route.abort()
        else:
            route.continue_()

    page.route("**/on-site", lost)
    field.fill("2.70")
    field.press("Enter")
    page.get_by_text("is kept on this telephone").wait_for()
    page.wait_for_function("() => JSON.parse(localStorage[Object.keys(localStorage)[0]]).length === 1")
    # Cut before it is lost no more: what is sent again at that moment would come through.
    page.route("**/on-site", lambda route: route.abort() if route.request.method == "POST" else route.continue_())
    page.unroute("**/on-site", lost)
    page.locator('[id="box:c01:operated door-front"] input').fill("9.5")
    page.locator('[id="box:c01:operated door-front"]').get_by_role("button", name="Note").click()
    page.wait_for_function("() => JSON.parse(localStorage[Object.keys(localStorage)[0]]).length === 2")
    page.reload()
    page.unroute("**/on-site")
    page.get_by_text("Understood: 9.5 kΩ").wait_for()
    idle(page)
    assert [each.reading for each in kept.load().entries] == ["2.70 kΩ", "9.5 kΩ"]
    assert "2.70" not in page.url and "c01" in page.url


def test_nonsense_is_told_where_it_was_typed_and_stays_there(page: Any, bench: tuple[str, Session]) -> None:
    page.locator("#further > summary").click()
    page.locator("#n-where").fill("c055")
    page.locator("#n-reading").fill("plenty")
    page.locator("#n-reading").press("Enter")
    said = page.locator('[id="say:note"] .refused')
    said.get_by_text("is not a reading").wait_for()
    page.locator("#n-reading").fill("2.7")
    page.locator("#n-reading").press("Enter")
    said.get_by_text("Did you mean c05?").wait_for()
    assert page.locator("#n-where").input_value() == "c055" and page.locator("#n-reading").input_value() == "2.7"
    page.locator("#n-where").fill("c05")
    page.locator("#n-reading").press("Enter")
    page.locator("#entries").wait_for()
    idle(page)
    assert page.locator("#n-reading").input_value() == ""
