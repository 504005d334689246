"""Whatever is done in whatever order, store and job file say what a plain list says; also after a restart in between."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from loopwright.store.file import ChangedOnDisk, JobFile
from loopwright.store.kept import KeptJob, history_path
from loopwright.store.own import Step, stand_of, step_of
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, Conflict, Revision
from often import often

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
LONG = st.builds(lambda word, times: word * times, st.text("ab\n", min_size=1), st.integers(1, 300))
TEXTS = st.text(alphabet="abcxyz: \n0é🔔", max_size=200) | LONG
WORDS = st.text(max_size=30)
PEOPLE = st.sampled_from(["Ada", "Bo", "B\N{LATIN SMALL LETTER O WITH DIAERESIS}", ""])


class AnyStore(RuleBasedStateMachine):
    """A store beside a list of texts, the list of steps, and a dictionary of marks."""

    where = ""
    numbers = count(1)

    def __init__(self) -> None:
        super().__init__()
        self.store = open_store(self.where)
        self.job = f"job {next(self.numbers)}"
        self.store.create(self.job, "first", Change(by="Ada", at=START))
        self.texts = ["first"]
        self.steps = {"Ada": [1]}
        self.at = {"Ada": 0}
        self.marks: dict[str, int] = {}
        self.minutes = 0

    def changed(self, by: str = "Ada", why: str = "", back_to: int | None = None) -> Change:
        return Change(by=by, at=START + timedelta(minutes=self.minutes), why=why, back_to=back_to)

    @rule(text=TEXTS, by=PEOPLE, why=WORDS)
    def append(self, text: str, by: str, why: str) -> None:
        done = self.store.append(self.job, text, self.changed(by, why), expected=len(self.texts))
        assert isinstance(done, Revision) and done.number == len(self.texts) + 1
        self.texts.append(text)
        steps = self.steps.setdefault(by, [0])
        steps[self.at.setdefault(by, 0) + 1 :] = [done.number]
        self.at[by] += 1

    @rule(text=TEXTS, behind=st.integers(1, 5))
    def append_to_an_older_one(self, text: str, behind: int) -> None:
        done = self.store.append(self.job, text, self.changed(), expected=len(self.texts) - behind)
        assert isinstance(done, Conflict) and (done.ours, done.theirs.text) == (text, self.texts[-1])

    @rule(way=st.sampled_from([-1, 1]), by=PEOPLE, text=TEXTS)
    def step(self, way: int, by: str, text: str) -> None:
        if not 0 <= self.at.get(by, 0) + way < len(self.steps.get(by, "")):
            return
        to = self.steps[by][self.at[by] + way]
        found = step_of(self.store.last_by(self.job, by), way, lambda number: self.store.revision(self.job, number))
        assert found == Step(way, self.steps[by][self.at[by] + (way > 0)], to)
        done = self.store.append(self.job, text, self.changed(by, back_to=to), expected=len(self.texts))
        assert isinstance(done, Revision)
        self.texts.append(text)
        self.at[by] += way

    @rule(name=st.sampled_from("abc"), data=st.data())
    def mark(self, name: str, data: st.DataObject) -> None:
        number = data.draw(st.integers(1, len(self.texts)))
        if self.marks.setdefault(name, number) == number:
            self.store.mark(self.job, name, number)

    @rule(minutes=st.integers(-60, 60))
    def time_goes_by(self, minutes: int) -> None:
        self.minutes += minutes

    @rule()
    def opened_again(self) -> None:
        self.store.close()
        self.store = open_store(self.where)

    @rule(data=st.data())
    def text_at(self, data: st.DataObject) -> None:
        number = data.draw(st.integers(1, len(self.texts)))
        assert self.store.text_at(self.job, number) == self.texts[number - 1]

    @rule()
    def verify(self) -> None:
        assert self.store.verify(self.job) == []

    @invariant()
    def the_head_is_the_last(self) -> None:
        head = self.store.head(self.job)
        assert (head.number, head.text) == (len(self.texts), self.texts[-1])
        for by, at in self.at.items():
            last = self.store.last_by(self.job, by)
            assert last is not None
            steps = self.steps[by]
            assert (last.place.step, last.place.depth, last.place.tip) == (steps[at], at, steps[-1])
            assert last.place.before == (steps[at - 1] if at else 0)
            assert stand_of(last, lambda number: self.store.revision(self.job, number)) == (at, len(steps) - 1 - at)

    def teardown(self) -> None:
        assert self.store.verify(self.job) == []
        every = self.store.revisions(self.job, most=len(self.texts) + 1)
        assert [self.store.text_at(self.job, each.number) for each in reversed(every)] == self.texts
        assert all(later.at >= earlier.at for later, earlier in zip(every, every[1:], strict=False))
        assert {name: number for name, number in self.store.marks(self.job)} == self.marks
        self.store.close()


def test_a_store_in_any_order(where: str) -> None:
    machine = type("StoreHere", (AnyStore,), {"where": where, "numbers": count(1)})
    # A server takes three times as long over each step.
    times = often(4 if where.startswith("postgresql") else 8)
    run_state_machine_as_test(machine, settings=settings(max_examples=times, stateful_step_count=25))


class AnyJob(RuleBasedStateMachine):
    """A job file with its history beside a list of texts, with restarts, and with another program that writes the file."""

    folder = Path()
    numbers = count(1)

    def __init__(self) -> None:
        super().__init__()
        self.path = self.folder / f"{next(self.numbers)}.yaml"
        self.path.write_bytes(b"first")
        self.texts, self.at = ["first"], 0
        self.job = self.opened()
        self.dirty = False

    def opened(self) -> KeptJob:
        job = KeptJob(JobFile(self.path), open_store(history_path(self.path)), by="Ada", clock=lambda: START)
        job.start(job.load())
        return job

    def now(self, text: str) -> None:
        if text != self.texts[self.at]:
            self.texts[self.at + 1 :] = [text]
            self.at += 1

    @precondition(lambda self: not self.dirty)
    @rule(text=TEXTS)
    def edited(self, text: str) -> None:
        if text != self.texts[self.at]:
            self.job.add(text)
            self.now(text)

    @rule(text=TEXTS)
    def edited_while_another_wrote(self, text: str) -> None:
        if self.dirty:
            with pytest.raises(ChangedOnDisk):
                self.job.add(text)

    @precondition(lambda self: not self.dirty)
    @rule(way=st.sampled_from([-1, 1]))
    def step(self, way: int) -> None:
        step = step_of(self.job.last_by(self.job.by), way, self.job.revision)
        if step is not None:
            text = self.job.text_at(step.number - 1 if way < 0 else step.number)
            assert text == self.texts[self.at + way], "alone, what a step goes back to is the text that was there"
            self.job.add(text, step=step)
            self.at += way

    @rule(text=TEXTS)
    def another_writes(self, text: str) -> None:
        self.path.write_bytes(text.encode())
        self.dirty = text != self.texts[self.at]

    @rule()
    def reloaded(self) -> None:
        self.job.reload(lambda text: self.job.taken(text))
        self.now(self.path.read_bytes().decode())
        self.dirty = False

    @rule()
    def restarted(self) -> None:
        self.job.close()
        self.job = self.opened()
        self.now(self.path.read_bytes().decode())
        self.dirty = False

    @invariant()
    def all_agree(self) -> None:
        assert stand_of(self.job.last_by(self.job.by), self.job.revision) == (self.at, len(self.texts) - 1 - self.at)
        assert self.dirty or self.path.read_bytes().decode() == self.texts[self.at]
        assert self.job.changed_elsewhere() is self.dirty

    def teardown(self) -> None:
        self.job.close()
        store: SqlStore = open_store(history_path(self.path), read_only=True)
        assert store.verify() == [] and store.head(store.jobs()[0]).text == self.texts[self.at]
        store.close()


def test_a_job_file_and_its_history_in_any_order() -> None:
    folder = Path(tempfile.mkdtemp(prefix="loopwright-"))
    machine: Callable[[], AnyJob] = type("JobHere", (AnyJob,), {"folder": folder, "numbers": count(1)})
    try:
        run_state_machine_as_test(machine, settings=settings(max_examples=often(12), stateful_step_count=20))
    finally:
        shutil.rmtree(folder)
