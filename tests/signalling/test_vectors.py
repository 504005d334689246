"""Every vector of the set drawn from the clauses, public libraries and printed frames: verdict, what it says, what is answered."""

from __future__ import annotations

import json
import os
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from loopwright.signalling import frame, moment
from loopwright.signalling.contact_id import ContactId, dialled
from loopwright.signalling.key import Form, Key
from loopwright.signalling.repeats import Recent, source_of
from loopwright.signalling.stream import Cut, Splitter, datagram
from loopwright.signalling.verdict import POLLS, Account, Answer, Desk, Verdict, judge
from loopwright.store.aes import ChainedAes

VECTORS = [json.loads(line) for line in (Path(__file__).parent / "vectors.jsonl").read_text(encoding="utf-8").splitlines()]
CIPHER = ChainedAes()
EVERY = 137


def desk_of(vector: dict[str, Any]) -> Desk:
    keys = {name: entry["key"] for name, entry in vector["accounts"].items()}
    accounts = {name: Account(keys=(Key(bytes.fromhex(text), Form.HEX),) if text else ()) for name, text in keys.items()}
    return Desk(accounts=accounts, cipher=CIPHER, draw=os.urandom)


def verdicts(vector: dict[str, Any]) -> list[Verdict]:
    segments = [bytes.fromhex(each) for each in vector["segments"]]
    if vector["transport"] == "udp":
        pieces = [piece for each in segments for piece in datagram(each)]
    else:
        splitter = Splitter()
        pieces = [piece for each in segments for piece in splitter.feed(each)] + splitter.close()
    now, recent, desk = datetime.fromisoformat(vector["clock"]), Recent(lambda _: ()), desk_of(vector)
    found = []
    for piece in pieces:
        if piece.cut is not Cut.FRAME:
            found.append(Verdict(answer=Answer.SILENCE, reason=piece.cut))
            continue
        verdict = judge(piece.octets, now, desk)
        if verdict.record and verdict.head and verdict.content and verdict.head.token not in POLLS:
            said = verdict.head.sequence, verdict.content.data
            if recent.first(source_of(verdict.head), len(found) + 1, now, *said) is not None:
                verdict = verdict._replace(record=False)
        found.append(verdict)
    return found


def events_form(verdict: Verdict) -> list[dict[str, Any]]:
    forms: list[dict[str, Any]] = []
    for event in verdict.events:
        if isinstance(event, ContactId):
            form = {"kind": "cid", "qualifier": event.qualifier, "code": event.code, "group": event.group, "number": event.number}
            forms.append(form | {"number_is": event.number_is})
            continue
        modifiers = {name: int(said) for name, said in event.modifiers}
        form = {"kind": "sia", "type": event.block, "code": event.code, "address": event.address, "text": event.text}
        forms.append(form | {"modifiers": modifiers})
    return forms


def decoded_form(verdict: Verdict) -> dict[str, Any]:
    head, content = verdict.head, verdict.content
    assert head is not None and content is not None
    return {
        "token": head.token,
        "encrypted": head.encrypted,
        "seq": head.sequence,
        "receiver": head.receiver,
        "line": head.line,
        "account": head.account,
        "data": content.data,
        "xdata": [{"id": letter, "value": text} for letter, text in content.extended],
        "timestamp": None if content.at is None else content.at.isoformat().replace("+00:00", "Z"),
        "events": events_form(verdict),
    }


def hold_reply(vector: dict[str, Any], verdict: Verdict, reply: dict[str, Any]) -> None:
    assert verdict.reply is not None
    if reply["token"] == "NAK":
        time = moment.written(datetime.fromisoformat(vector["clock"]))
        assert verdict.reply == frame.framed(b'"NAK"0000R0L0A0[]' + time)
        return
    read = frame.parse(verdict.reply)
    head = {name: getattr(read.head, name) for name in ("token", "receiver", "line", "account", "encrypted")}
    assert head | {"seq": read.head.sequence} == reply
    if read.head.encrypted:
        key = desk_of(vector).accounts[reply["account"]].keys[0]
        content = frame.revealed(read, key, CIPHER)
        assert content is not None and content.at == datetime.fromisoformat(vector["clock"])
        assert content.data == ""
    else:
        assert read.inside == b"]"


def test_none_is_missing() -> None:
    assert len(VECTORS) == EVERY


@pytest.mark.parametrize("vector", [each for each in VECTORS if each["transport"] != "string"], ids=lambda each: each["id"])
def test_a_frame(vector: dict[str, Any]) -> None:
    expected = [each for each in vector["expect"] if each["verdict"] != "DROP"]
    found = verdicts(vector)
    if not expected:
        assert all(each.answer is Answer.SILENCE for each in found)
        return
    if set(vector["expect"][0]["accept"]) >= {"DROP"} and vector["expect"][0]["decoded"] is None:
        assert all(each.answer in vector["expect"][0]["accept"] and not each.record for each in found)
        return
    told = [each for each in found if each.answer is not Answer.SILENCE]
    assert len(told) == len(expected)
    for verdict, each in zip(told, expected, strict=True):
        assert verdict.answer == each["verdict"], verdict.reason
        assert verdict.record is each["record"]
        if each["decoded"]:
            # A message that cannot be processed has no events either.
            assert decoded_form(verdict) == each["decoded"]
        hold_reply(vector, verdict, each["reply"])


@pytest.mark.parametrize("vector", [each for each in VECTORS if each["transport"] == "string"], ids=lambda each: each["id"])
def test_a_dialled_string(vector: dict[str, Any]) -> None:
    (expected,) = vector["expect"]
    found = dialled(bytes.fromhex(vector["segments"][0]).decode("ascii"))
    assert (found is not None) is (expected["verdict"] == "VALID")
    if found is not None:
        event = found.event
        form = {"account": found.account, "mt": found.message_type, "check": found.check, "qualifier": event.qualifier}
        assert form | {"code": event.code, "group": event.group, "number": event.number} == expected["decoded"]
