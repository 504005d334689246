"""A case as a record: what may stand in it, answers that are put right, the way back, who counts as identified."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.desk.case import CALLED_BACK, NOT_IDENTIFIED, RIGHT, Caller, Case, Closed, Said, holds_a_code, open_of
from often import often

SAID = Said(key="opening:trouble", at="2026-03-02T08:00:00+00:00", by="Dora", question="Which?", answer="battery")
CASE = Case(id="one", at="2026-03-02T08:00:00+00:00", by="Dora", danger="none", complaint="trouble-lamp", caller=Caller(verified=RIGHT))


@given(st.integers(4, 8).flatmap(lambda n: st.text("0123456789", min_size=n, max_size=n)), st.sampled_from(["", "she uses ", "(", "no. "]))
def test_a_code_in_any_words_is_seen(digits: str, before: str) -> None:
    assert holds_a_code(f"{before}{digits}")
    assert holds_a_code(f"{before}{' '.join(digits)} at the keypad")
    assert holds_a_code(f"{before}{'-'.join(digits)}")


@pytest.mark.parametrize(
    "text",
    [
        "it went at 22:30",
        "three hours, since 6",
        "13.72 V and 230 mA",
        "2.21 kΩ",
        "1500 Ω",
        "zone 12",
        "W04 and c11",
        "room 204",
        "0.5",
        "",
    ],
)
def test_what_technicians_write_is_no_code(text: str) -> None:
    assert not holds_a_code(text)


@pytest.mark.parametrize("text", ["the pass-word is bluebell", "pin: abcd", "Password was Otter", "code = rook", "code word is x"])
def test_a_word_that_is_told_is_seen(text: str) -> None:
    assert holds_a_code(text)


@given(st.text(max_size=4), st.text(max_size=4), st.text(max_size=4), st.sampled_from(["", RIGHT, CALLED_BACK, NOT_IDENTIFIED, "yes"]))
def test_identified_takes_all_three_and_a_way(name: str, premises: str, number: str, verified: str) -> None:
    caller = Caller(name=name, premises=premises, call_back=number, verified=verified)
    assert caller.identified is (all((name, premises, number)) and verified in (RIGHT, CALLED_BACK))


@settings(max_examples=often(15))
@given(st.lists(st.tuples(st.sampled_from("abcd"), st.sampled_from(["yes", "no"])), max_size=8))
def test_the_last_answer_to_a_question_stands_alone(answers: list[tuple[str, str]]) -> None:
    case = CASE
    for key, answer in answers:
        case = case.with_said(replace(SAID, key=f"check:{key}", answer=answer))
    standing = {said.key: said.answer for said in case.standing}
    assert standing == {f"check:{key}": answer for key, answer in answers}
    assert len(case.standing) == len(standing)


def test_going_back_ends_at_the_beginning_and_loses_nothing() -> None:
    case = CASE.with_said(SAID).with_said(replace(SAID, key="check:a"))
    seen = []
    for _ in range(6):
        case = case.back()
        seen.append((len(case.standing), case.complaint, case.caller.verified, case.danger))
    assert seen == [
        (1, "trouble-lamp", RIGHT, "none"), (0, "trouble-lamp", RIGHT, "none"), (0, "", RIGHT, "none"), (0, "", "", "none"),
        (0, "", "", ""), (0, "", "", ""),
    ]  # fmt: skip
    assert [said.out for said in case.said] == [True, True]


def test_a_caller_identified_in_one_call_is_nobodys_proof_in_a_later_one() -> None:
    said = Said(key="opening:outage", at="2026-03-02T12:40:00", by="Dora", question="?", answer="2")
    known = Caller(name="Ann", premises="Lane 4", call_back="01632 960 014", verified=RIGHT, at="2026-03-02T12:00:00")
    case = Case(id="one", at="2026-03-02T11:58:00", by="Dora", caller=known, said=(said,))
    assert case.as_of("2026-03-02T13:30:00") is case, "the call goes on as long as something is said in it"
    later = case.as_of("2026-03-02T13:41:00")
    assert not later.caller.verified and later.said == case.said and later.caller.name == "Ann"


def test_a_case_in_which_nothing_was_said_is_none() -> None:
    bare = Case(id="one", at="2026-03-02T11:58:00", by="Dora")
    asked = [replace(bare, danger="none"), replace(bare, caller=Caller(verified=NOT_IDENTIFIED))]
    assert all(case.silent for case in (bare, *asked)) and not open_of((bare, *asked), bare.at)
    told = [
        replace(bare, danger="smoke"), replace(bare, complaint="siren"), replace(bare, said=(SAID,)),
        replace(bare, wrong_words=("2026-03-02",)),
        *(replace(bare, caller=Caller(**{field: "x"})) for field in ("name", "premises", "call_back")),
    ]  # fmt: skip
    assert open_of(told, bare.at) == tuple(told)
    closed = replace(bare, closed=Closed(at="", by="Dora", cause="unknown"))
    assert not closed.silent and not open_of([closed], bare.at)
