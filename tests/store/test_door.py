"""The way in, as people come, guess and go."""

from __future__ import annotations

import base64
import statistics
import time
from contextlib import nullcontext
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Barrier, Event, Thread

import pytest

from loopwright.store.attempt import Limits, Source
from loopwright.store.audit import Audit
from loopwright.store.door import ENDED, MOST_WAITING, NOT_RIGHT, OVERLAP, PASSWORD_NOT_RIGHT, TOO_MANY, Door, Refused, SignedIn
from loopwright.store.file import StoreError
from loopwright.store.login import IDLE
from loopwright.store.one_time import hotp, step_of
from loopwright.store.people import People
from loopwright.store.person import Person, Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret

CHEAP = Cost(passes=1, memory_kib=8, lanes=1)
AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ADA, BEN, WRONG = Secret("correct horse battery"), Secret("staple under the stair"), Secret("not the one, no")
NEW = Secret("tin jar of plums")
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


def who(door: Door, token: Secret, *, now: datetime) -> Person | None:
    inside = door.inside(token, now=now)
    return None if inside is None else inside.person


def into(door: Door, name: str, password: Secret, source: Source = AWAY) -> Secret:
    done = try_in(door, name, password, source)
    assert isinstance(done, SignedIn)
    return done.token


def test_in_and_out(door: Door) -> None:
    token = into(door, "Ben", BEN)
    person = who(door, token, now=AT)
    assert person is not None
    assert (person.name, person.role) == ("Ben", Role.INSTALLER)
    assert [each.source for each in door.sessions_of("Ben")] == [AWAY]
    door.sign_out(token)
    assert who(door, token, now=AT) is None
    assert door.sessions_of("Ben") == ()


def test_each_sign_in_has_a_token_of_its_own_and_it_can_be_exchanged(door: Door) -> None:
    first, second = into(door, "Ben", BEN), into(door, "Ben", BEN)
    assert first != second
    third = door.rotate(first, now=AT)
    assert third is not None
    assert who(door, first, now=AT) is None
    assert who(door, third, now=AT) is not None
    assert door.rotate(first, now=AT) is None
    assert who(door, third, now=AT + IDLE) is None


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
    assert who(door, token, now=AT) is None


def test_another_role_counts_at_once(door: Door, people: People) -> None:
    token = into(door, "Ben", BEN)
    people.set_role("Ben", Role.READER)
    person = who(door, token, now=AT)
    assert person is not None
    assert person.role is Role.READER


def test_all_sessions_of_a_person_can_be_ended(door: Door) -> None:
    tokens = [into(door, "Ben", BEN), into(door, "Ben", BEN, HOME)]
    other = into(door, "Ada", ADA)
    door.turn_out("Ben")
    assert [who(door, token, now=AT) for token in tokens] == [None, None]
    assert who(door, other, now=AT) is not None


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


def test_tries_that_have_to_wait_do_not_fill_the_trail(door: Door, audit: Audit) -> None:
    for number in range(20):
        try_in(door, f"nobody {number}", WRONG)
    before = len(audit.lines())
    for number in range(300):
        assert isinstance(try_in(door, f"another {number}", WRONG, later_s=0.001 * number), Refused)
    assert len(audit.lines()) == before + 1
    try_in(door, "Ben", WRONG, HOME)
    for later_s in (0, 1, 899, 901):
        for _ in range(3):
            try_in(door, "another", WRONG, later_s=later_s)
    assert len(audit.lines()) <= before + 8, "once in each wait, from each place"


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
        # Work, not time: what else the machine does is nobody's to find out.
        begin = time.process_time()
        people.fits(people.find(name), WRONG)
        return time.process_time() - begin

    took = [(took_s("Ada"), took_s("nobody")) for _ in range(9)]
    known, unknown = (statistics.median(each) for each in zip(*took, strict=True))
    assert 0.5 < unknown / known < 2


def test_an_exchanged_token_is_good_for_what_is_under_way_and_then_worth_nothing(door: Door) -> None:
    first = into(door, "Ben", BEN)
    second = door.rotate(first, now=AT, overlap=OVERLAP)
    assert second is not None
    soon, later = AT + OVERLAP / 2, AT + OVERLAP
    assert who(door, first, now=soon) is not None
    assert door.rotate(first, now=soon, overlap=OVERLAP) is None, "one token, one successor"
    assert len(door.sessions_of("Ben")) == 1
    assert who(door, first, now=later) is None and who(door, second, now=later) is not None


def test_signing_out_ends_the_token_that_was_exchanged_too(door: Door) -> None:
    first = into(door, "Ben", BEN)
    second = door.rotate(first, now=AT, overlap=OVERLAP)
    assert second is not None
    door.sign_out(second)
    assert who(door, first, now=AT) is None and who(door, second, now=AT) is None


def test_one_session_is_ended_and_the_others_stay(door: Door) -> None:
    first, second, ada = into(door, "Ben", BEN), into(door, "Ben", BEN), into(door, "Ada", ADA)
    inside = door.inside(first, now=AT)
    assert inside is not None
    door.turn_out("Ada", number=inside.session.number)
    assert who(door, first, now=AT) is not None, "of another person"
    door.turn_out("Ben", number=inside.session.number)
    assert who(door, first, now=AT) is None
    assert who(door, second, now=AT) is not None and who(door, ada, now=AT) is not None


def test_another_password_ends_every_session_but_the_one_it_was_changed_in(door: Door, people: People) -> None:
    here, there = into(door, "Ben", BEN), into(door, "Ben", BEN)
    done = door.change_password(here, BEN, NEW, now=AT)
    assert isinstance(done, SignedIn)
    assert who(door, here, now=AT) is None and who(door, there, now=AT) is None
    assert who(door, done.token, now=AT) is not None
    people.set_password("Ben", BEN, given_until=None)
    assert who(door, done.token, now=AT) is None


def test_the_password_is_asked_again_with_the_same_waits(door: Door) -> None:
    token = into(door, "Ben", BEN)
    later = AT + timedelta(minutes=20)
    answers = [door.prove(token, WRONG, now=later) for _ in range(Limits().free + 1)]
    assert answers[0] == Refused(PASSWORD_NOT_RIGHT, 0)
    assert isinstance(answers[-1], Refused) and answers[-1].wait_s > 0
    assert isinstance(door.prove(token, BEN, now=later), Refused), "right, and not looked at"
    changed = door.change_password(token, BEN, NEW, now=later)
    assert isinstance(changed, Refused) and changed.wait_s > 0
    done = door.prove(token, BEN, now=later + timedelta(minutes=16))
    assert isinstance(done, SignedIn) and done.session.proved_at == later + timedelta(minutes=16)
    assert who(door, token, now=later + timedelta(minutes=16)) is None, "with another token from then on"


def test_codes_are_begun_and_ended_by_whoever_is_in(door: Door, people: People) -> None:
    token = into(door, "Ben", BEN)
    assert door.start_codes(token, WRONG, now=AT) == Refused(PASSWORD_NOT_RIGHT, 0)
    assert door.confirm_codes(token, BEN, Secret("000000"), now=AT) == Refused("That took too long. Begin anew.", 0)
    secret = door.start_codes(token, BEN, now=AT)
    assert isinstance(secret, Secret)
    code = Secret(hotp(base64.b32decode(secret.reveal()), step_of(AT)))
    assert door.confirm_codes(token, WRONG, code, now=AT) == Refused(PASSWORD_NOT_RIGHT, 0)
    assert door.confirm_codes(token, BEN, code, now=AT) is None
    assert people.everybody()["Ben"].one_time is not None
    assert door.drop_codes(token, WRONG, now=AT) == Refused(PASSWORD_NOT_RIGHT, 0)
    assert door.drop_codes(token, BEN, now=AT) is None
    assert people.everybody()["Ben"].one_time is None
    door.sign_out(token)
    for answer in (door.start_codes(token, BEN, now=AT), door.confirm_codes(token, BEN, code, now=AT), door.drop_codes(token, BEN, now=AT)):
        assert answer == Refused(ENDED, 0)


def test_a_given_password_lets_in_until_its_day(door: Door, people: People) -> None:
    people.set_password("Ben", NEW, given_until=AT + timedelta(days=3))
    assert isinstance(try_in(door, "Ben", NEW), SignedIn)
    assert try_in(door, "Ben", NEW, later_s=3 * 24 * 3600) == Refused(NOT_RIGHT, 0)


def test_a_crowd_at_the_door_is_told_so_and_forgives_nobody(door: Door, people: People, monkeypatch: pytest.MonkeyPatch) -> None:
    inside, go = Barrier(MOST_WAITING + 1), Event()
    monkeypatch.setattr(door, "_looking", nullcontext())

    def slow(*_: object) -> bool:
        inside.wait(60)
        go.wait(60)
        return False

    monkeypatch.setattr(people, "fits", slow)
    crowd = [
        Thread(target=try_in, args=(door, f"nobody {number}", WRONG, Source(f"10.0.1.{number}", loopback=False))) for number in range(8)
    ]
    for each in crowd:
        each.start()
    inside.wait(60)
    assert try_in(door, "Ben", BEN) == Refused(TOO_MANY, 1) == try_in(door, "Ada", ADA)
    monkeypatch.setattr(people, "fits", lambda *_: True)
    assert isinstance(try_in(door, "Ada", ADA, LOCAL), SignedIn), "the owner at the machine has a place of their own"
    assert try_in(door, "Ben", BEN, LOCAL) == Refused(TOO_MANY, 1)
    go.set()
    for each in crowd:
        each.join(60)
    monkeypatch.undo()
    assert isinstance(try_in(door, "Ben", BEN), SignedIn)
