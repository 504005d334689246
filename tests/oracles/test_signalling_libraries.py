"""Two public libraries of the protocol as oracles: what we build reads there, what they build reads here; where they differ is pinned.

``siadc09`` is written to the 2026 edition and builds and reads frames; ``pysiaalarm`` reads messages and builds answers. Each
difference found stands with its clause in docs/signalling.md; a version that no longer differs fails here, and the page is mended.
"""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pysiaalarm.account import SIAAccount
from pysiaalarm.event import SIAEvent
from pysiaalarm.utils import ADM_MAPPING
from siadc09 import dc03, dc05
from siadc09.account import Account as TheirAccount
from siadc09.message import AckMessage, EventMessage, NullMessage, parse_frame
from siadc09.xdata import Data, parse_xdata

from loopwright.signalling.codes import contact_id_codes, event_codes
from loopwright.signalling.contact_id import ContactId
from loopwright.signalling.event_block import BlockEvent
from loopwright.signalling.frame import Content, Damaged, Head, build, framed, parse
from loopwright.signalling.key import Key
from loopwright.signalling.sender import Fate, Line, Sending
from loopwright.signalling.verdict import Account, Answer, Desk, Verdict, judge
from loopwright.store.aes import ChainedAes
from often import often

CIPHER = ChainedAes()
KEYS = {size: bytes(range(65, 65 + size)) for size in (16, 24, 32)}
HEX = "0123456789ABCDEF"

sizes = st.sampled_from((None, 16, 24, 32))
numbers = st.text(HEX, min_size=1, max_size=6)
accounts = st.text(HEX, min_size=3, max_size=16)
moments = st.datetimes(datetime(2000, 1, 1), datetime(2060, 1, 1), timezones=st.just(UTC)).map(lambda at: at.replace(microsecond=0))
contact_ids = st.builds(
    ContactId,
    qualifier=st.sampled_from("136"),
    code=st.sampled_from(("130", "137", "401", "602", "383")),
    group=st.text("0123456789BCDEF", min_size=2, max_size=2),
    number=st.text("0123456789BCDEF", min_size=3, max_size=3),
)
words = st.text(st.characters(codec="ascii", min_codepoint=32, max_codepoint=126, exclude_characters='[]|^/*"'), min_size=1, max_size=20)
blocks = st.tuples(
    st.sampled_from(("BA", "BR", "TA", "CL", "RP", "YT")), st.text("0123456789", min_size=1, max_size=4), st.integers(1, 99), words
)


def head_of(token: str, account: str, number: int, line: str, receiver: str | None, size: int | None) -> Head:
    return Head(token=token, encrypted=size is not None, sequence=f"{number:04d}", receiver=receiver, line=line, account=account)


def ours(head: Head, content: Content, size: int | None) -> bytes:
    return build(head, content, key=Key(KEYS[size]) if size else None, cipher=CIPHER, draw=os.urandom)


def judged(octets: bytes, at: datetime, account: str, size: int | None) -> Verdict:
    known = Account(keys=(Key(KEYS[size]),) if size else ())
    return judge(octets, at, Desk(accounts={account.upper(): known}, cipher=CIPHER, draw=os.urandom))


def same_head(found: Any, head: Head) -> None:
    assert (found.idtoken, found.seq, found.account.acct) == (head.token, int(head.sequence), int(head.account, 16))
    # The library takes a line of zeros for none.
    assert (found.account.pref or 0) == int(head.line, 16)
    assert found.account.rcvr == (None if head.receiver is None else int(head.receiver, 16))
    assert bool(found.encrypted) is head.encrypted


@given(contact_ids, accounts, st.integers(1, 9999), numbers, st.none() | numbers, sizes, moments)
@settings(max_examples=often(30))
def test_contact_id_of_ours_reads_there(
    event: ContactId, account: str, number: int, line: str, receiver: str | None, size: int | None, at: datetime
) -> None:
    head = head_of("ADM-CID", account, number, line, receiver, size)
    found = parse_frame(ours(head, Content(data=f"#{account}|{event}", at=at), size), KEYS[size] if size else None)
    same_head(found, head)
    assert found.timestamp == at
    read = found.data.event
    assert (read.qualifier, read.code) == (event.qualifier, event.code)
    assert (read.group, read.addr) == (int(event.group, 16), int(event.number, 16))


@given(blocks, accounts, st.integers(1, 9999), numbers, st.none() | numbers, sizes, moments)
@settings(max_examples=often(30))
def test_events_of_ours_read_there(
    block: tuple[str, str, int, str], account: str, number: int, line: str, receiver: str | None, size: int | None, at: datetime
) -> None:
    code, address, area, text = block
    head = head_of("SIA-DCS", account, number, line, receiver, size)
    content = Content(data=f"#{account}|Nri{area}/{code}{address}|A{text}", extended=(("I", "West"),), at=at)
    found = parse_frame(ours(head, content, size), KEYS[size] if size else None)
    same_head(found, head)
    (event,) = [each for block in found.data.blocks for each in getattr(block, "events", ())]
    assert (event.code, event.addr) == (code, int(address, 16) if event.addr is not None else None)
    assert event.modifiers["ri"].value == area
    assert [(each.prefix, each.value) for each in found.xdata] == [("I", "West")]


@given(blocks, accounts, st.integers(1, 9999), numbers, st.none() | numbers, sizes, moments)
@settings(max_examples=often(30))
def test_events_of_theirs_read_here(
    block: tuple[str, str, int, str], account: str, number: int, line: str, receiver: str | None, size: int | None, at: datetime
) -> None:
    code, address, area, text = block
    context = TheirAccount(
        acct=int(account, 16), pref=int(line, 16), rcvr=None if receiver is None else int(receiver, 16), key=KEYS[size] if size else None
    )
    data = f"#{account}|Nri{area}/{code}{address}|A{text}".encode("ascii")
    message = EventMessage(
        context, {"idtoken": "SIA-DCS", "seqno": number, "data": Data(content=data), "xdata": [parse_xdata(b"IWest")], "timestamp": at}
    )
    written = f"{int(account, 16):03X}"
    verdict = judged(message.encode(), at, written, size)
    assert verdict.answer is Answer.ACK, verdict.reason
    assert verdict.head is not None and verdict.content is not None
    assert (verdict.head.account, verdict.head.sequence, verdict.head.encrypted) == (written, f"{number:04d}", size is not None)
    (event,) = verdict.events
    assert isinstance(event, BlockEvent)
    assert (event.code, event.address, event.modifier("ri"), event.text) == (code, address, str(area), text)
    assert (verdict.content.extended, verdict.content.at) == ((("I", "West"),), at)
    # Our answer reads there, and theirs reads here.
    answered(verdict, message, number, size)


def answered(verdict: Verdict, message: Any, number: int, size: int | None) -> None:
    assert verdict.reply is not None and verdict.head is not None
    found = parse_frame(verdict.reply, KEYS[size] if size else None)
    assert isinstance(found, AckMessage) and found.seq == number and bool(found.encrypted) is (size is not None)
    line = Line(
        account=verdict.head.account, line=verdict.head.line, receiver=verdict.head.receiver,
        key=Key(KEYS[size]) if size else None, cipher=CIPHER, draw=os.urandom,
    )  # fmt: skip
    sending = Sending(line=line, head=verdict.head, content=Content())
    reply = AckMessage(message.account, number, message.timestamp).encode(encrypt=size is not None)
    assert sending.answered(reply, datetime.now(UTC)).fate is Fate.ACKNOWLEDGED


@given(accounts, sizes, moments)
@settings(max_examples=often(20))
def test_polls_read_both_ways(account: str, size: int | None, at: datetime) -> None:
    head = head_of("NULL", account, 0, "0", None, size)
    found = parse_frame(ours(head, Content(at=at), size), KEYS[size] if size else None)
    assert isinstance(found, NullMessage) and found.timestamp == at
    context = TheirAccount(acct=int(account, 16), key=KEYS[size] if size else None)
    verdict = judged(NullMessage(context, at).encode(encrypt=size is not None), at, f"{int(account, 16):03X}", size)
    assert (verdict.answer, verdict.events) == (Answer.ACK, ())


@given(blocks, st.text(HEX, min_size=3, max_size=16), st.integers(1, 9999), sizes)
@settings(max_examples=often(20))
def test_the_receiver_library_reads_ours_and_its_answers_are_taken(
    block: tuple[str, str, int, str], account: str, number: int, size: int | None
) -> None:
    code, _, area, _ = block
    at = datetime.now(UTC).replace(microsecond=0)
    head = head_of("SIA-DCS", account, number, "0", "1", size)
    octets = ours(head, Content(data=f"#{account}|Nri{area}/{code}12", at=at), size)
    event = there(octets, account, size)
    assert event.valid_message and event.valid_timestamp
    assert (event.code, event.account, event.sequence, event.ri, event.timestamp) == (code, account, head.sequence, str(area), at)
    line = Line(account=account, receiver="1", key=Key(KEYS[size]) if size else None, cipher=CIPHER, draw=os.urandom)
    assert Sending(line=line, head=head, content=Content()).answered(event.create_response(), at).fate is Fate.ACKNOWLEDGED


def there(octets: bytes, account: str, size: int | None) -> SIAEvent:
    known = SIAAccount(account, KEYS[size].decode("ascii") if size else None)
    return SIAEvent.from_line(octets.decode("ascii").strip(), {account: known})


# Where they differ from the clauses read, each as it stands in docs/signalling.md.


def plain(data: str, *, at: datetime | None = None, receiver: str | None = "1", extended: tuple[tuple[str, str], ...] = ()) -> bytes:
    return ours(head_of("SIA-DCS", "1234", 7, "0", receiver, None), Content(data=data, extended=extended, at=at), None)


def test_a_restore_is_3_and_the_library_says_2() -> None:
    assert dc05.NEWRESTORE == "2"
    assert ContactId(qualifier="3", code="130", group="01", number="004").qualifier == "3"


def test_two_codes_are_told_the_other_way_round() -> None:
    assert [dc03.EVENT[code]["addr"] for code in ("CG", "CJ")] == ["User", "Area"]
    assert [event_codes()[code].addressed for code in ("CG", "CJ")] == ["area", "user"]


def test_a_frame_longer_than_three_digits_count_is_taken_there_and_refused_here() -> None:
    body = b'"SIA-PUL"0001L0#1234[' + b"x" * 5000 + b"]"
    with pytest.raises(ValueError):
        framed(body)
    from loopwright.signalling.crc import crc16

    octets = b"\n%04X%04X%b\r" % (crc16(body), len(body), body)
    assert parse_frame(octets).seq == 1
    with pytest.raises(Damaged):
        parse(octets)


def test_text_that_is_no_utf_8_is_read_here_alone() -> None:
    octets = framed(b'"SIA-DCS"0007L0#1234[#1234|NBA4][IK\xfcche]')
    verdict = judged(octets, datetime.now(UTC), "1234", None)
    assert verdict.content is not None and verdict.content.extended == (("I", "Küche"),)
    (found,) = parse_frame(octets).xdata
    assert found.value != "Küche"


def test_an_old_time_in_plain_is_refused_there_and_taken_here() -> None:
    octets = plain("#1234|NBA4", at=datetime.now(UTC) - timedelta(hours=2))
    assert b'"NAK"' in there(octets, "1234", None).create_response()
    assert judged(octets, datetime.now(UTC), "1234", None).answer is Answer.ACK


def test_an_encrypted_message_without_a_time_is_taken_there_and_not_here() -> None:
    key = Key(KEYS[16])
    inside = b"x" * 16 + b"|#1234|NBA0004]"
    octets = framed(b'"*SIA-DCS"0007R1L0#1234[' + key.encrypt(CIPHER, inside.rjust(32, b"x")).hex().upper().encode("ascii"))
    assert b'ACK"' in there(octets, "1234", 16).create_response()
    assert judged(octets, datetime.now(UTC), "1234", 16).answer is Answer.NAK


def test_without_a_receivers_number_its_answer_is_none() -> None:
    answer = there(plain("#1234|NBA4", at=datetime.now(UTC), receiver=None), "1234", None).create_response()
    assert b"None" in answer
    assert judged(plain("#1234|NBA4", receiver=None), datetime.now(UTC), "1234", None).answer is Answer.ACK


def test_a_key_goes_out_in_clear_there_and_never_here() -> None:
    octets, typed = plain("#1234|NBA4", at=datetime.now(UTC), extended=(("V", "x"),)), KEYS[16]
    assert typed in there(octets, "1234", 16).create_response()
    reply = judged(octets, datetime.now(UTC), "1234", 16).reply
    assert reply is not None and typed not in reply


def test_a_code_it_does_not_know_is_another_there_and_kept_here() -> None:
    octets = ours(head_of("ADM-CID", "1234", 7, "0", "1", None), Content(data="#1234|1789 01 004", at=datetime.now(UTC)), None)
    event = there(octets, "1234", None)
    assert event.code == "YN"
    assert len([each for each in contact_id_codes() if each not in ADM_MAPPING]) == 205
    assert judged(octets, datetime.now(UTC), "1234", None).answer is Answer.ACK
