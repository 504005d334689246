"""Nonsense in the fields of Premises and Programme: one clear sentence at the field, and nothing lost."""

from __future__ import annotations

import pytest

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.values.error import JobError
from loopwright.web.change import TURNED, Change, edit_of
from loopwright.web.session import Session
from loopwright.web.told import told

LAW = ", local_law: {entry_s: {most_s: 60, law: Order}}, local_level: {level_outside_db: {most_db: 97, at_m: 1, law: Order}}}"
NUMBERS = (
    "programme/lock_out_quiet_s",
    "users/owner/duress_number",
    "region/local_level/level_outside_db/at_m",
    "outputs/inside/duration_s",
)
TEXTS = ("region/local_level/level_outside_db/law", "areas/shop/set_at")
NONSENSE = {
    "abc": "is not a number: write for example", "-5": "is out of bounds. Accepted: ", "1e308": "is out of bounds. Accepted: ",
    "nan": "is not a number", "1,2,3": "is not a number", "<script>alert(1)</script>": "is not a number", "x" * 8000: "is not a number",
    "5\u202e": TURNED, "5\x07": "Character U+0007 cannot stand",
}  # fmt: skip


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    path = tmp_path_factory.mktemp("nonsense") / "job.yaml"
    path.write_text(loopwright.demo.text("business").replace("mains_hz: 50}", f"mains_hz: 50{LAW}"), encoding="utf-8")
    return Session(JobFile(path))


def said(session: Session, path: str, text: str) -> str:
    """Return what is said when a text is entered, which is one message at its field, and nothing is written."""
    before = session.file.path.read_bytes()
    change = Change(do="set", path=path, text=text)
    try:
        problems = session.edit(edit_of(change, session.state.job))
    except JobError as error:
        problems = error.problems
    (told_of,) = told(problems, change, session.state.job)
    assert session.file.path.read_bytes() == before and told_of["path"] == path and len(told_of["message"]) < 250
    return told_of["message"]


@pytest.mark.parametrize("path", NUMBERS)
def test_nonsense_in_a_number_is_told_with_what_would_be_right(session: Session, path: str) -> None:
    for text, words in NONSENSE.items():
        assert words in said(session, path, text), text


@pytest.mark.parametrize("path", ["programme/soundings", "users/owner/number"])
def test_part_of_a_whole_is_told_with_its_bounds(session: Session, path: str) -> None:
    assert "is not a whole number. Accepted: " in said(session, path, "1.5") and "write for example 3" in said(session, path, "three")


@pytest.mark.parametrize("path", TEXTS)
def test_a_text_may_hold_markup_and_no_sign_that_turns_what_is_read(session: Session, path: str) -> None:
    assert said(session, path, "97 dB\u202e after ten") == TURNED
    assert "8000 characters long. Accepted: at most" in said(session, path, "x" * 8000)
    assert session.edit(edit_of(Change(do="set", path=path, text="<b>*x: {a"), session.state.job)) == ()


@pytest.mark.parametrize("path", ["zones/z01/number", "region/local_level/level_outside_db/at_m", "outputs/inside/terminal"])
def test_what_cannot_be_empty_says_so(session: Session, path: str) -> None:
    assert said(session, path, "  ").startswith("This cannot be empty")


def test_a_part_set_named_anew_while_zones_answer_in_it_is_one_sentence(session: Session) -> None:
    words = said(session, "programme/part_sets/0", "evening")
    assert "is not a set state" in words and words.endswith("more places: change those first.")
