"""What is noticed while messages come in: clocks, paths, polls that do not come."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from loopwright.signalling.frame import Content, framed
from loopwright.signalling.received import Arrival, Matter, Notice, Way
from loopwright.signalling.verdict import Account, Desk, judge
from loopwright.signalling.walk import WalkError, walk_in
from loopwright.signalling.watch import MOST_ACCOUNTS, Watch
from loopwright.store.aes import ChainedAes

NOW = datetime(2026, 1, 15, 12, tzinfo=UTC)
DESK = Desk(accounts={"1234": Account()}, cipher=ChainedAes(), draw=bytes)


def at(seconds: float) -> datetime:
    return NOW + timedelta(seconds=seconds)


def heard(watch: Watch, seconds: float, body: bytes, *, way: Way = Way.TCP, peer: str = "192.0.2.7") -> list[Matter]:
    arrival = Arrival(judge(framed(body), at(seconds), DESK), at(seconds), way, peer)
    return [each.matter for each in watch.heard(arrival)]


POLL, EVENT = b'"NULL"0000L0#1234[]', b'"ADM-CID"0001L0#1234[#1234|1130 01 001]'


@pytest.mark.parametrize("told_s", [None, 60.0])
def test_a_poll_that_does_not_come_is_told_once_and_so_is_its_return(told_s: float | None) -> None:
    watch = Watch(poll_s=told_s)
    for seconds in (0, 60, 120):
        assert heard(watch, seconds, POLL) == []
    assert watch.tick(at(120 + 95)) == []
    (late,) = watch.tick(at(120 + 96))
    assert late.matter is Matter.LATE_POLL and "every 60 s" in late.words
    assert watch.tick(at(400)) == []
    assert heard(watch, 500, POLL) == [Matter.POLL_BACK]


def test_any_message_counts_for_the_path_it_comes_by() -> None:
    # 2013, 5.5.2: the interval begins anew with any other message.
    watch = Watch(poll_s=60)
    heard(watch, 0, POLL)
    heard(watch, 90, EVENT)
    assert watch.tick(at(180)) == []
    assert [each.matter for each in watch.tick(at(186))] == [Matter.LATE_POLL]


def test_another_path_and_a_wrong_clock_are_told_when_they_change() -> None:
    watch = Watch()
    assert heard(watch, 0, EVENT) == []
    assert heard(watch, 1, POLL, way=Way.UDP) == [Matter.PATH]
    assert heard(watch, 2, EVENT) == []
    assert heard(watch, 3, EVENT, way=Way.UDP) == [Matter.PATH]
    assert heard(watch, 4, EVENT, way=Way.UDP) == []
    behind = b'"ADM-CID"0001L0#1234[#1234|1130 01 001]_11:00:00,01-15-2026'
    assert heard(watch, 5, behind, way=Way.UDP) == [Matter.CLOCK]
    assert heard(watch, 6, behind, way=Way.UDP) == []
    assert heard(watch, 7, behind.replace(b"11:00:00", b"12:00:07"), way=Way.UDP) == [Matter.CLOCK]


def test_accounts_nobody_listed_are_told_once_and_bounded() -> None:
    watch = Watch()
    for number in range(MOST_ACCOUNTS + 50):
        body = POLL.replace(b"#1234", b"#%04X" % (0x2000 + number))
        assert heard(watch, number, body) == [Matter.UNLISTED]
        assert heard(watch, number, body) == []
    assert len(watch._accounts) == MOST_ACCOUNTS


def test_what_cannot_be_read_is_no_matter() -> None:
    verdict = judge(framed(POLL), NOW, DESK)._replace(head=None, content=Content())
    found: list[Notice] = Watch().heard(Arrival(verdict, NOW, Way.TCP, ""))
    assert found == []


def test_a_walk_is_read() -> None:
    first, second, poll = walk_in(
        'after_s,account,form,data,line\n0,12ab,SIA-DCS,"Nri1/BA4^door, back^",\n\n1.5,1234,ADM-CID,1130 01 004,F\n,1234,NULL,\n'
    )
    assert (first.account, first.data, first.line) == ("12AB", "#12AB|Nri1/BA4^door, back^", "0")
    assert (second.after_s, second.data, second.line) == (1.5, "#1234|1130 01 004", "F")
    assert (poll.form, poll.data, poll.after_s) == ("NULL", "", 0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "no column after_s"),
        ("after_s,account,form,data,key\n", "a column 'key'"),
        ("after_s,account,form,data\n", "no row to send"),
        ("after_s,account,form,data\n0,xyz,NULL,\n", "row 2, account"),
        ("after_s,account,form,data\n0,1234,ACK,\n", "row 2, form"),
        ("after_s,account,form,data\n0,1234,ADM-CID,1130\n", "row 2, data: no event of ADM-CID"),
        ("after_s,account,form,data\n0,1234,SIA-DCS,NBA1]\n", "row 2, data: an event without brackets"),
        ("after_s,account,form,data\n-1,1234,NULL,\n", "row 2, after_s"),
        ("after_s,account,form,data\nnan,1234,NULL,\n", "row 2, after_s"),
        ("after_s,account,form,data\n0,1234,SIA-DCS,NBA1,x\n", "row 2: more cells"),
    ],
)
def test_a_walk_that_cannot_be_sent_is_refused_with_its_place(text: str, words: str) -> None:
    with pytest.raises(WalkError) as caught:
        walk_in(text)
    assert words in str(caught.value)
