"""Frames against figures from outside, and what must hold for every frame: built and read is the same, damage is never acknowledged."""

from __future__ import annotations

import itertools
import os
import pickle
from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import CBC
from hypothesis import given, settings
from hypothesis import strategies as st

from loopwright.signalling.codes import contact_id_codes, event_codes
from loopwright.signalling.contact_id import check_digit, dialled
from loopwright.signalling.crc import crc16
from loopwright.signalling.event_block import events_in
from loopwright.signalling.frame import Content, Head, build, content_of, framed, hidden_in, parse, revealed, usual
from loopwright.signalling.key import Key, keys_of
from loopwright.signalling.stream import MOST_FRAME, Cut, Piece, Splitter, datagram
from loopwright.signalling.verdict import _BEYOND_DOUBT, Account, Answer, Desk, Why, events_of, judge
from loopwright.store.aes import ChainedAes
from often import often

NOW = datetime(2026, 1, 15, 12, tzinfo=UTC)
CIPHER = ChainedAes()
KEY = Key(bytes(range(16)))
DESK = Desk(accounts={"AAA1": Account(keys=(KEY,)), "1234": Account()}, cipher=CIPHER, draw=os.urandom)
PLAIN = b'\nB2220037"SIA-DCS"0001L0#1234[#1234|NFA0001]_03:04:05,01-02-2024\r'

HEX = "0123456789ABCDEF"
texts = st.text(st.characters(codec="utf-8", min_codepoint=32, exclude_characters="[]\x7f"), max_size=40)
heads = st.builds(
    Head,
    token=st.sampled_from(("SIA-DCS", "ADM-CID", "NULL", "SIA-PUL")),
    encrypted=st.booleans(),
    sequence=st.from_regex(r"[0-9]{4}", fullmatch=True).filter(str.isascii),
    receiver=st.none() | st.text(HEX, min_size=1, max_size=6),
    line=st.text(HEX, min_size=1, max_size=6),
    account=st.text(HEX, min_size=3, max_size=16),
)
moments = st.datetimes(datetime(1970, 1, 1), datetime(9999, 12, 31), timezones=st.just(UTC)).map(lambda at: at.replace(microsecond=0))
extended = st.lists(st.tuples(st.sampled_from("AHILMORSTV"), texts), max_size=3).map(tuple)


def test_the_check_sum_is_that_of_the_catalogue_of_such_sums() -> None:
    # CRC-16/ARC: check value of the catalogue of parametrised CRC algorithms.
    assert crc16(b"123456789") == 0xBB3D
    assert framed(b"123456789") == b"\nBB3D0009123456789\r"


# NIST SP 800-38A, F.2.1, F.2.3 and F.2.5: the text, and what its keys of 128, 192 and 256 bits make of it.
START = bytes.fromhex("000102030405060708090a0b0c0d0e0f")
TEXT = bytes.fromhex(
    "6bc1bee22e409f96e93d7e117393172aae2d8a571e03ac9c9eb76fac45af8e5130c81c46a35ce411e5fbc1191a0a52eff69f2445df4f9b17ad2b417be66c3710"
)
NIST = {
    "2b7e151628aed2a6abf7158809cf4f3c": "7649abac8119b246cee98e9b12e9197d5086cb9b507219ee95db113a917678b2"
    "73bed6b8e3c1743b7116e69e222295163ff1caa1681fac09120eca307586e1a7",
    "8e73b0f7da0e6452c810f32b809079e562f8ead2522c6b7b": "4f021db243bc633d7178183a9fa071e8b4d9ada9ad7dedf4e5e738763f69145a"
    "571b242012fb7ae07fa9baac3df102e008b0e27988598881d920a9e64f5615cd",
    "603deb1015ca71be2b73aef0857d77811f352c073b6108d72d9810a30914dff4": "f58c4c04d6e5f1ba779eabfb5f7bfbd69cfc4e967edb808d679f777bc6702c7d"
    "39f23369a9d9bacfa530e26304231461b2eb05e2c39be9fcda6c19078c6a9d1b",
}


@pytest.mark.parametrize("key", NIST)
def test_the_cipher_is_that_of_the_published_examples(key: str) -> None:
    # The examples start from a block of their own; chained from zeros, that block is added to the first one.
    text = bytes(a ^ b for a, b in zip(TEXT, START, strict=False)) + TEXT[16:]
    octets = bytes.fromhex(key)
    assert CIPHER.encrypt(octets, text).hex() == NIST[key]
    assert CIPHER.decrypt(octets, bytes.fromhex(NIST[key])) == text


texts_of_blocks = st.binary(min_size=16, max_size=80).map(lambda text: text[: len(text) // 16 * 16])


@given(st.lists(st.tuples(st.sampled_from(sorted(NIST)), st.booleans(), texts_of_blocks), min_size=1, max_size=12))
@settings(max_examples=often(40), deadline=None)
def test_a_text_comes_out_as_if_it_were_the_first_whatever_went_before(turns: list[tuple[str, bool, bytes]]) -> None:
    cipher = ChainedAes()
    for key, hide, text in turns:
        octets = bytes.fromhex(key)
        fresh = Cipher(AES(octets), CBC(bytes(16)))
        other = fresh.encryptor() if hide else fresh.decryptor()
        turn = cipher.encrypt if hide else cipher.decrypt
        assert turn(octets, text) == other.update(text) + other.finalize()
        for odd in (b"", text + b"x"):
            with pytest.raises(ValueError, match="no whole blocks"):
                turn(octets, odd)


@pytest.mark.parametrize("text", ["1234181131010158", "1234183131010156", "655618340201015D"])
def test_the_check_digit_is_that_of_the_worked_examples(text: str) -> None:
    assert check_digit(text[:-1]) == text[-1]
    assert dialled(text) is not None


@given(st.text("0123456789BCDEF", min_size=15, max_size=15))
@settings(max_examples=often(60), deadline=None)
def test_a_sum_with_its_check_digit_divides_by_fifteen(digits: str) -> None:
    assert sum(int(each, 16) or 10 for each in digits + check_digit(digits)) % 15 == 0


def test_the_tables_hold_every_code() -> None:
    assert (len(contact_id_codes()), len(event_codes())) == (322, 305)
    assert contact_id_codes()["130"].addressed == "zone" and contact_id_codes()["401"].addressed == "user"


@given(heads, texts, extended, moments)
@settings(max_examples=often(80), deadline=None)
def test_what_is_built_reads_back(head: Head, data: str, fields: tuple[tuple[str, str], ...], at: datetime) -> None:
    data = data.replace("|", "") if head.encrypted else data
    built = build(head, Content(data=data, extended=fields, at=at), key=KEY, cipher=CIPHER, draw=os.urandom)
    assert Splitter().feed(built) == datagram(built) == [Piece(octets=built, cut=Cut.FRAME)]
    assert Splitter().alone(built)
    frame = parse(built)
    assert frame.head == head
    content = revealed(frame, KEY, CIPHER) if head.encrypted else content_of(frame)
    assert content is not None
    assert (content.data, content.extended, content.at) == (data, fields, at)


@given(heads, texts, extended, st.none() | moments, st.binary(max_size=3), st.integers(0, 200))
@settings(max_examples=often(150), deadline=None)
def test_the_usual_frame_reads_as_every_other_does(
    head: Head, data: str, fields: tuple[tuple[str, str], ...], at: datetime | None, put: bytes, place: int
) -> None:
    content = Content(data=data, extended=fields, at=NOW if head.encrypted and at is None else at)
    built = build(head, content, key=KEY, cipher=CIPHER, draw=os.urandom)
    changed = bytearray(built[9:-1])
    changed[place : place + len(put)] = put
    body = bytes(changed).replace(b"\n", b"").replace(b"\r", b"")
    for octets in (built, framed(body[:4095]), built[:1] + b"0000" + built[5:]):
        short = usual(octets)
        if short is None:
            continue
        frame = parse(octets)
        if frame.head.encrypted:
            assert short == (frame.head, None, hidden_in(frame)) and short[2]
        else:
            assert short == (frame.head, content_of(frame), "") and short[1]
    # The road is worth its while only if the frames it is for go by it.
    assert (fields and not head.encrypted) or not built.isascii() or usual(built)


@pytest.mark.parametrize("token", sorted(_BEYOND_DOUBT))
@given(st.data())
@settings(max_examples=often(60), deadline=None)
def test_what_is_answered_before_it_is_read_holds_an_event(token: str, data: st.DataObject) -> None:
    said = data.draw(st.from_regex(_BEYOND_DOUBT[token], fullmatch=True))
    assert events_of(token, Content(data=said))


def frames() -> list[bytes]:
    head = Head(token="SIA-DCS", encrypted=True, sequence="0007", receiver=None, line="0", account="AAA1")
    hidden = build(head, Content(data="#AAA1|Nri1/BA01", at=NOW), key=KEY, cipher=CIPHER, draw=lambda size: b"x" * size)
    return [PLAIN, hidden, b'\n9EC40027"ADM-CID"0001L0#1002[#1002|1602 00 001]\r']


@pytest.mark.parametrize("octets", frames())
def test_a_flipped_bit_is_never_acknowledged(octets: bytes) -> None:
    for place in range(len(octets) * 8):
        damaged = bytearray(octets)
        damaged[place // 8] ^= 1 << place % 8
        # A digit of the check sum or length in the other case says the same number: the message is whole.
        if damaged[1:9].upper() == octets[1:9] and damaged[9:] == octets[9:]:
            continue
        for piece in datagram(bytes(damaged)):
            assert piece.cut is not Cut.FRAME or judge(piece.octets, NOW, DESK).answer is Answer.SILENCE


noise = st.sampled_from((b"", b"\n", b"\x00", b"\r\n", b"GET / HTTP/1.1\r\n\r\n", b"\nA0", b"\n\r", b"x" * 30, b"\x1b\xff"))


def joined(pieces: list[Piece]) -> list[tuple[bytes, Cut]]:
    return [(piece.octets, piece.cut) for piece in pieces]


def test_blanks_between_an_end_and_a_beginning_are_no_frame() -> None:
    assert Splitter().feed(b"\n\r") == Splitter().feed(b"\n \r") == datagram(b"\n\r") == []


@given(st.lists(st.sampled_from(frames()) | noise | st.binary(max_size=12), max_size=6).map(b"".join), st.data())
@settings(max_examples=often(120), deadline=None)
def test_however_the_stream_is_split_the_same_pieces_come(stream: bytes, data: st.DataObject) -> None:
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    whole, split = Splitter(), Splitter()
    expected = whole.feed(stream) + whole.close()
    found = [piece for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True) for piece in split.feed(stream[a:b])] + split.close()
    assert joined(found) == joined(expected)
    for begin, end in itertools.pairwise(sorted({0, *cuts, len(stream)})):
        part = stream[begin:end]
        assert not Splitter().alone(part) or Splitter().feed(part) == [Piece(octets=part, cut=Cut.FRAME)]


@pytest.mark.parametrize("size", [1, 7, 100_000])
def test_a_flood_is_cut_and_the_frame_after_it_is_read(size: int) -> None:
    stream, splitter = b"\n" + b"x" * 60_000 + PLAIN, Splitter()
    found = [piece for begin in range(0, len(stream), size) for piece in splitter.feed(stream[begin : begin + size])]
    assert [(len(piece.octets), piece.cut) for piece in found] == [(MOST_FRAME + 1, Cut.TOO_LONG), (len(PLAIN), Cut.FRAME)]


@pytest.mark.parametrize("sequence", range(0, 10_000, 37))
def test_two_raw_bytes_of_check_sum_are_read_with_a_warning(sequence: int) -> None:
    body = b'"SIA-DCS"%04dL0#1234[#1234|NBA1]' % sequence
    early = b"\n" + crc16(body).to_bytes(2, "big") + b"%04X" % len(body) + body + b"\r"
    (piece,) = datagram(early)
    verdict = judge(piece.octets, NOW, DESK)
    assert verdict.answer is Answer.ACK
    assert any("two raw bytes" in each for each in verdict.warnings)


def test_raw_check_sums_that_are_ends_of_lines_are_read() -> None:
    for value in (0x0A, 0x0D):
        bodies = (b'"SIA-DCS"%04dL0#1234[#1234|NBA1]' % number for number in range(10_000))
        body = next(each for each in bodies if value in crc16(each).to_bytes(2, "big"))
        early = b"\n" + crc16(body).to_bytes(2, "big") + b"%04X" % len(body) + body + b"\r"
        splitter = Splitter()
        assert [piece.octets for octet in early for piece in splitter.feed(bytes([octet]))] == [early]


def test_modifiers_stay_in_force_and_a_stroke_may_be_missing() -> None:
    (first, second) = events_in(["Nri2BA3/TA4^Back door^"]) or ()
    assert (first.code, first.address, first.modifier("ri")) == ("BA", "3", "2")
    assert (second.code, second.address, second.modifier("ri"), second.text) == ("TA", "4", "2", "Back door")


def test_a_key_is_read_both_ways_and_shown_in_none() -> None:
    typed = "000102030405060708090A0B0C0D0E0F"
    keys = keys_of(typed)
    assert [(key.form.value, key.bits) for key in keys] == [("hexadecimal digits", 128), ("characters", 256)]
    assert not keys_of("too short")
    account = Account(keys=keys)
    assert typed not in repr(account) + repr(Desk(accounts={"1": account}, cipher=CIPHER, draw=os.urandom))
    assert "\\x01" not in repr(account)
    with pytest.raises(TypeError):
        pickle.dumps(keys[0])
    with pytest.raises(ValueError) as caught:
        Key(b"secret")
    assert "secret" not in str(caught.value)


def test_a_key_read_the_other_way_is_told() -> None:
    as_digits, as_characters = keys_of("000102030405060708090A0B0C0D0E0F")
    head = Head(token="SIA-DCS", encrypted=True, sequence="0001", receiver=None, line="0", account="AAA1")
    octets = build(head, Content(data="#AAA1|NBA1", at=NOW), key=as_characters, cipher=CIPHER, draw=os.urandom)
    desk = Desk(accounts={"AAA1": Account(keys=(as_digits,), misread=(as_characters,))}, cipher=CIPHER, draw=os.urandom)
    verdict = judge(octets, NOW, desk)
    assert verdict.answer is Answer.DUH
    assert "read as characters" in verdict.reason


def test_who_has_a_key_is_not_spoken_for_in_plain_unless_that_is_said() -> None:
    octets = framed(b'"SIA-DCS"0001L0#AAA1[#AAA1|NBA1]')
    refused = judge(octets, NOW, DESK)
    assert (refused.answer, refused.why, refused.record) == (Answer.DUH, Why.IN_PLAIN, False)
    said = Desk(accounts={"AAA1": Account(keys=(KEY,), plain_too=True)}, cipher=CIPHER, draw=os.urandom)
    taken = judge(octets, NOW, said)
    assert (taken.answer, taken.why, taken.record) == (Answer.ACK, None, True)
    assert taken.warnings == ("the account has a key, and the message came in plain.",)


@given(st.sampled_from(frames()), st.lists(st.tuples(st.integers(0, 200), st.binary(min_size=1, max_size=3)), max_size=4))
@settings(max_examples=often(200), deadline=None)
def test_nothing_that_arrives_breaks_the_reader(octets: bytes, changes: list[tuple[int, bytes]]) -> None:
    body = octets[9:-1]
    for place, put in changes:
        body = body[:place] + put + body[place + len(put) :]
    # Its check sum is put right, so that what lies behind it is reached.
    whole = b"\n%04X%04X%b\r" % (crc16(body), len(body), body)
    for piece in datagram(whole):
        verdict = judge(piece.octets, NOW, DESK)
        assert (verdict.reply is None) is (verdict.answer is Answer.SILENCE)
