"""The way in, as people come, guess and go."""

from __future__ import annotations

import base64
import statistics
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread

import pytest

from loopwright.store.attempt import Limits, Source
from loopwright.store.audit import Audit
from loopwright.store.door import NOT_RIGHT, Door, Refused, SignedIn
from loopwright.store.file import StoreError
from loopwright.store.login import IDLE
from loopwright.store.one_time import hotp, step_of
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret

CHEAP = Cost(passes=1, memory_kib=8, lanes=1)
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ADA, BEN, WRONG = Secret("correct horse battery"), Secret("staple under the stair"), Secret("not the one, no")
AWAY, HOME, LOCAL = Source("10.0.0.7", loopback=False), Source("10.0.0.8", loopback=False), Source("127.0.0.1", loopback=True)


@pytest.fixture
def audit(tmp_path: Path) -> Audit:
    return Audit(tmp_path / "people.trail", by="the workbench", clock=lambda: AT)


@pytest.fixture
def people(tmp_path: Path, audit: Audit) -> People:
    made = People(tmp_path / "people", note=audit.note, cost=CHEAP)
    made.add("Ada", Role.OFFICE, ADA, owner=True)
    made.add("Ben", Role.INSTALLER, BEN)
    return made


@pytest.fixture
def door(people: People, audit: Audit) -> Door:
    return Door(people, note=audit.note)


def try_in(door: Door, name: str, password: Secret, source: Source = AWAY, *, later_s: float = 0) -> SignedIn | Refused:
    return door.sign_in(name, password, None, source=source, now=AT + timedelta(seconds=later_s))


def into(door: Door, name: str, password: Secret, source: Source = AWAY) -> Secret:
    done = try_in(door, name, password, source)
    assert isinstance(done, SignedIn)
    return done.token


def test_in_and_out(door: Door) -> None:
    token = into(door, "Ben", BEN)
    person = door.who(token, now=AT)
    assert person is not None
    assert (person.name, person.role) == ("Ben", Role.INSTALLER)
    assert [each.source for each in door.sessions_of("Ben")] == [AWAY]
    door.sign_out(token)
    assert door.who(token, now=AT) is None
    assert door.sessions_of("Ben") == ()


def test_each_sign_in_has_a_token_of_its_own_and_it_can_be_exchanged(door: Door) -> None:
    first, second = into(door, "Ben", BEN), into(door, "Ben", BEN)
    assert first != second
    third = door.rotate(first, now=AT)
    assert third is not None
    assert door.who(first, now=AT) is None
    assert door.who(third, now=AT) is not None
    assert door.rotate(first, now=AT) is None
    assert door.who(third, now=AT + IDLE) is None


def test_every_refusal_says_the_same(door: Door, people: People) -> None:
    people.add("Cleo", Role.READER, BEN)
    people.set_active("Cleo", active=False)
    secret = people.start_one_time("Ben", BEN)
    code = Secret(hotp(base64.b32decode(secret.reveal()), step_of(AT)))
    people.confirm_one_time("Ben", BEN, secret, code, now=AT)
    answers = [
        try_in(door, "Ben", WRONG),
        try_in(door, "Ben", BEN),
        try_in(door, "nobody", BEN),
        try_in(door, "Cleo", BEN),
        try_in(door, "", Secret("")),
        door.sign_in("Ben", BEN, Secret("000000"), source=AWAY, now=AT + timedelta(hours=2)),
    ]
    assert set(answers) == {Refused(NOT_RIGHT, 0)}


def test_a_guesser_waits_just_as_long_for_a_name_nobody_has(door: Door) -> None:
    for name in ("Ben", "nobody", "nobody else"):
        source = Source(f"from {name}", loopback=False)
        waits = [answer.wait_s for answer in (try_in(door, name, WRONG, source) for _ in range(6)) if isinstance(answer, Refused)]
        assert waits == [0, 0, 0, 0, 2, 2]


def test_whoever_waits_is_not_looked_at_even_when_right(door: Door) -> None:
    for _ in range(5):
        try_in(door, "Ben", WRONG)
    assert try_in(door, "Ben", BEN) == Refused(NOT_RIGHT, 2)
    assert isinstance(try_in(door, "Ben", BEN, later_s=2), SignedIn)
    assert isinstance(try_in(door, "Ben", WRONG, later_s=2), Refused)
    assert isinstance(try_in(door, "Ben", BEN, later_s=2), SignedIn), "a right one forgives what was before"


def test_a_guesser_keeps_nobody_else_out(door: Door) -> None:
    for _ in range(40):
        try_in(door, "Ben", WRONG)
        try_in(door, "Ada", WRONG)
    into(door, "Ben", BEN, HOME)
    into(door, "Ada", ADA, HOME)


def test_the_owner_at_the_machine_always_may(door: Door) -> None:
    for _ in range(60):
        assert isinstance(try_in(door, "Ada", WRONG, LOCAL), Refused)
        try_in(door, "Ben", WRONG, LOCAL)
    into(door, "Ada", ADA, LOCAL)
    assert isinstance(try_in(door, "Ben", BEN, LOCAL), Refused), "another at the machine waits like everybody"


def test_many_at_once_gain_no_more_tries(people: People, audit: Audit) -> None:
    door = Door(people, note=audit.note, limits=Limits(free=3))
    answers: list[SignedIn | Refused] = []
    threads = [Thread(target=lambda: answers.append(try_in(door, "Ben", WRONG))) for _ in range(20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    looked_at = [line for line in audit.lines() if b'"sign-in refused"' in line]
    assert len(answers) == 20
    assert len(looked_at) == 3


def test_who_is_let_in_no_more_is_out_at_once(door: Door, people: People) -> None:
    token = into(door, "Ben", BEN)
    people.set_active("Ben", active=False)
    assert door.who(token, now=AT) is None


def test_another_role_counts_at_once(door: Door, people: People) -> None:
    token = into(door, "Ben", BEN)
    people.set_role("Ben", Role.READER)
    person = door.who(token, now=AT)
    assert person is not None
    assert person.role is Role.READER


def test_all_sessions_of_a_person_can_be_ended(door: Door) -> None:
    tokens = [into(door, "Ben", BEN), into(door, "Ben", BEN, HOME)]
    other = into(door, "Ada", ADA)
    door.turn_out("Ben")
    assert [door.who(token, now=AT) for token in tokens] == [None, None]
    assert door.who(other, now=AT) is not None


def test_comings_and_refusals_are_noted_but_not_what_was_typed(door: Door, audit: Audit) -> None:
    into(door, "Ben", BEN)
    try_in(door, "Ben", WRONG)
    try_in(door, BEN.reveal(), Secret(""))
    for _ in range(5):
        try_in(door, "Ben", WRONG)
    whole = b"".join(audit.lines()).decode("ascii")
    for act in ("signed in", "sign-in refused", "sign-in not looked at"):
        assert f'"act":"{act}"' in whole
    assert "somebody unknown from 10.0.0.7" in whole
    assert not any(each.reveal() in whole for each in (ADA, BEN, WRONG))
    assert audit.verify() == []


def test_nobody_is_in_when_it_cannot_be_noted(people: People) -> None:
    def full(act: str, subject: str) -> None:
        raise StoreError("the trail cannot be written.")

    door = Door(people, note=full)
    with pytest.raises(StoreError, match="trail"):
        try_in(door, "Ben", BEN)
    assert door.sessions_of("Ben") == ()


def test_a_name_nobody_has_takes_as_long(tmp_path: Path) -> None:
    people = People(tmp_path / "slow", note=lambda *_: None, cost=Cost(passes=2, memory_kib=16_384, lanes=1))
    people.add("Ada", Role.OFFICE, ADA, owner=True)

    def took_s(name: str) -> float:
        begin = time.perf_counter()
        people.fits(people.find(name), WRONG)
        return time.perf_counter() - begin

    known = statistics.median(took_s("Ada") for _ in range(9))
    unknown = statistics.median(took_s("nobody") for _ in range(9))
    assert 0.5 < unknown / known < 2
