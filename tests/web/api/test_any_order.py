"""Programs at work on one job in any order, against a model of what must come of it: no edit lost, no fault, no step of somebody else's."""

from __future__ import annotations

import os
import tempfile
import warnings
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from loopwright.job.read import read
from loopwright.store.api_token import ApiTokens, Scope
from loopwright.store.kept import keep
from loopwright.store.sql import open_store
from loopwright.web.app import create_app
from loopwright.web.session import Session

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

EXAMPLES = int(os.environ.get("LOOPWRIGHT_API_ORDERS", "3"))
"""Orders tried; bench/api.py asks for more."""
SAMPLE = Path(__file__).resolve().parents[2] / "job" / "sample.yaml"
WRITERS = st.sampled_from(("survey", "stock"))


@dataclass
class Program:
    """A program with a token of its own, and the steps it can take back and do again: (cable, length before, length after)."""

    client: Any
    back: list[tuple[str, float, float]] = field(default_factory=list)
    forward: list[tuple[str, float, float]] = field(default_factory=list)


class Programs(RuleBasedStateMachine):
    """The lengths of the runs of one job, and who has done what to them."""

    def __init__(self) -> None:
        super().__init__()
        self.open = ExitStack()

    @initialize()
    def begin(self) -> None:
        folder = Path(self.open.enter_context(tempfile.TemporaryDirectory()))
        self.path = folder / "job.yaml"
        self.path.write_bytes(SAMPLE.read_bytes())
        self.session = Session(keep(self.path, by="Ada", clock=self.clock)[0])
        self.open.callback(self.session.file.close)  # type: ignore[union-attr]
        self.tokens = ApiTokens(folder / "tokens", note=lambda *_: None)
        app = create_app(self.session, token=None, tokens=self.tokens, clock=self.clock)

        def client(name: str, scope: Scope) -> Any:
            token = self.tokens.make(name, frozenset({scope}), by="Ada", now=self.clock()).reveal()
            return TestClient(app, base_url="http://127.0.0.1", headers={"Authorization": f"Bearer {token}"})

        self.programs = {name: Program(client(name, Scope.CHANGE)) for name in ("survey", "stock")}
        self.reader = client("reader", Scope.READ)
        self.lengths = {f"cables/{key}/length_m": run.length_m for key, run in list(self.session.state.job.cables.items())[:2]}
        self.made = ["Ada"]
        self.next_m = 100.0
        self.sent: dict[str, tuple[str, dict[str, Any], dict[str, Any]]] = {}
        self.seen = [self.tag()]

    @staticmethod
    def clock() -> datetime:
        return datetime.now(UTC)

    def tag(self) -> str:
        return str(self.reader.get("/api/v1/job").headers["etag"])

    def acknowledged(self, answer: Any, name: str) -> None:
        assert answer.status_code == 200, answer.text
        self.made.append(f"{name} (token)")
        assert answer.json()["revision"] == len(self.made)
        self.seen.append(answer.headers["etag"])

    @rule(name=WRITERS, which=st.integers(0, 1), sees=st.booleans(), key=st.booleans())
    def set_a_length(self, name: str, which: int, sees: bool, key: bool) -> None:
        path, program = list(self.lengths)[which], self.programs[name]
        self.next_m += 1
        body = {"edits": [{"do": "set", "path": path, "value": self.next_m}]}
        headers = {"If-Match": self.tag()} if sees else {}
        headers |= {"Idempotency-Key": f"once {self.next_m}"} if key else {}
        self.acknowledged(program.client.post("/api/v1/edits", json=body, headers=headers), name)
        program.back.append((path, self.lengths[path], self.next_m))
        program.forward.clear()
        self.lengths[path] = self.next_m
        if key:
            self.sent[name] = (headers["Idempotency-Key"], body, headers)

    @rule(name=WRITERS)
    def send_again_what_was_acknowledged(self, name: str) -> None:
        if name in self.sent:
            key, body, _ = self.sent[name]
            answer = self.programs[name].client.post("/api/v1/edits", json=body, headers={"Idempotency-Key": key})
            assert answer.status_code == 200 and answer.json()["revision"] == len(self.made)

    @rule(name=WRITERS, age=st.integers(0, 10), whole=st.booleans())
    def change_what_was_not_seen(self, name: str, age: int, whole: bool) -> None:
        old = self.seen[max(0, len(self.seen) - 2 - age)]
        if old == self.tag():
            return
        client, match = self.programs[name].client, {"If-Match": old}
        if whole:
            answer = client.put("/api/v1/job.yaml", content=SAMPLE.read_bytes(), headers=match | {"Content-Type": "application/yaml"})
        else:
            answer = client.post("/api/v1/edits", json={"edits": [{"do": "remove", "path": "cables/W01"}]}, headers=match)
        assert answer.status_code == 412 and answer.headers["etag"] == self.tag()

    @rule(name=WRITERS, nonsense=st.sampled_from(("cables/none/length_m", "format", "title/x", "cables/W01")))
    def change_what_cannot_be(self, name: str, nonsense: str) -> None:
        edits = [{"do": "set", "path": next(iter(self.lengths)), "value": 7}, {"do": "set", "path": nonsense, "value": "\u0000"}]
        assert self.programs[name].client.post("/api/v1/edits", json={"edits": edits}).status_code == 422

    @rule(name=WRITERS)
    def take_back(self, name: str) -> None:
        program = self.programs[name]
        self.step(name, "undo", program.back, program.forward, lambda step: (step[2], step[1]))

    @rule(name=WRITERS)
    def do_again(self, name: str) -> None:
        program = self.programs[name]
        self.step(name, "redo", program.forward, program.back, lambda step: (step[1], step[2]))

    def step(self, name: str, word: str, from_: list[Any], to: list[Any], ends: Callable[[Any], tuple[float, float]]) -> None:
        answer = self.programs[name].client.post(f"/api/v1/{word}", headers={"If-Match": self.tag()})
        if not from_:
            assert answer.status_code == 409 and "nothing to" in answer.json()["detail"]
            return
        path, (was, becomes) = from_[-1][0], ends(from_[-1])
        if self.lengths[path] not in (was, becomes):
            assert answer.status_code == 409 and path in answer.json()["detail"], "somebody else's value is never written over"
            return
        self.acknowledged(answer, name)
        self.lengths[path] = becomes
        to.append(from_.pop())

    @rule(verb=st.sampled_from(("edits", "undo", "redo")))
    def change_with_a_token_to_read(self, verb: str) -> None:
        body = {"edits": [{"do": "set", "path": "title", "value": "Taken over"}]}
        assert self.reader.post(f"/api/v1/{verb}", json=body, headers={"If-Match": "*"}).status_code == 403

    @rule(name=WRITERS)
    def lose_a_token_and_get_another(self, name: str) -> None:
        program = self.programs[name]
        self.tokens.remove(name)
        assert program.client.post("/api/v1/undo", headers={"If-Match": "*"}).status_code == 401
        program.client.headers["Authorization"] = "Bearer " + self.tokens.make(
            name, frozenset({Scope.CHANGE}), by="Ada", now=self.clock()
        ).reveal()  # fmt: skip

    @invariant()
    def the_job_is_what_was_acknowledged(self) -> None:
        job = read(self.reader.get("/api/v1/job.yaml").text).job
        assert {path: job.cables[path.split("/")[1]].length_m for path in self.lengths} == self.lengths
        assert job.title == read(SAMPLE.read_text(encoding="utf-8")).job.title
        for program in self.programs.values():
            told = program.client.get("/api/v1/job").json()
            assert (told["revision"], told["back"], told["forward"]) == (len(self.made), len(program.back), len(program.forward))

    def teardown(self) -> None:
        if hasattr(self, "reader"):
            said = self.reader.get("/api/v1/history").json()["revisions"]
            assert [each["by"] for each in reversed(said)] == self.made[-len(said) :]
            store = open_store(self.path.with_name("job.yaml.history.db"), read_only=True)
            assert store.verify() == []
            store.close()
        self.open.close()


TestProgramsInAnyOrder = Programs.TestCase
TestProgramsInAnyOrder.settings = settings(
    max_examples=EXAMPLES, stateful_step_count=15, deadline=None, suppress_health_check=list(HealthCheck)
)  # fmt: skip
