"""Sessions: two times after which a token is worth nothing, and nothing kept it could be had from."""

from __future__ import annotations

import base64
import os
from datetime import UTC, datetime, timedelta
from itertools import count

import pytest

from loopwright.store.attempt import Source
from loopwright.store.login import IDLE, LONGEST, MOST_OF_ONE, Sessions, begun, ended, key_of, new_token, rotated, used
from loopwright.store.secret import Secret

AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
HERE = Source("10.0.0.7", loopback=False)
SECOND = timedelta(seconds=1)
_numbers = count(1)


def drawn(size: int) -> bytes:
    return next(_numbers).to_bytes(size, "big")


def one(name: str = "Ada", at: datetime = AT, sessions: Sessions | None = None) -> tuple[Secret, Sessions]:
    token = new_token(drawn)
    return token, begun(sessions or {}, token, name, HERE, at)


def test_a_token_has_256_bits_and_is_kept_as_a_hash_only() -> None:
    token = new_token(os.urandom)
    assert len(base64.urlsafe_b64decode(token.reveal() + "=")) == 32
    sessions = begun({}, token, "Ada", HERE, AT)
    assert token.reveal() not in repr(sessions)
    assert token.reveal() not in repr(token)
    assert list(sessions) == [key_of(token)]


@pytest.mark.parametrize(("pause", "lives"), [(timedelta(0), True), (IDLE - SECOND, True), (IDLE, False), (-SECOND, False)])
def test_idle(pause: timedelta, lives: bool) -> None:
    token, sessions = one()
    assert (used(sessions, token, AT + pause)[1] is not None) is lives


def test_use_keeps_it_alive_but_not_for_ever() -> None:
    token, sessions = one()
    now, found = AT, None
    while now < AT + LONGEST - IDLE:
        now += IDLE / 2
        sessions, found = used(sessions, token, now)
        assert found is not None
    sessions, found = used(sessions, token, AT + LONGEST)
    assert found is None
    assert sessions == {}


def test_a_token_that_is_over_stays_over_when_the_clock_is_set_back() -> None:
    token, sessions = one()
    sessions, _ = used(sessions, token, AT + IDLE)
    assert used(sessions, token, AT)[1] is None


def test_rotation_makes_the_old_token_worth_nothing_and_the_session_no_younger() -> None:
    token, sessions = one()
    new = new_token(drawn)
    sessions, found = rotated(sessions, token, new, AT + 10 * SECOND)
    assert found is not None
    assert found.began_at == AT
    assert used(sessions, token, AT + 10 * SECOND)[1] is None
    assert used(sessions, new, AT + 10 * SECOND)[1] is not None
    assert rotated(sessions, token, new_token(drawn), AT + 10 * SECOND)[1] is None


def test_a_person_has_so_many_and_the_oldest_goes() -> None:
    first, sessions = one()
    other, sessions = one("Ben", sessions=sessions)
    for number in range(MOST_OF_ONE):
        _, sessions = one(at=AT + (number + 1) * SECOND, sessions=sessions)
    assert used(sessions, first, AT + 60 * SECOND)[1] is None
    assert used(sessions, other, AT + 60 * SECOND)[1] is not None
    assert len(sessions) == MOST_OF_ONE + 1


def test_ending_one_and_all_of_a_person() -> None:
    first, sessions = one()
    second, sessions = one(sessions=sessions)
    other, sessions = one("Ben", sessions=sessions)
    assert used(ended(sessions, token=first), second, AT)[1] is not None
    assert used(ended(sessions, token=first), first, AT)[1] is None
    left = ended(sessions, name="Ada")
    assert [used(left, each, AT)[1] is not None for each in (first, second, other)] == [False, False, True]


def test_a_guess_is_nobody() -> None:
    _, sessions = one()
    assert used(sessions, Secret(""), AT)[1] is None
    assert used(sessions, Secret("x" * 43), AT)[1] is None
