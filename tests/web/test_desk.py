"""The room Desk by its addresses: who may do what, no code or pass-word anywhere, cases kept and closed, premises that are not on file."""

from __future__ import annotations

import re
import warnings
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest

import loopwright.demo
from loopwright.desk.case import NOT_IDENTIFIED, RIGHT, holds_a_code
from loopwright.desk.opening import complaints, dangers
from loopwright.job.read import read
from loopwright.store.api_token import ApiTokens, tokens_path
from loopwright.store.audit import Audit
from loopwright.store.case_file import CaseFile, cases_path, not_on_file, trail_of
from loopwright.store.file import JobFile
from loopwright.store.folder import JobFolder
from loopwright.store.person import RIGHTS, Right, Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.store.vault import create_vault
from loopwright.store.visit import VisitFile, visit_path
from loopwright.web.session import Session
from loopwright.web.several import create_several
from loopwright.web.shelf import Opened, Shelf
from loopwright.web.visitor import EVERY_RIGHT, Visitor

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

BASE = "http://127.0.0.1"
AT = datetime(2026, 3, 2, 12, tzinfo=UTC)
WORD, PASSPHRASE = "Copper Kettle", "planted-passphrase-30718"
CALLER = {"name": "Delia", "premises": "Corrigan-Voss house", "call_back": "01632 960 014"}


class Desk:
    """A folder with one job in it, its desk and the desk of the folder, for one visitor; everything that is answered is kept."""

    def __init__(self, folder: Path, rights: frozenset[Right] = EVERY_RIGHT) -> None:
        self.path = folder / "house.yaml"
        self.path.write_text(loopwright.demo.text("dwelling"), encoding="utf-8")
        self.folder, self.marks, self.heard = folder, 0, list[str]()
        shelf = Shelf(JobFolder(folder), lambda path: Opened(Session(JobFile(path)), lambda: None))
        tokens = lambda job: ApiTokens(tokens_path(job), note=lambda *_: None)  # noqa: E731
        app = create_several(shelf, token=None, tokens_of=tokens, visitor=Visitor(name="Dora", rights=rights))
        self.client = TestClient(app, base_url=BASE, follow_redirects=False)
        self.case = ""

    def post(self, address: str, body: dict[str, Any]) -> Any:
        answer = self.client.post(address, json=body, headers={"Origin": BASE})
        self.heard.append(answer.text)
        return answer

    def say(self, do: str, *, at: str = "/at/house/desk", mark: str = "", **more: Any) -> dict[str, Any]:
        self.marks += 1
        body = {"do": do, "mark": mark or f"mark-number-{self.marks}", "case": self.case, **more}
        answer = self.post(at, body)
        assert answer.status_code == 200, answer.text
        told: dict[str, Any] = answer.json()
        if not told["problems"]:
            self.case = told["case"]
        return told

    def refused(self, do: str, **more: Any) -> str:
        return " ".join(each["message"] for each in self.say(do, **more)["problems"])

    def begun(self, *, at: str = "/at/house/desk", on_file: bool = True, complaint: str = "new-battery", verified: str = RIGHT) -> None:
        self.say("begin", at=at, on_file=on_file)
        self.say("danger", at=at, answer="none")
        assert not self.say("caller", at=at, answer=verified, fields=CALLER)["problems"]
        self.say("complaint", at=at, answer=complaint)

    def kept(self) -> Any:
        return next(case for case in CaseFile(cases_path(self.path)).load() if case.id == self.case)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


@pytest.mark.parametrize("role", list(Role))
def test_each_role_comes_to_the_desk_as_far_as_its_rights(tmp_path: Path, role: Role) -> None:
    desk = Desk(tmp_path, RIGHTS[role])
    may = Right.WORK_ALARMS in RIGHTS[role]
    for address in ("/desk", "/at/house/desk"):
        assert (desk.client.get(address).status_code == 200) is may
        answer = desk.post(address, {"do": "begin", "mark": "mark-of-a-role", "on_file": False})
        assert (answer.status_code == 200) is may
    assert desk.post("/at/house/desk/compare", {"case": "x", "name": "word/owner", "word": "x"}).status_code == (200 if may else 403)
    assert not may or not not_on_file(tmp_path).exists() or CaseFile(not_on_file(tmp_path)).load()
    assert ('href="/desk"' in desk.client.get("/").text) is may


def test_the_desk_may_not_change_the_job(tmp_path: Path) -> None:
    desk = Desk(tmp_path, RIGHTS[Role.DESK])
    desk.begun(at="/desk", on_file=False)
    assert "may not make new premises" in desk.refused("keep", at="/desk")
    edit = desk.post("/at/house/edit", {"do": "set", "path": "title", "text": "x"})
    assert edit.status_code == 403 and len(list(tmp_path.glob("*.yaml"))) == 1


def test_a_call_is_kept_with_who_when_what_and_outcome(desk: Desk) -> None:
    desk.begun()
    told = desk.say("answer", key="opening:battery-since", answer="5")
    assert "For how many hours was the electricity off" in told["page"]
    desk.say("answer", key="opening:outage", answer="none")
    told = desk.say("answer", key="opening:battery-shown", answer="yes")
    assert "This is normal" in told["page"]
    case = desk.kept()
    assert [(said.key, said.answer, said.by) for said in case.standing] == [
        ("opening:battery-since", "5", "Dora"), ("opening:outage", "none", "Dora"), ("opening:battery-shown", "yes", "Dora"),
    ]  # fmt: skip
    assert "Write what put it right" in desk.refused("close", fields={"cause": "P08"})
    desk.say("close", fields={"cause": "battery absent or lead off", "place": "panel", "fixed_by": "lead put back on"})
    closed = desk.kept().closed
    assert closed is not None and (closed.cause, closed.place) == ("P08", "panel")
    assert "closed" in desk.refused("answer", key="opening:outage", answer="3")
    noted = "\n".join(Audit(trail_of(cases_path(desk.path)), by="", clock=lambda: AT).told())
    assert f"caller settled {desk.case}: {RIGHT}" in noted and "case closed" in noted
    assert "Delia" not in noted and "960" not in noted


def test_an_answer_stands_in_the_words_it_was_given_in(desk: Desk) -> None:
    desk.begun()
    desk.say("answer", key="opening:battery-since", answer="none")
    desk.say("answer", key="opening:outage", answer="none")
    told = desk.say("answer", key="opening:battery-shown", answer="no")
    asked = re.search(r'"key": "(check:[^"]+)"', told["page"].partition('id="asked"')[2])
    assert asked is not None
    page = desk.say("answer", key=asked[1], answer="no")["page"]
    rows = re.findall(r'<td data-label="Answer">([^<]+) <span', page)
    assert rows == ["It has been there for years", "It was not off", "No", "No"]


def test_closed_cases_are_told_and_move_the_next_call(desk: Desk) -> None:
    for number in range(3):
        desk.begun()
        desk.say("close", fields={"cause": "P09" if number else "unknown", "fixed_by": "fuse"})
    desk.begun()
    desk.say("answer", key="opening:battery-since", answer="none")
    desk.say("answer", key="opening:outage", answer="none")
    page = desk.say("answer", key="opening:battery-shown", answer="yes")["page"]
    assert "Seen 2 times in 3 closed cases." in page and "3 closed cases have" in page


def test_no_text_with_a_code_is_taken(desk: Desk) -> None:
    desk.begun()
    key = "opening:battery-since"
    for text in ("the code is 4711", "0 0 0 0", "pass-word was kettle", "5 8 1 3 2 1"):
        assert "no case holds one" in desk.refused("pass", key=key, answer="own words", text=text)
        assert "no case holds one" in desk.refused("caller", answer=RIGHT, fields=CALLER | {"name": text})
        for field in ("place", "fixed_by"):
            assert "no case holds one" in desk.refused("close", fields={"cause": "P08", "fixed_by": "x", field: text})
        assert text not in cases_path(desk.path).read_text(encoding="utf-8")
        assert text not in "".join(desk.heard)


def test_a_pass_word_is_held_against_the_vault_and_found_nowhere(desk: Desk) -> None:
    vault = create_vault(
        desk.path.with_name("house.yaml.vault"), Secret(PASSPHRASE), note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1)
    )
    vault.put("word/owner", Secret(WORD))
    vault.put("user/owner", Secret("739164"))
    desk.say("begin")
    page = desk.say("danger", answer="none")["page"]
    assert "data-compare" not in page and "Secrets" in page
    shut = desk.post("/at/house/desk/compare", {"case": desk.case, "name": "word/owner", "word": WORD}).json()
    assert "closed" in shut["problem"] and "right" not in shut
    desk.post("/at/house/secrets/open", {"passphrase": PASSPHRASE})
    page = desk.client.get(f"/at/house/desk?case={desk.case}").text
    assert "data-compare" in page and "word/owner" in page and "user/owner" not in page
    for word, right in ((WORD, True), ("copper  kettle", True), ("Copper Kettles", False), ("", False)):
        answer = desk.post("/at/house/desk/compare", {"case": desk.case, "name": "word/owner", "word": word}).json()
        assert answer == {"problem": "", "right": right}
    third = desk.post("/at/house/desk/compare", {"case": desk.case, "name": "word/owner", "word": "kettle"}).json()
    assert third == {"problem": "", "right": False}
    # Three wrong ones are enough for one day: not even the right one is told from them.
    fourth = desk.post("/at/house/desk/compare", {"case": desk.case, "name": "word/owner", "word": WORD}).json()
    assert "before tomorrow" in fourth["problem"] and "right" not in fourth
    files = [path.read_bytes() for path in desk.folder.iterdir() if path.is_file()]
    assert not any(WORD.encode() in raw or b"Copper Kettles" in raw for raw in files)
    assert WORD not in "".join(desk.heard)
    noted = "\n".join(Audit(trail_of(cases_path(desk.path)), by="", clock=lambda: AT).told())
    assert f"pass-word compared {desk.case}: right" in noted and f"{desk.case}: wrong" in noted
    assert "compared word/owner" in desk.path.with_name("house.yaml.vault.trail").read_text(encoding="utf-8") or "word/owner" in "".join(
        Audit(desk.path.with_name("house.yaml.vault.trail"), by="", clock=lambda: AT).told()
    )


def test_the_next_day_pass_words_are_compared_again(desk: Desk) -> None:
    vault = create_vault(
        desk.path.with_name("house.yaml.vault"), Secret(PASSPHRASE), note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1)
    )
    vault.put("word/owner", Secret(WORD))
    desk.say("begin")
    desk.say("danger", answer="none")
    desk.post("/at/house/secrets/open", {"passphrase": PASSPHRASE})
    said = {"case": desk.case, "name": "word/owner"}
    for word in ("one", "two", "three"):
        assert desk.post("/at/house/desk/compare", said | {"word": word}).json() == {"problem": "", "right": False}
    assert "before tomorrow" in desk.post("/at/house/desk/compare", said | {"word": WORD}).json()["problem"]
    # A day goes by: the tries of the case stand where they stood, one day earlier.
    tries = desk.kept().wrong_words
    assert len(tries) == 3
    before = tuple((datetime.fromisoformat(each) - timedelta(days=1)).isoformat(timespec="seconds") for each in tries)
    CaseFile(cases_path(desk.path)).change(desk.case, lambda case: replace(case, wrong_words=before), mark="a-day-goes-by")
    assert desk.post("/at/house/desk/compare", said | {"word": WORD}).json() == {"problem": "", "right": True}
    # A new day has its own three.
    for _ in range(3):
        assert desk.post("/at/house/desk/compare", said | {"word": "four"}).json()["right"] is False
    assert "before tomorrow" in desk.post("/at/house/desk/compare", said | {"word": WORD}).json()["problem"]


def test_who_is_not_identified_is_told_nothing_of_the_system(desk: Desk) -> None:
    desk.begun(complaint="keypad", verified=NOT_IDENTIFIED)
    assert "has to be identified first" in desk.refused("answer", key="opening:keypad", answer="pad-foyer")
    desk.say("answer", key="opening:keypad-when", answer="always")
    desk.say("answer", key="opening:keypad-since", answer="long")
    told = desk.say("answer", key="opening:keypad-lit", answer="yes")
    page = told["page"].partition('id="desk"')[2]
    assert "What may still be said" in page and "Until the caller is identified" in page
    for words in ("Foyer keypad", "What may be so", "quite possible", "Hand over"):
        assert words not in page
    assert "Ask for this first" in desk.refused("caller", answer=RIGHT, fields={"name": "Delia"})


def test_a_danger_stops_the_call(desk: Desk) -> None:
    desk.say("begin")
    page = unescape(desk.say("danger", answer="hold-up")["page"])
    assert dangers()["hold-up"].say in page and "Who is calling" not in page
    assert "First:" in desk.say("back")["page"]


def test_whoever_rings_about_an_old_case_or_takes_over_the_line_is_identified_anew(desk: Desk) -> None:
    desk.begun()
    desk.say("answer", key="opening:battery-since", answer="5")
    # In another window it turns out that somebody else is on the line: what is answered here meanwhile counts for nothing.
    desk.say("who")
    told = desk.say("answer", key="opening:outage", answer="none")
    assert "has to be identified first" in told["problems"][0]["message"] and "Who is calling" in told["page"]
    assert "has to be identified first" in desk.refused("hand-over")
    assert [said.key for said in desk.kept().standing] == ["opening:battery-since"]
    desk.say("caller", answer=RIGHT, fields=CALLER)
    desk.say("close", fields={"cause": "unknown"})
    assert "Who is calling" in desk.say("reopen")["page"]


def test_a_text_too_long_is_told_at_its_field_with_how_long_it_may_be(desk: Desk) -> None:
    desk.say("begin", on_file=True)
    desk.say("danger", answer="none")
    body = {"do": "caller", "mark": "mark-of-length", "case": desk.case, "answer": RIGHT, "fields": CALLER | {"premises": "x" * 50_000}}
    answer = desk.post("/at/house/desk", body)
    (problem,) = answer.json()["problems"]
    assert answer.status_code == 422 and problem["path"] == "premises" and "at most 300 characters" in problem["message"]
    assert "xxx" not in answer.text and not desk.kept().caller.name


def test_something_dangerous_may_begin_in_the_middle_of_a_call(desk: Desk) -> None:
    desk.begun()
    assert "is there any of this" in desk.say("danger", answer="")["page"]
    assert "Everybody out now" in desk.say("danger", answer="smoke")["page"]


def test_answers_go_over_into_the_visit_once(desk: Desk) -> None:
    desk.begun(complaint="keypad")
    desk.say("answer", key="opening:keypad", answer="pad-foyer")
    desk.say("answer", key="opening:keypad-when", answer="always")
    desk.say("answer", key="opening:keypad-since", answer="long")
    page = unescape(desk.say("answer", key="opening:keypad-lit", answer="yes")["page"])
    asked = re.search(r'"key": "(check:[^"]+)"', page)
    assert asked is not None
    where, place = asked[1].removeprefix("check:").split("|")[:2]
    assert "Hand over" in desk.say("answer", key=asked[1], answer="no")["page"]
    desk.say("hand-over", mark="the-same-mark")
    desk.say("hand-over", mark="the-same-mark")
    desk.say("hand-over")
    visit = VisitFile(visit_path(desk.path)).load()
    assert [(entry.where, entry.place, entry.shows) for entry in visit.standing] == [
        ("pad-foyer", "", "yes"),
        ("system", "", ""),
        ("pad-foyer", "lit", "yes"),
        (where, place, "no"),
    ]
    assert "What may be so" in desk.client.get("/at/house/on-site").text


def test_premises_not_on_file_are_built_up_and_kept(desk: Desk) -> None:
    desk.begun(at="/desk", on_file=False, complaint="after-outage")
    page = desk.say("fact", at="/desk", key="battery_ah", answer="17")["page"]
    assert 'class="guess"' in page and "(assumed)" in page and "about 17 Ah" in page
    assert "Choose one" in desk.refused("fact", at="/desk", key="battery_ah", answer="900")
    desk.say("answer", at="/desk", key="opening:outage", answer="70")
    desk.say("answer", at="/desk", key="opening:back", answer="2")
    assert "This is normal" in desk.say("answer", at="/desk", key="opening:trouble", answer="clock")["page"]
    desk.say("keep", at="/desk", mark="keep-it-once")
    desk.say("keep", at="/desk", mark="keep-it-once")
    kept = desk.folder / "corrigan-voss-house.yaml"
    text = kept.read_text(encoding="utf-8")
    assert read(text).job.premises.name == CALLER["premises"] and "battery: told" in text and "assumed" in text
    assert len(list(desk.folder.glob("*.yaml"))) == 2
    assert desk.client.get("/at/corrigan-voss-house/desk").status_code == 200


def test_open_cases_of_jobs_stand_on_the_desk_of_the_folder(desk: Desk) -> None:
    desk.begun()
    assert f"/at/house/desk?case={desk.case}" in desk.client.get("/desk").text
    desk.say("close", fields={"cause": "nothing wrong"})
    assert f"/at/house/desk?case={desk.case}" not in desk.client.get("/desk").text


BAD: list[tuple[str, dict[str, Any], str]] = [
    ("danger", {"answer": "a dragon"}, "Choose what it is"),
    ("complaint", {"answer": "nonsense"}, "Choose what"),
    ("answer", {"key": "opening:battery-since", "answer": "soon"}, "as a number"),
    ("answer", {"key": "opening:battery-since", "answer": "-1"}, "as a number"),
    ("answer", {"key": "opening:battery-since", "answer": "nan"}, "as a number"),
    ("answer", {"key": "check:nowhere||||", "answer": "yes"}, "Another question"),
    ("answer", {"key": "opening:nothing", "answer": "yes"}, "Another question"),
    ("pass", {"key": "opening:battery-since", "answer": "own words"}, "Write what"),
    ("caller", {"answer": RIGHT, "fields": CALLER | {"call_back": "soon"}}, "digits"),
    ("caller", {"answer": "trust me", "fields": CALLER}, "how the caller"),
    ("close", {"fields": {"cause": "gremlins"}}, "as in the list"),
    ("hand-over", {}, "Nothing was answered"),
    ("keep", {}, "on file already"),
]


def test_bad_input_says_what_would_be_right_and_changes_nothing(desk: Desk) -> None:
    desk.begun()
    before = desk.kept()
    for do, more, words in BAD:
        assert words in desk.refused(do, **more), (do, more)
        assert desk.kept() == before, (do, more)


def test_a_case_of_no_name_and_a_damaged_file_are_told(desk: Desk) -> None:
    desk.case = "nobody-knows-it"
    assert "no such case" in desk.refused("danger", answer="none")
    cases_path(desk.path).write_text("{", encoding="utf-8")
    assert "damaged" in desk.client.get("/at/house/desk").text
    assert "damaged" in desk.refused("begin")


def test_the_words_of_the_desk_hold_no_code_and_ask_for_none() -> None:
    said = [line for each in complaints().values() for line in (each.words, *each.say)] + [each.say for each in dangers().values()]
    assert not any(holds_a_code(line) for line in said)
