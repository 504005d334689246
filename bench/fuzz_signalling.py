"""Frames changed at random, guided by what they reach: nothing may break or hold up the receiver, and nothing damaged may be answered.

The modules that read frames are loaded with a mark at the beginning of every branch. A changed frame that reaches a branch, or is judged
in a way, no frame before it did joins those that are changed further. Half keep the check sum they came with; half have it put
right, some of them changed inside what is encrypted, so that what lies behind is reached. Whatever is answered is looked at by a
check sum and a length reckoned here.

    python bench/fuzz_signalling.py [INPUTS [SEED]]
"""

from __future__ import annotations

import ast
import importlib
import importlib.abc
import importlib.machinery
import re
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from random import Random
from types import CodeType, FrameType

INPUTS = 200_000
MARKED = ("stream", "frame", "key", "moment", "contact_id", "event_block", "verdict", "words", "crc")
PACKAGE = "loopwright.signalling"
NOW = datetime(2026, 1, 15, 12, tzinfo=UTC)
SECRET = bytes(range(16))
MOST_KEPT, HANGS_S, AT_ONCE = 5000, 60, 1000
MOST_BYTES, LONG = 200, 5000
TOKENS = (
    b"|", b"[", b"]", b"#", b"\n", b"\r", b'"', b'"*', b"_", b"N", b"O", b"A", b"ri1/", b"id2/", b"^", b"*", b"/", b"\xff", b"\xe2\x82\xac",
    b"L0", b"R1", b"\x00", b"BA", b"BA12", b"1130 01 001", b"ADM-CID", b"SIA-DCS", b"NULL", b"XNM", b"ACK", b"[I", b"[H", b"0000", b"FFFF",
    b"_12:00:00,01-15-2026", b"_24:00:00,02-30-2026",
)  # fmt: skip


class Marks(ast.NodeTransformer):
    """Puts a mark at the beginning of every branch: of functions, loops, conditions and what is caught."""

    def __init__(self, hits: bytearray) -> None:
        """Take where marks are set; one byte is added for each."""
        self._hits = hits

    def _mark(self) -> ast.stmt:
        self._hits.append(0)
        return ast.parse(f"__hits__[{len(self._hits) - 1}] = 1").body[0]

    def generic_visit(self, node: ast.AST) -> ast.AST:
        """Mark the branches of a statement, and of those inside it."""
        super().generic_visit(node)
        if isinstance(node, ast.FunctionDef | ast.If | ast.For | ast.While | ast.ExceptHandler):
            node.body.insert(0, self._mark())
        if isinstance(node, ast.If | ast.For | ast.While) and node.orelse:
            node.orelse.insert(0, self._mark())
        return node


class Loader(importlib.machinery.SourceFileLoader):
    """Loads a module with its marks."""

    hits = bytearray()

    def source_to_code(self, data: bytes, path: str, *, _optimize: int = -1) -> CodeType:  # type: ignore[override]
        """Return the code with the marks in it."""
        tree = Marks(self.hits).visit(ast.parse(data, path))
        return compile(ast.fix_missing_locations(tree), path, "exec")

    def get_code(self, fullname: str) -> CodeType:
        """Return the code from the source, never from what was compiled before."""
        path = self.get_filename(fullname)
        return self.source_to_code(self.get_data(path), path)

    def exec_module(self, module: object) -> None:
        """Run the module where it can set its marks."""
        module.__dict__["__hits__"] = self.hits
        super().exec_module(module)  # type: ignore[arg-type]


class Finder(importlib.abc.MetaPathFinder):
    """Finds the modules that are marked."""

    def find_spec(self, fullname: str, path: object, target: object = None) -> importlib.machinery.ModuleSpec | None:
        """Return how a module is loaded, None for those that are not marked."""
        room, _, name = fullname.rpartition(".")
        if room != PACKAGE or name not in MARKED:
            return None
        spec = importlib.machinery.PathFinder.find_spec(fullname, path)  # type: ignore[arg-type]
        if spec is not None and spec.origin is not None:
            spec.loader = Loader(fullname, spec.origin)
        return spec


@dataclass(frozen=True, kw_only=True)
class Given:
    """A frame to be changed: its body, whether what it hides is changed instead, and that."""

    body: bytes
    hidden: bytes | None = None


@dataclass(kw_only=True)
class Run:
    """What a run has found so far."""

    random: Random
    kept: list[Given]
    reached: int = 0
    judged: set[tuple[object, ...]] = field(default_factory=set)
    answers: Counter[str] = field(default_factory=Counter)
    under_way: bytes = b""


def _bit_by_bit(octet: int) -> int:
    for _ in range(8):
        octet = octet >> 1 ^ (0xA001 if octet & 1 else 0)
    return octet


BY_OCTET = [_bit_by_bit(each) for each in range(256)]


def check_of(body: bytes) -> int:
    """Return the check sum, reckoned apart from the code that is tried."""
    total, table = 0, BY_OCTET
    for octet in body:
        total = total >> 8 ^ table[(total ^ octet) & 0xFF]
    return total


def whole(octets: bytes) -> bool:
    """Return whether a frame arrived as it was sent, by its check sum, of either form, and its length."""
    for begin, digits in ((9, True), (7, False)):
        body, head = octets[begin:-1], octets[1:begin]
        length = re.fullmatch(rb"0([0-9A-Fa-f]{3})", head[-4:])
        said = re.fullmatch(rb"[0-9A-Fa-f]{4}", head[:4]) if digits else head[:2]
        if octets[:1] == b"\n" and octets[-1:] == b"\r" and length and said and int(length[1], 16) == len(body):
            if (int(head[:4], 16) if digits else int.from_bytes(head[:2], "big")) == check_of(body):
                return True
    return False


def seeds() -> list[Given]:
    """Return whole frames of every kind."""
    plain = (
        b'"SIA-DCS"0001L0#1234[#1234|NFA0001]_03:04:05,01-02-2024',
        b'"SIA-DCS"0237R1L0#1234[#1234|Nri1/id2/BA01*9^door^/TA2|Atext][RLiving][IUser One]_12:00:00,01-15-2026',
        b'"ADM-CID"0001L0#1002[#1002|1602 00 001]',
        b'"ADM-CID"0002L0#AAA1[#AAA1|3130 01 001][H12:00:00,01-15-2026]_12:00:00,01-15-2026',
        b'"NULL"0000L0#AAA[]_19:08:35,04-29-2021',
        b'"XNM"0000L0#1234[][M001122334455]',
        b'"SIA-PUL"0003L0#1234[12345678]',
        b'"ACK"0001L0#1234[]',
    )
    head = b'"*SIA-DCS"0007L0#AAA1['
    hidden = (b"#AAA1|Nri1/BA01]_12:00:00,01-15-2026", b"#AAA1|NBR1][IWest]_11:59:40,01-15-2026", b"]_12:00:00,01-15-2026")
    return [*(Given(body=each) for each in plain), *(Given(body=head, hidden=each) for each in hidden)]


def changed(octets: bytes, random: Random, others: list[Given]) -> bytes:
    """Return the bytes with one to four changes."""
    found = bytearray(octets)
    for _ in range(1 + int(random.random() * random.random() * 4)):
        place = int(random.random() * (len(found) + 1))
        kind = int(random.random() * 7)
        if kind == 0 and place < len(found):
            found[place] ^= 1 << int(random.random() * 8)
        elif kind == 1:
            found[place:place] = TOKENS[int(random.random() * len(TOKENS))]
        elif kind == 2:
            del found[place : place + 1 + int(random.random() * 8)]
        elif kind == 3:
            found[place : place + 1] = random.randbytes(int(random.random() * 4))
        elif kind == 4 and place < len(found):
            found[place] = b"0123456789ABCDEFabcdef]|_#"[int(random.random() * 26)]
        elif kind == 5:
            piece = found[place : place + int(random.random() * 30)]
            found[place:place] = piece * int(random.random() * 4)
        else:
            other = others[int(random.random() * len(others))]
            octets = other.body if other.hidden is None else other.hidden
            begin = int(random.random() * (len(octets) + 1))
            found[place:] = octets[begin:]
    return bytes(found[: MOST_BYTES if random.random() > 0.01 else LONG])


def main(inputs: int, seed: int) -> Run:
    """Run so many inputs and print the rate, what was reached and the answers. Raises AssertionError with the input that shows a fault."""
    sys.meta_path.insert(0, Finder())
    for name in [each for each in sys.modules if each.startswith(PACKAGE)]:
        del sys.modules[name]
    from loopwright.store.aes import ChainedAes

    judge_one = judging(ChainedAes(), Random(seed))
    run = Run(random=Random(seed), kept=seeds())

    def hung(_: int, __: FrameType | None) -> None:
        raise AssertionError(f"held up by one of {AT_ONCE} inputs up to {run.under_way!r}")

    signal.signal(signal.SIGALRM, hung)
    begun = time.process_time()
    for each in seeds():
        judge_one(run, each, True)
    for number in range(inputs):
        if number % AT_ONCE == 0:
            signal.alarm(HANGS_S)
        at = int(run.random.random() ** 0.5 * len(run.kept))
        one(run, run.kept[at], judge_one, right=number % 2 == 0)
    signal.alarm(0)
    took_s = time.process_time() - begun
    told = ", ".join(f"{answer} {count}" for answer, count in sorted(run.answers.items()))
    marks = len(Loader.hits)
    print(
        f"{inputs} inputs, seed {seed}, {took_s:.0f} s of processor time ({inputs / took_s:.0f} a second); "
        f"{bin(run.reached).count('1')} of {marks} branches reached, {len(run.judged)} ways of being judged, "
        f"{len(run.kept)} frames kept; {told}"
    )
    return run


def one(run: Run, given: Given, judge_one: Callable[[Run, Given, bool], bool], *, right: bool) -> None:
    """Change a frame, judge it, and keep it where it is the first of its kind."""
    random = run.random
    if given.hidden is not None and right and random.random() < 0.8:
        made = Given(body=given.body, hidden=changed(given.hidden, random, run.kept))
    else:
        made = Given(body=changed(given.body, random, run.kept), hidden=given.hidden)
    if judge_one(run, made, right) and len(run.kept) < MOST_KEPT:
        run.kept.append(made)


def judging(cipher: object, random: Random) -> Callable[[Run, Given, bool], bool]:
    """Return what judges one input, with the marked modules, and says whether it reached anything new."""
    stream, verdict, key, words = (importlib.import_module(f"{PACKAGE}.{name}") for name in ("stream", "verdict", "key", "words"))
    secret = key.Key(SECRET)
    desk = verdict.Desk(
        accounts={"AAA1": verdict.Account(keys=(secret,)), "1234": verdict.Account()}, cipher=cipher, draw=random.randbytes
    )  # fmt: skip
    hits = Loader.hits
    nothing = bytes(len(hits))

    def octets_of(given: Given) -> bytes:
        if given.hidden is None:
            return given.body
        padded = random.randbytes(15 - len(given.hidden) % 16).translate(bytes.maketrans(b"|[]", b"}Z^")) + b"|" + given.hidden
        return given.body + secret.encrypt(cipher, padded).hex().upper().encode("ascii")

    def judge_one(run: Run, given: Given, right: bool) -> bool:
        body = octets_of(given)
        begin = random.random() if right else 1.0
        if right and begin < 0.9:
            run.under_way = octets = b"\n%04X%04X%b\r" % (check_of(body), len(body), body)
        elif right:
            run.under_way = octets = b"\n%b%04X%b\r" % (check_of(body).to_bytes(2, "big"), len(body), body)
        else:
            run.under_way = octets = b"\n%b%04X%b\r" % (b"B222" if random.random() < 0.5 else b"7064", len(body), body)
        hits[:] = nothing
        new = False
        splitter = stream.Splitter()
        cut = int(random.random() * 3 * len(octets))
        for piece in (*splitter.feed(octets[:cut]), *splitter.feed(octets[cut:]), *splitter.close()):
            if piece.cut is not stream.Cut.FRAME:
                run.answers[piece.cut] += 1
                continue
            found = verdict.judge(piece.octets, NOW, desk)
            run.answers[found.answer] += 1
            assert (found.reply is None) is (found.answer == "DROP"), octets
            if found.reply is not None:
                assert whole(piece.octets), octets
                assert whole(found.reply), octets
                assert SECRET not in found.reply and SECRET.hex().encode() not in found.reply.lower(), octets
            if found.head is not None and run.random.random() < 0.05:
                words.told(piece.octets, (secret,), cipher)
            way = (found.answer, found.reason[:12], min(len(found.events), 3), len(found.warnings), found.skew_s is None)
            if way not in run.judged:
                run.judged.add(way)
                new = True
        reached = int.from_bytes(hits, "big")
        new = new or bool(reached & ~run.reached)
        run.reached |= reached
        return new

    return judge_one


if __name__ == "__main__":
    main(*(int(each) for each in (*sys.argv[1:], *(INPUTS, 1)[len(sys.argv) - 1 :])))
