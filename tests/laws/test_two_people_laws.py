"""People at one job: alone, undo and redo give every text back to the letter; with others, each has their own steps, and nothing is lost.

What is computed from the job has no part in this, so nothing is computed here.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import count
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from loopwright.job.edit import AddItem, Edit, RemoveItem, RenameItem, SetField, content
from loopwright.job.tree import compose
from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob, history_path
from loopwright.store.sql import open_store
from loopwright.web import session as session_module
from loopwright.web.session import Session
from often import often

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DOCUMENT = """\
# A job in which nothing leads far.
format: 1
title: Small
premises: {name: Small, address: Nowhere 1}
region: {country: GB, ruleset: en-grade-2}
parties:
  owner: {role: customer, name: A. Person}  # ask for the key
  firm: {role: installer, name: Somebody}
  # the next one is new
  third: {role: keyholder, name: Third}
sheets:
  cables:
    two: {maker: M, model: two, invented: true, provenance: Invented, cores: 2, gauge: 22 AWG, construction: solid}
    four: {maker: M, model: four, invented: true, provenance: Invented, cores: 4, gauge: 22 AWG, construction: solid}
areas:
  house: {name: House, entry_s: 30}
  shed:
    name: Shed
    entry_s: 20  # short
  yard: {name: Yard, common_to: [house, shed]}
"""
NAMES = ("house", "shed", "yard", "barn", "loft")
WORDS = ("Alpha", "Beta", "the third: with a colon", "60")
MACHINE = "Cy"
"""Who sits at the machine."""


@pytest.fixture(scope="module", autouse=True)
def nothing_computed() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(session_module, "appraise", lambda job: SimpleNamespace(job=job))
        yield


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    made = Path(tempfile.mkdtemp(prefix="loopwright-"))
    yield made
    shutil.rmtree(made)


numbers = count(1)


def begun(folder: Path, *, kept: bool) -> Session:
    path = folder / f"{next(numbers)}.yaml"
    path.write_text(DOCUMENT, encoding="utf-8")
    return opened(path) if kept else Session(JobFile(path))


def opened(path: Path) -> Session:
    return Session(KeptJob(JobFile(path), open_store(history_path(path)), by=MACHINE, clock=lambda: START))


def said(session: Session) -> Any:
    return content(compose(session.state.text)[1])


AREA_EDITS: st.SearchStrategy[Edit] = st.one_of(
    st.builds(lambda name, text: SetField(f"areas/{name}/name", text), st.sampled_from(NAMES), st.sampled_from(WORDS)),
    st.builds(lambda name, text: SetField(f"areas/{name}/entry_s", text), st.sampled_from(NAMES), st.sampled_from(("10", "45 s"))),
    st.builds(lambda name: AddItem("areas", name, {"name": name}), st.sampled_from(NAMES)),
    st.builds(lambda name: RemoveItem(f"areas/{name}"), st.sampled_from(NAMES)),
    st.builds(lambda name, other: RenameItem(f"areas/{name}", other), st.sampled_from(NAMES), st.sampled_from(NAMES)),
    st.builds(lambda name: AddItem("areas/yard/common_to", None, name), st.sampled_from(NAMES)),
)
PARTY_EDITS: st.SearchStrategy[Edit] = st.one_of(
    st.builds(lambda name, text: SetField(f"parties/{name}/name", text), st.sampled_from(("owner", "third", "p4")), st.sampled_from(WORDS)),
    st.builds(lambda name: AddItem("parties", name, {"role": "keyholder", "name": name}), st.sampled_from(("p4", "p5"))),
    st.builds(lambda name: RemoveItem(f"parties/{name}"), st.sampled_from(("third", "p4"))),
    st.builds(lambda text: SetField("title", text), st.sampled_from(WORDS)),
)
STEPS = st.sampled_from(("undo", "redo"))


@settings(max_examples=often(15))
@given(acts=st.lists(AREA_EDITS | PARTY_EDITS | STEPS | STEPS, max_size=14), kept=st.booleans())
def test_alone_every_text_comes_back_to_the_letter(folder: Path, acts: list[Edit | str], kept: bool) -> None:
    session = begun(folder, kept=kept)
    texts, at = [session.state.text], 0
    for act in acts:
        if act == "undo":
            assert session.undo() == ()
            at = max(at - 1, 0)
        elif act == "redo":
            assert session.redo() == ()
            at = min(at + 1, len(texts) - 1)
        elif not isinstance(act, str) and not session.edit(act) and session.state.text != texts[at]:
            texts[at + 1 :] = [session.state.text]
            at += 1
        assert session.state.text == texts[at] == session.file.path.read_text(encoding="utf-8")
        assert session.stand() == (at, len(texts) - 1 - at)
    if isinstance(session.file, KeptJob):
        session.file.close()


@settings(max_examples=often(10))
@given(acts=st.lists(st.tuples(st.just("Ana"), AREA_EDITS | STEPS) | st.tuples(st.just("Bo"), PARTY_EDITS | STEPS), max_size=12))
def test_on_things_apart_each_works_as_if_alone(folder: Path, acts: list[tuple[str, Edit | str]]) -> None:
    together, alone = begun(folder, kept=False), {who: begun(folder, kept=False) for who in ("Ana", "Bo")}
    for who, act in acts:
        for session in (together, alone[who]):
            if isinstance(act, str):
                assert (session.undo if act == "undo" else session.redo)(by=who) == ()
            else:
                session.edit(act, by=who)
        assert together.stand(by=who) == alone[who].stand(by=who)
        both, ana, bo = said(together), said(alone["Ana"]), said(alone["Bo"])
        assert both["areas"] == ana["areas"]
        assert (both["parties"], both["title"]) == (bo["parties"], bo["title"])


CELLS = ("title", "areas/house/name", "areas/shed/name", "areas/shed/entry_s", "parties/owner/name", "parties/third/name")
VALUES = {path: ("11", "22", "33") if path.endswith("_s") else ("Alpha", "Beta", "Gamma") for path in CELLS}
CHANGES = st.sampled_from(CELLS).flatmap(lambda path: st.tuples(st.just(path), st.sampled_from(VALUES[path])))
PEOPLE = st.sampled_from(("Ana", "Bo", MACHINE))


class AtOneJob(RuleBasedStateMachine):
    """A job beside what its cells must say at every revision, and every person's steps."""

    folder = Path()

    @initialize()
    def begin(self) -> None:
        self.session = begun(self.folder, kept=True)
        self.cells = {path: self.cell(path) for path in CELLS}
        self.then = {1: dict(self.cells)}
        self.steps: dict[str, list[tuple[str, str, str]]] = {}
        self.at: dict[str, int] = {}

    def cell(self, path: str) -> str:
        value = said(self.session)
        for name in path.split("/"):
            value = value[name]
        return str(value)

    def made(self, who: str, path: str, text: str) -> None:
        steps = self.steps.setdefault(who, [])
        del steps[self.at.setdefault(who, 0) :]
        steps.append((path, self.cells[path], text))
        self.at[who] += 1
        self.cells[path] = text

    @rule(who=PEOPLE, change=CHANGES)
    def edit(self, who: str, change: tuple[str, str]) -> None:
        path, text = change
        assert self.session.edit(SetField(path, text), by=who) == ()
        if self.cells[path] != text:
            self.made(who, path, text)

    @rule(who=PEOPLE, change=CHANGES, data=st.data())
    def edit_what_an_older_page_shows(self, who: str, change: tuple[str, str], data: st.DataObject) -> None:
        path, text = change
        seen = data.draw(st.sampled_from(sorted(self.then)))
        now, before = self.cells[path], self.then[seen][path]
        problems = self.session.edit(SetField(path, text), by=who, at=seen)
        if text in (before, now):
            assert problems == ()
        elif now != before:
            assert [each.path for each in problems] == [path] and f"‘{now}’" in problems[0].message and f"‘{text}’" in problems[0].message
        else:
            assert problems == ()
            self.made(who, path, text)

    @rule(who=PEOPLE, way=st.sampled_from((-1, 1)), side=st.sampled_from(("ours", "theirs", None)))
    def step(self, who: str, way: int, side: Any) -> None:
        steps, at = self.steps.get(who, []), self.at.get(who, 0)
        go = self.session.undo if way < 0 else self.session.redo
        if not 0 <= at + way <= len(steps):
            assert go(by=who) == ()
            return
        path, old, new = steps[at - 1 if way < 0 else at]
        there, puts = (new, old) if way < 0 else (old, new)
        problems = go(by=who, side=side)
        if self.cells[path] not in (there, puts):
            if side is None:
                assert f"‘{self.cells[path]}’" in problems[0].message and f"‘{puts}’" in problems[0].message
                assert [each.path for each in self.session.clashes(way, by=who)] == [path]
                return
            puts = puts if side == "ours" else self.cells[path]
        assert problems == ()
        self.cells[path] = puts
        self.at[who] += way

    @rule(change=CHANGES, then=PEOPLE, mine=CHANGES)
    def another_program_writes_and_somebody_edits(self, change: tuple[str, str], then: str, mine: tuple[str, str]) -> None:
        path, text = change
        file = self.session.file.path
        other = Session(JobFile(file))
        assert other.edit(SetField(path, text)) == ()
        before, now = dict(self.cells), dict(self.cells) | {path: text}
        problems = self.session.edit(SetField(*mine), by=then)
        if now != before:
            self.made(MACHINE, path, text)
        if mine[1] == now[mine[0]] or mine[1] == before[mine[0]]:
            assert problems == ()
        elif now[mine[0]] != before[mine[0]]:
            assert f"‘{text}’" in problems[0].message
        else:
            assert problems == ()
            self.made(then, *mine)

    @rule()
    def restarted(self) -> None:
        self.close()
        self.session = opened(self.session.file.path)

    def close(self) -> None:
        assert isinstance(self.session.file, KeptJob)
        self.session.file.close()

    @invariant()
    def nothing_is_lost(self) -> None:
        assert {path: self.cell(path) for path in CELLS} == self.cells
        assert self.session.file.path.read_text(encoding="utf-8") == self.session.state.text
        for who, steps in self.steps.items():
            assert self.session.stand(by=who) == (self.at[who], len(steps) - self.at[who])
        self.then[self.session.state.revision] = dict(self.cells)

    def teardown(self) -> None:
        if not hasattr(self, "session"):
            return
        self.close()
        store = open_store(history_path(self.session.file.path), read_only=True)
        assert store.verify() == [] and store.head(store.jobs()[0]).text == self.session.state.text
        store.close()


def test_several_people_in_any_order(folder: Path) -> None:
    machine = type("AtOneJobHere", (AtOneJob,), {"folder": folder})
    run_state_machine_as_test(machine, settings=settings(max_examples=often(8), stateful_step_count=15))
