"""Prove in a real browser: a site with three mistakes wired on purpose, proved to the signed record; and a cellar without a network."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from tests.prove import walk

import loopwright.web.prove_asked as asked
from loopwright.prove.record import Record
from loopwright.receiver.intake import Bench
from loopwright.receiver.running import Running
from loopwright.receiver.sending import Wire
from loopwright.receiver.server import Place
from loopwright.signalling.frame import Content, build
from loopwright.signalling.received import Way
from loopwright.signalling.sender import Line
from loopwright.signalling.verdict import Account, Desk
from loopwright.store.aes import ChainedAes
from loopwright.store.proof_file import ProofFile
from loopwright.store.received import ReceivedFile, received_path
from loopwright.web.session import Session

from .in_the_hand import DESK, PATIENCE_MS, PHONE, fits_the_hand, idle, opened

POST = "await fetch('prove', {method: 'POST', headers: {'Content-Type': 'application/json'}, body: JSON.stringify(said)})"


class Unit:
    """A control unit that reports over TCP to a receiver on this machine, which keeps what it hears beside the job."""

    def __init__(self, session: Session) -> None:
        self.site = walk.Site(walk.designed(), walk.miswired(walk.designed()))
        self.keeper = ReceivedFile(received_path(session.file.path))
        desk = Desk(accounts={"4711": Account()}, cipher=ChainedAes(), draw=secrets.token_bytes)
        bench = Bench(desk=desk, keeper=self.keeper, tell=lambda _: None, clock=lambda: datetime.now(UTC))
        self.running = Running(Place(host="127.0.0.1", port=0), bench)
        self.wire = Wire("127.0.0.1", self.running.port, Way.TCP)
        self.number = 0

    def report(self, device: str, act: str) -> None:
        """Send what an act leads to, each once the one before is acknowledged."""
        for event in self.site.act(device, act, datetime.now(UTC)):
            self.number += 1
            line = Line(account="4711", key=None, cipher=ChainedAes(), draw=secrets.token_bytes)
            content = Content(data=f"#4711|{event.event}")
            self.wire.send(build(line.head("ADM-CID", self.number), content, key=None, cipher=line.cipher, draw=line.draw))
            assert self.wire.answer(PATIENCE_MS / 1000), "acknowledged"

    def stop(self) -> None:
        self.wire.close()
        self.running.stop()
        self.keeper.close()


@pytest.fixture
def unit(session: Session) -> Iterator[Unit]:
    """A unit on test, its receiver running."""
    made = Unit(session)
    yield made
    made.stop()


@pytest.fixture
def page(monkeypatch: pytest.MonkeyPatch, browser: Any, bench: tuple[str, Session], request: pytest.FixtureRequest) -> Iterator[Any]:
    """Open the room, at a desk's width unless another is asked for."""
    monkeypatch.setattr(asked, "WAIT_S", 1.0)
    with opened(browser, f"{bench[0]}/prove", getattr(request, "param", DESK)) as made:
        yield made


def record(session: Session) -> Record:
    return ProofFile(session.file.path.with_name("job.yaml.proved")).load().record


@pytest.mark.parametrize("page", [pytest.param(PHONE, id="phone")], indirect=True)
def test_three_mistakes_are_named_live_and_the_site_is_proved_to_its_record(page: Any, unit: Unit, bench: tuple[str, Session]) -> None:
    def test(device: str, act: str, button: str) -> None:
        place = page.locator(f'[id="device:{device}"]')
        place.evaluate("(each) => { each.closest('details').open = true; }")
        place.get_by_role("button", name=button, exact=True).click()
        idle(page)
        unit.report(device, act)

    test("dual-press-east", "operate", "Test it")
    page.locator("#now", has_text="as it should be").wait_for()
    assert "proved" in page.locator('[id="thing:walk:dual-press-east"]').inner_text()
    test("door-yard", "operate", "Test it")
    page.locator("#calls", has_text="You opened the Yard door; zone 8 reported; the design says 11.").wait_for()
    test("door-roller", "operate", "Test it")
    page.locator("#calls", has_text="Zones 8 and 11 are exchanged").wait_for()
    test("dual-packing", "operate", "Test it")
    page.locator("#calls", has_text="zone 12 reported a tamper; the design says an alarm").wait_for()
    test("dual-packing", "lid", "Open its lid")
    page.locator("#calls", has_text="Alarm resistor missing across contact").wait_for()
    test("dual-lobby", "operate", "Test it")
    test("dual-lobby", "lid", "Open its lid")
    page.locator("#now").get_by_text("Waiting for zone 2").wait_for()
    page.locator("#port > summary").click()
    page.locator("#hand > summary").click()
    fits_the_hand(page)
    page.get_by_role("link", name="Big type").click()
    page.locator(".big-type #now").wait_for()
    fits_the_hand(page)
    page.get_by_role("link", name="Back to the whole sheet").click()
    page.get_by_role("link", name="Gaps and certificate").click()
    page.get_by_role("button", name="Issue the certificate").click()
    page.get_by_text("Not yet:").first.wait_for()
    assert record(bench[1]).issued is None
    form = page.locator('[id="say:all:Circuits"]')
    form.evaluate("(each) => { each.closest('details').open = true; }")
    form.locator("input").fill("Second visit, Friday; agreed with the owner")
    form.get_by_role("button").click()
    form.wait_for(state="detached")
    for group in ("Devices", "Supplies", "Sounders and strobes", "Set and unset", "Paths", "Signals"):
        said = {"do": "sign", "key": f"all:{group}", "text": "Second visit, Friday", "mark": f"group-{group}"}
        assert page.evaluate(f"async (said) => ({POST}).ok", said)
    page.locator("#certificate", has_text="Nothing is open.").wait_for()
    page.get_by_role("button", name="Issue the certificate").click()
    page.locator(".verdict-line", has_text="Issued").wait_for()
    with page.expect_download() as download:
        page.get_by_role("link", name="The record as PDF").click()
    assert Path(download.value.path()).read_bytes().startswith(b"%PDF")
    assert record(bench[1]).issued is not None


@pytest.mark.parametrize("page", [pytest.param(PHONE, id="phone")], indirect=True)
def test_a_telephone_in_a_cellar_keeps_what_was_typed(page: Any, bench: tuple[str, Session]) -> None:
    page.get_by_role("link", name="Supplies and sounders").click()
    page.locator("#tool-name").fill("meter 2")
    page.locator("#tool-serial").fill("HM-2207")
    page.locator("#tool-calibrated_on").fill("2026-01-20")
    page.get_by_role("button", name="Read with it").click()
    page.get_by_text("Read with meter 2").wait_for()
    # The first gets through and its answer is lost; after it the network is gone altogether.
    page.route("**/prove", lambda route: (route.fetch(), route.abort()) if route.request.method == "POST" else route.continue_())
    page.locator('[id="thing:float:control"] input').fill("13.62")
    page.locator('[id="thing:float:control"] input').press("Enter")
    page.get_by_text("is kept on this telephone").wait_for()
    page.context.set_offline(True)
    page.unroute("**/prove")
    page.locator('[id="thing:minute:control"] input').fill("12.88")
    page.locator('[id="thing:minute:control"]').get_by_role("button", name="Note").click()
    page.locator('[id="thing:hold-off:sounder-street"]').get_by_role("button", name="Yes").click()
    page.get_by_text("3 kept here, not sent yet").wait_for()
    assert len(record(bench[1]).entries) == 1
    page.context.set_offline(False)
    page.reload()
    idle(page)
    page.locator('[id="thing:minute:control"]', has_text="As it should be").wait_for()
    kept = record(bench[1]).entries
    assert [(each.key, each.reading or each.answer) for each in kept] == [
        ("float:control", "13.62 V"), ("minute:control", "12.88 V"), ("hold-off:sounder-street", "yes"),
    ]  # fmt: skip
    # When it was said is reckoned back from when it came, so it is as true as the network is quick.
    said_at = [datetime.fromisoformat(each.at) for each in kept]
    assert all(later - earlier > -timedelta(seconds=1) for earlier, later in pairwise(said_at)), "said in this order, whenever it was sent"


def test_by_hand_what_the_keypad_shows_is_tapped(page: Any, bench: tuple[str, Session]) -> None:
    page.locator("#now").get_by_role("button", name="Test it").click()
    page.locator("#now").get_by_role("button", name="Alarm", exact=True).click()
    page.locator("#now", has_text="as it should be").wait_for()
    page.locator("#now").get_by_role("button", name="It shows restored").click()
    idle(page)
    first = record(bench[1]).walked[0].device
    page.locator(f'[id="thing:restore:{first}"]', has_text="keypad").wait_for()
    page.locator("#hand > summary").click()
    page.locator("#tap-zone").fill("44")
    page.get_by_role("button", name="The keypad shows it").click()
    page.locator("#calls", has_text="the design has no zone 44").wait_for()
    page.locator("#tap-zone").fill("nonsense")
    page.get_by_role("button", name="The keypad shows it").click()
    page.locator("#hand .refused", has_text="is no zone").wait_for()
    assert len(record(bench[1]).taps) == 3
