"""The keying plan by its addresses: ticked and read back with the visit, begun from what was found, and never a code kept or shown."""

from __future__ import annotations

import re
import warnings
from datetime import UTC, datetime
from html import unescape
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.store.person import RIGHTS, Right, Role
from loopwright.web.app import create_app
from loopwright.web.session import Session
from loopwright.web.visitor import EVERY_RIGHT, Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1:8417"
HOME = "page Doors, line Coming home"
CODE = "page Words, line 1"


class Hall:
    """A phone in the hall, on which the plan of the example dwelling is open."""

    def __init__(self, folder: Path, rights: frozenset[Right] = EVERY_RIGHT) -> None:
        path = folder / "job.yaml"
        if not path.exists():
            path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
        self.kept = folder / "job.yaml.visit"
        self.session = Session(JobFile(path))
        visitor = Visitor(name="Ina", rights=rights)
        noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
        self.client = TestClient(create_app(self.session, token=None, visitor=visitor, clock=lambda: noon), base_url=BASE)

    def say(self, do: str, address: str, **what: Any) -> list[str]:
        posted = {"mark": uuid4().hex, "do": do, "unit": "panel", "address": address, **what}
        answer = self.client.post("/keying", json=posted, headers={"Origin": BASE})
        assert answer.status_code == 200, answer.text
        return [each["message"] for each in answer.json()["problems"]]

    def take(self, shown: str, **what: Any) -> list[str]:
        return self.say("take", "", shown=shown, **what)

    def mark(self) -> str:
        """The differences that the page shows now."""
        found = re.search(r'"do": "take", "shown": "(\w+)"', unescape(self.client.get("/keying").text))
        return found[1] if found else ""

    def text(self, address: str = "/keying") -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200
        return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text.partition("<h1>")[2])).split())


@pytest.fixture
def hall(tmp_path: Path) -> Hall:
    return Hall(tmp_path)


def test_the_plan_is_reached_from_programme_and_on_site(hall: Hall) -> None:
    for room in ("/programme", "/on-site"):
        assert 'href="./keying"' in hall.client.get(room).text
    assert "0 of 28 entered" in hall.text()


def test_ticks_and_readings_are_kept_with_the_visit_and_judged_at_once(hall: Hall) -> None:
    assert not hall.say("keyed", "page Keypads, line 1", on=True)
    assert not hall.say("read", HOME, text="045")
    assert "1 of 28 entered" in hall.text() and "It should show 030" in hall.text()
    assert not hall.say("read", HOME, text="30 s")
    again = Hall(hall.kept.parent).text()
    assert "2 of 28 entered, 1 read back right" in again and "It should show" not in again
    assert not hall.say("keyed", "page Keypads, line 1", on=False) and "1 of 28 entered" in hall.text()


def test_what_was_keyed_for_another_programme_counts_no_longer(hall: Hall) -> None:
    hall.say("keyed", HOME, on=True)
    change = {"do": "set", "path": "areas/house/entry_s", "text": "40"}
    assert hall.client.post("/edit", json=change, headers={"Origin": BASE}).status_code == 200
    assert "0 of 28 entered" in hall.text()


def test_the_plan_begins_from_what_was_found(hall: Hall) -> None:
    assert not hall.say("found", HOME, text="030") and not hall.say("found", "page Siren, line Minutes", text="15")
    shown = hall.text("/keying?restore=no")
    assert "from what was found at it" in shown and "holds 15 min ; the programme says 4 min" in shown
    (problem,) = hall.say("found", "page Doors, line Leaving", text="17")
    assert problem.startswith("This is nothing it can hold.") and "30 to 240 s" in problem
    hall.say("found", HOME, text="")
    hall.say("found", "page Siren, line Minutes", text="")
    assert "from the factory's settings" in hall.text()


def test_what_was_found_is_taken_over_at_one_press_and_taken_back_at_one(hall: Hall) -> None:
    before = hall.session.state.text
    for address, shown in ((HOME, "045"), ("page Siren, line Minutes", "15"), ("page Zones, leaf 12, line Name", "CELLAR")):
        assert not hall.say("found", address, text=shown)
    seen = hall.mark()
    hall.say("found", "page Doors, line Leaving", text="090")
    assert "look at the differences again" in hall.take(seen)[0] and hall.session.state.text == before, "not what was shown"
    assert not hall.take(hall.mark())
    job = hall.session.state.job
    assert (job.areas["house"].entry_s, job.areas["house"].exit_s, job.programme.sounder_s) == (45.0, 90.0, 900.0)
    assert job.zones["z12"].text == "CELLAR" and not hall.mark()
    assert hall.take("")[0] == "Everything is taken over already."
    undo = hall.client.post("/edit", json={"do": "undo", "revision": hall.session.state.revision}, headers={"Origin": BASE})
    assert not undo.json()["problems"] and hall.session.state.text == before


def test_no_code_is_kept_or_shown_wherever_it_is_typed(hall: Hall) -> None:
    assert "never read back" in hall.say("read", CODE, text="471199")[0]
    assert "not taken down" in hall.say("found", CODE, text="471199")[0]
    assert not hall.say("read", HOME, text="471199")
    assert hall.say("found", "page Doors, line Habits", text="471199")
    assert hall.say("found", "page Zones, leaf 1, line Name", text="4711 99")
    assert not hall.say("keyed", CODE, on=True)
    assert "4711" not in hall.kept.read_text(encoding="utf-8") and "4711" not in hall.client.get("/keying").text
    assert "It should show 030" in hall.text(), "what means nothing is told as wrong, and not repeated"


def test_nonsense_is_refused_in_words(hall: Hall) -> None:
    assert hall.say("keyed", "page Nowhere") == ["The unit's sheet has no such address any more."]
    assert hall.say("keyed", HOME, unit="shed") == ["There is no such unit to key in this job any more."]
    assert hall.say("keyed", "page Doors, line Leaving", on=True) == ["This needs no entry any more."]
    assert "over" in hall.say("keyed", HOME, on=True, visit="another")[0]


def test_who_may_only_read_ticks_nothing(tmp_path: Path) -> None:
    reader = Hall(tmp_path, RIGHTS[Role.READER])
    assert "You may not enter readings" in reader.client.get("/keying").text
    posted = {"mark": uuid4().hex, "do": "keyed", "unit": "panel", "address": HOME, "on": True}
    assert reader.client.post("/keying", json=posted, headers={"Origin": BASE}).status_code == 403


def test_who_may_only_enter_readings_takes_nothing_over(tmp_path: Path) -> None:
    mate = Hall(tmp_path, RIGHTS[Role.MATE])
    assert not mate.say("found", HOME, text="045") and not mate.mark()
    posted = {"mark": uuid4().hex, "do": "take", "unit": "panel", "shown": Hall(tmp_path).mark()}
    assert posted["shown"]
    assert mate.client.post("/keying", json=posted, headers={"Origin": BASE}).status_code == 403
    assert mate.session.state.job.areas["house"].entry_s == 30.0
