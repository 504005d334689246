"""The sender against the receiver: acknowledged, set right after a wrong clock, declined, given up."""

from __future__ import annotations

import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from loopwright.signalling.frame import Content
from loopwright.signalling.key import Key
from loopwright.signalling.sender import TRIES, WAIT_S, Fate, Line, Sending, next_number
from loopwright.signalling.verdict import Account, Desk, judge
from loopwright.store.aes import ChainedAes

NOW = datetime(2026, 1, 15, 12, tzinfo=UTC)
KEY, CIPHER = Key(bytes(range(32))), ChainedAes()
DESK = Desk(accounts={"AAA1": Account(keys=(KEY,), plain_too=True)}, cipher=CIPHER, draw=os.urandom)


def sending(*, hidden: bool, data: str = "#AAA1|1130 01 001", token: str = "ADM-CID") -> Sending:
    line = Line(account="AAA1", receiver="2", key=KEY if hidden else None, cipher=CIPHER, draw=os.urandom)
    return Sending(line=line, head=line.head(token, 7), content=Content(data=data))


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize(("token", "data"), [("ADM-CID", "#AAA1|1130 01 001"), ("NULL", "")])
def test_a_message_is_acknowledged(hidden: bool, token: str, data: str) -> None:
    under_way, octets = sending(hidden=hidden, token=token, data=data).due(NOW)
    assert octets is not None
    reply = judge(octets, NOW, DESK).reply
    assert reply is not None
    assert under_way.answered(reply[:20] + b"x" + reply[21:], NOW).fate is Fate.WAITING
    assert under_way.answered(reply, NOW).fate is Fate.ACKNOWLEDGED


def test_a_clock_an_hour_behind_is_set_and_the_message_sent_again() -> None:
    late = NOW - timedelta(hours=1)
    under_way, octets = sending(hidden=True).due(late)
    assert octets is not None
    reply = judge(octets, NOW, DESK).reply
    assert reply is not None
    under_way, octets = under_way.answered(reply, late).due(late)
    assert octets is not None
    reply = judge(octets, NOW, DESK).reply
    assert reply is not None
    assert under_way.answered(reply, late).fate is Fate.ACKNOWLEDGED


def test_what_cannot_be_processed_is_not_sent_again() -> None:
    under_way, octets = sending(hidden=False, data="#AAA1|no event").due(NOW)
    assert octets is not None
    reply = judge(octets, NOW, DESK).reply
    assert reply is not None
    declined = under_way.answered(reply, NOW)
    assert declined.fate is Fate.DECLINED
    assert declined.due(NOW + timedelta(hours=1)) == (declined, None)


def test_in_plain_an_account_with_a_key_is_declined() -> None:
    under_way, octets = sending(hidden=False).due(NOW)
    assert octets is not None
    reply = judge(octets, NOW, replace(DESK, accounts={"AAA1": Account(keys=(KEY,))})).reply
    assert reply is not None
    assert under_way.answered(reply, NOW).fate is Fate.DECLINED


def test_silence_is_answered_by_repeats_and_then_an_end() -> None:
    under_way, sent = sending(hidden=False), 0
    for second in range(100):
        under_way, octets = under_way.due(NOW + timedelta(seconds=second))
        sent += octets is not None
        assert octets is None or second % WAIT_S == 0
    assert (sent, under_way.fate) == (TRIES, Fate.GIVEN_UP)


def test_numbers_come_round_without_zero() -> None:
    assert (next_number(1), next_number(9998), next_number(9999)) == (2, 9999, 1)
