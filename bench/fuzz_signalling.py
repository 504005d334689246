"""Frames changed at random, given to the receiver: nothing may break it, and nothing damaged may be acknowledged.

Whole frames are changed by mutations of our own, without looking at what lines they reach. Half keep the check sum of the frame they
came from, and must never be acknowledged unless they say the same; half have it put right, so that what lies behind it is reached.

    python bench/fuzz_signalling.py [INPUTS [SEED]]
"""

from __future__ import annotations

import sys
import time
from datetime import UTC, datetime
from random import Random

from loopwright.signalling.crc import crc16
from loopwright.signalling.frame import Content, Head, build
from loopwright.signalling.key import Key
from loopwright.signalling.stream import Cut, datagram
from loopwright.signalling.verdict import Account, Answer, Desk, judge
from loopwright.store.aes import ChainedAes

NOW = datetime(2026, 1, 15, 12, tzinfo=UTC)
KEY, CIPHER = Key(bytes(range(16))), ChainedAes()
INPUTS = 200_000
TOKENS = (b"|", b"[", b"]", b"#", b"\n", b"\r", b'"', b"_", b"N", b"ri1/", b"^", b"*", b"\xff", b"L0", b"R", b"\x00")


def seeds(random: Random) -> list[bytes]:
    """Return whole frames of every kind."""
    head = Head(token="SIA-DCS", encrypted=True, sequence="0007", receiver=None, line="0", account="AAA1")
    hidden = build(head, Content(data="#AAA1|Nri1/BA01", at=NOW), key=KEY, cipher=CIPHER, draw=random.randbytes)
    return [
        hidden,
        b'\nB2220037"SIA-DCS"0001L0#1234[#1234|NFA0001]_03:04:05,01-02-2024\r',
        b'\n9EC40027"ADM-CID"0001L0#1002[#1002|1602 00 001]\r',
        b'\nCDA80026"NULL"0000L0#AAA[]_19:08:35,04-29-2021\r',
        b'\n8F01004D"SIA-DCS"0237L0#1234[#1234|Nri1/BA01][RLiving][IUser One]_12:00:00,01-15-2026\r',
    ]


def changed(octets: bytes, random: Random) -> bytes:
    """Return the bytes with one to four changes."""
    found = bytearray(octets)
    for _ in range(random.randint(1, 4)):
        place = random.randrange(len(found) or 1)
        kind = random.randrange(4)
        if kind == 0 and found:
            found[place] ^= 1 << random.randrange(8)
        elif kind == 1:
            found[place:place] = random.choice(TOKENS)
        elif kind == 2:
            del found[place : place + random.randint(1, 8)]
        else:
            found[place : place + 1] = random.randbytes(random.randint(0, 3))
    return bytes(found)


def main() -> None:
    """Run so many inputs and print the rate and the answers."""
    inputs, seed = (int(each) for each in (*sys.argv[1:], *(INPUTS, 1)[len(sys.argv) - 1 :]))
    random = Random(seed)
    desk = Desk(accounts={"AAA1": Account(keys=(KEY,)), "1234": Account()}, cipher=CIPHER, draw=random.randbytes)
    frames, answers = seeds(random), dict.fromkeys(Answer, 0)
    begun = time.process_time()
    for number in range(inputs):
        frame = random.choice(frames)
        whole = number % 2 == 0
        body = changed(frame[9:-1] if whole else frame, random)
        given = b"\n%04X%04X%b\r" % (crc16(body), len(body), body) if whole else body
        for piece in datagram(given):
            verdict = judge(piece.octets, NOW, desk) if piece.cut is Cut.FRAME else None
            answers[verdict.answer if verdict else Answer.SILENCE] += 1
            if verdict and not whole and verdict.answer is not Answer.SILENCE:
                # A digit in the other case is the same number.
                assert piece.octets[:9].upper() + piece.octets[9:] == frame, piece.octets
    took_s = time.process_time() - begun
    told = ", ".join(f"{answer} {count}" for answer, count in answers.items())
    print(f"{inputs} inputs, seed {seed}: {inputs / took_s:.0f} a second of processor time; {told}")


if __name__ == "__main__":
    main()
