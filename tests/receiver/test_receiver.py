"""A receiver as senders meet it: acknowledged once it is safe, stored once, whatever else knocks at the port."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import sqlite3
import struct
from datetime import datetime
from pathlib import Path

import pytest

from loopwright.receiver import intake
from loopwright.receiver.running import Running
from loopwright.receiver.server import NOBODY_RESPONDS, NotOpened, Place
from loopwright.signalling.frame import parse, revealed
from loopwright.signalling.key import Key
from loopwright.signalling.received import Matter
from loopwright.signalling.verdict import Desk, Verdict, Why
from receiving import CIPHER, KEY, MISREAD, TYPED, Run, Site, Wire, message, site_at, until


@pytest.mark.parametrize("slow", [False, True], ids=["at once", "flushed"])
@pytest.mark.parametrize(("account", "key"), [("1234", None), ("AAA1", KEY)], ids=["plain", "encrypted"])
def test_what_is_acknowledged_is_stored_before(run: Run, account: str, key: Key | None, slow: bool) -> None:
    async def story(site: Site) -> None:
        wire = await site.connect()
        for number in range(1, 6):
            wire.send(message(number, account=account, key=key))
            answer = parse(await wire.answer())
            assert (answer.head.token, answer.head.sequence, answer.head.encrypted) == ("ACK", f"{number:04d}", key is not None)
            assert key is None or revealed(answer, key, CIPHER) is not None
            (event,) = site.keeper.since(number - 1)
            assert (event.number, event.account, event.code, event.zone, event.area) == (number, account, "BA", f"{number:03d}", "1")
            assert event.encrypted is (key is not None) and event.path == "TCP 127.0.0.1"
        assert site.received == list(site.keeper.since(0))

    run(story, slow=slow)


def test_what_is_not_stored_is_not_acknowledged_and_comes_again(run: Run) -> None:
    async def story(site: Site) -> None:
        site.keeper.trouble_next = sqlite3.OperationalError("database or disk is full")
        wire = await site.connect()
        wire.send(message(1))
        await until(lambda: any(each.matter is Matter.STORE for each in site.notices))
        assert "the disk is full" in next(each.words for each in site.notices if each.matter is Matter.STORE)
        assert site.keeper.last() == 0 and not site.received
        # The first answer is that of the repeat: nothing came for the first.
        wire.send(message(1))
        assert parse(await wire.answer()).head.token == "ACK"
        assert site.keeper.last() == 1

    run(story)


def test_one_message_that_breaks_the_keeping_takes_no_other_with_it(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    from loopwright.store import received

    row = received._row

    def broken(verdict: object, head: object, content: object, *rest: object) -> object:
        if "BA002" in content.data:  # type: ignore[attr-defined]
            raise ValueError("this one")
        return row(verdict, head, content, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(received, "_row", broken)

    async def story(site: Site) -> None:
        wire = await site.connect()
        wire.send(b"".join(message(number) for number in (1, 2, 3)))
        assert [parse(await wire.answer()).head.sequence for _ in range(2)] == ["0001", "0003"]
        assert [each.zone for each in site.keeper.since(0)] == ["001", "003"]

    run(story)


def test_a_message_is_stored_once_by_whichever_way_it_comes_again(run: Run) -> None:
    async def story(site: Site) -> None:
        first, second = await site.connect(), await site.connect()
        octets = message(7)
        for wire in (first, second, first):
            wire.send(octets)
            assert parse(await wire.answer()).head.sequence == "0007"
        assert parse(await by_udp(site, octets)).head.sequence == "0007"
        assert [(each.number, each.repeats) for each in site.keeper.since(0)] == [(1, 3)]
        assert [each.duplicate_of for each in site.received] == [None, 1, 1, 1]

    run(story)
    # Another start of the program knows it still.
    run(story_of_one_more)


async def story_of_one_more(site: Site) -> None:
    wire = await site.connect()
    wire.send(message(7))
    assert parse(await wire.answer()).head.sequence == "0007"
    assert [(each.number, each.repeats) for each in site.keeper.since(0)] == [(1, 4)]


async def by_udp(site: Site, octets: bytes) -> bytes:
    loop = asyncio.get_running_loop()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.setblocking(False)
        sender.connect(("127.0.0.1", site.receiver.port))
        await loop.sock_sendall(sender, octets)
        async with asyncio.timeout(30):
            return await loop.sock_recv(sender, 4096)


def test_frames_are_cut_out_of_whatever_the_network_makes_of_them(run: Run) -> None:
    async def story(site: Site) -> None:
        wire = await site.connect()
        for octet in message(1):
            wire.send(bytes([octet]))
            await asyncio.sleep(0)
        assert parse(await wire.answer()).head.sequence == "0001"
        # More than one transaction takes, and more than are under way of one connection.
        many = [message(number) for number in range(2, 1200)]
        wire.send(b"".join(many))
        assert [parse(await wire.answer()).head.sequence for _ in many] == [f"{number:04d}" for number in range(2, 1200)]
        assert site.keeper.last() == 1199 and site.keeper.batches < 600

    run(story, batch=500)


@pytest.mark.parametrize("slow", [False, True], ids=["at once", "flushed"])
def test_answers_come_in_the_order_of_what_they_answer(run: Run, slow: bool) -> None:
    async def story(site: Site) -> None:
        wire = await site.connect()
        for _ in range(20):
            wire.send(b"".join(message(number, data="none" if number % 3 == 0 else "") for number in range(1, 13)))
            answers = [parse(await wire.answer()).head for _ in range(12)]
            assert [each.sequence for each in answers] == [f"{number:04d}" for number in range(1, 13)]
            assert [each.token for each in answers] == ["ACK", "ACK", "DUH"] * 4

    run(story, slow=slow)


def test_many_who_speak_at_once_are_kept_together(run: Run) -> None:
    async def story(site: Site) -> None:
        wires = [await site.connect() for _ in range(40)]
        for number, wire in enumerate(wires, start=1):
            wire.send(message(number))
        for wire in wires:
            await wire.answer()
        assert site.keeper.last() == 40 and site.keeper.batches < 20

    run(story)


def test_a_poll_is_acknowledged_counted_and_no_event(run: Run) -> None:
    async def story(site: Site) -> None:
        wire = await site.connect()
        for _ in range(3):
            wire.send(message(0, token="NULL"))
            assert parse(await wire.answer()).head.sequence == "0000"
        assert site.keeper.since(0) == ()
        (polled,) = site.keeper.polls()
        assert (polled.account, polled.polls, polled.peer) == ("1234", 3, "127.0.0.1")

    run(story)


def test_a_frame_that_does_not_end_and_one_who_says_nothing_are_let_go(run: Run) -> None:
    async def story(site: Site) -> None:
        slow, silent, good = await site.connect(), await site.connect(), await site.connect()
        good.send(message(1))
        await good.answer()

        async def trickle() -> None:
            for octet in message(2) * 50:
                slow.send(bytes([octet if octet != 13 else 32]))
                await asyncio.sleep(0.02)

        trickling = asyncio.create_task(trickle())
        assert await slow.closed() and await silent.closed()
        trickling.cancel()
        assert {each.reason for each in site.refused} >= {
            "a frame was begun and not ended in 0.2 s.",
            "no message of a listed account in 0.6 s.",
        }
        good.send(message(3))
        assert parse(await good.answer()).head.sequence == "0003"

    run(story, frame_s=0.2, silent_s=0.6)


@pytest.mark.parametrize(
    ("octets", "name"),
    [(b"GET / HTTP/1.1\r\nHost: x\r\n\r\n", "HTTP"), (b"\x16\x03\x01\x02\x00\x01", "TLS"), (b"SSH-2.0-x\r\n", "SSH")],
)
def test_another_protocol_is_named_and_let_go(run: Run, octets: bytes, name: str) -> None:
    async def story(site: Site) -> None:
        wire = await site.connect()
        wire.send(octets)
        assert await wire.closed()
        assert site.refused[0].reason == f"this is {name}, not a message of DC-09."
        assert site.refused[0].octets == octets

    run(story)


def test_a_flood_of_garbage_costs_its_own_connection_and_little_of_the_telling(run: Run) -> None:
    async def story(site: Site) -> None:
        for _ in range(20):
            wire = await site.connect()
            wire.send(b"nonsense\r" * 50 + b"x" * 20_000)
            assert await wire.closed()
        wire = await site.connect()
        wire.send(message(1))
        assert parse(await wire.answer()).head.sequence == "0001"
        # A sender that is known is borne with: what is too long is refused by itself.
        wire.send(b"\n" + b"x" * 20_000 + message(2))
        assert parse(await wire.answer()).head.sequence == "0002"
        await until(lambda: any("more of these" in each.words for each in site.notices))
        assert "longer than any frame can be" in site.receiver.tally.counts

    run(story, told_a_second=5)


def test_however_many_come_the_good_ones_are_served(run: Run) -> None:
    async def story(site: Site) -> None:
        good = await site.connect()
        good.send(message(1))
        await good.answer()
        crowd = [await site.connect() for _ in range(100)]
        late = await site.connect()
        late.send(message(2))
        assert parse(await late.answer()).head.sequence == "0002"
        good.send(message(3))
        assert parse(await good.answer()).head.sequence == "0003"
        await until(lambda: site.receiver.connections <= 20)
        assert any("20 are connected" in each.reason for each in site.refused)
        assert await crowd[0].closed()

    run(story, connections=20)


def test_one_who_takes_no_answers_is_let_go_and_holds_up_nobody(run: Run) -> None:
    async def story(site: Site) -> None:
        with socket.socket() as deaf:
            deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1024)
            deaf.connect(("127.0.0.1", site.receiver.port))
            deaf.setblocking(False)
            loop, octets = asyncio.get_running_loop(), b"".join(message(number) for number in range(1, 500)) * 200
            sending = asyncio.create_task(loop.sock_sendall(deaf, octets))
            good = await site.connect()
            good.send(message(1000))
            assert parse(await good.answer()).head.sequence == "1000"
            await until(lambda: any("answers were not taken" in each.reason for each in site.refused))
            with pytest.raises(ConnectionError):
                await sending

    run(story, deaf_s=0.3)


def test_datagrams_that_are_no_message_are_refused_and_the_next_is_answered(run: Run) -> None:
    async def story(site: Site) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for octets in (b"", b"nonsense", b"\n" + b"x" * 9000, message(1)[:-3]):
                sender.sendto(octets, ("127.0.0.1", site.receiver.port))
        assert parse(await by_udp(site, message(2) + b"stale")).head.sequence == "0002"
        await until(lambda: len(site.refused) >= 4)
        assert {each.reason for each in site.refused} >= {
            "a datagram of 9001 bytes.",
            "bytes outside a frame.",
            "a frame that never ended.",
        }

    run(story)


@pytest.mark.parametrize("slow", [False, True], ids=["at once", "flushed"])
def test_those_who_break_off_leave_nothing_behind(run: Run, slow: bool) -> None:
    async def story(site: Site) -> None:
        faults: list[object] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, told: faults.append(told))
        for number in range(1, 61):
            with socket.create_connection(("127.0.0.1", site.receiver.port)) as sender:
                sender.sendall(message(number) if number % 3 else message(number)[:30])
                if number % 2:
                    # The end is a reset, not a farewell.
                    sender.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            await asyncio.sleep(0)
        good = await site.connect()
        good.send(message(100))
        assert parse(await good.answer()).head.sequence == "0100"
        await until(lambda: site.receiver.connections == 1)
        assert site.keeper.last() > 1 and not faults

    run(story, slow=slow)


def test_a_connection_that_cannot_be_borne_ends_alone(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    judged = intake.judge

    def breaks(octets: bytes, now: datetime, desk: Desk) -> Verdict:
        if b"BA002" in octets:
            raise RuntimeError("nobody foresaw it")
        return judged(octets, now, desk)

    monkeypatch.setattr(intake, "judge", breaks)

    async def story(site: Site) -> None:
        faults: list[dict[str, object]] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, told: faults.append(told))
        wires = [await site.connect() for _ in range(3)]
        for number, wire in enumerate(wires, start=1):
            wire.send(message(number))
        assert await wires[1].closed()
        for number in (0, 2):
            assert parse(await wires[number].answer()).head.sequence == f"{number + 1:04d}"
        assert [each["message"] for each in faults] == ["a connection could not be read"]

    run(story)


@pytest.mark.parametrize("slow", [False, True], ids=["at once", "flushed"])
def test_one_who_says_that_nothing_more_comes_is_answered_all_the_same(run: Run, slow: bool) -> None:
    async def story(site: Site) -> None:
        others = [await site.connect() for _ in range(3)]
        wire = await site.connect()
        wire.send(b"".join(message(number) for number in range(1, 30)))
        wire.say_all()
        for number, other in enumerate(others, start=30):
            other.send(message(number))
        assert [parse(await wire.answer()).head.sequence for _ in range(29)] == [f"{number:04d}" for number in range(1, 30)]
        assert await wire.closed()

    run(story, slow=slow)


def test_one_whose_frames_come_in_halves_is_no_slow_one(run: Run) -> None:
    async def story(site: Site) -> None:
        wire = await site.connect()
        rest = b""
        for number in range(1, 16):
            frame = message(number)
            wire.send(rest + frame[:20])
            rest = frame[20:]
            if number > 1:
                assert parse(await wire.answer()).head.sequence == f"{number - 1:04d}"
            await asyncio.sleep(0.1)
        assert not site.refused

    run(story, frame_s=0.5)


def test_the_end_waits_for_nobody_who_goes_on_sending(run: Run) -> None:
    async def story(site: Site) -> None:
        many = b"".join(message(number) for number in range(1, 200))

        def never_ends() -> None:
            with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", site.receiver.port)) as sender:
                while True:
                    sender.sendall(many)
                    with contextlib.suppress(BlockingIOError):
                        sender.recv(65_536, socket.MSG_DONTWAIT)

        site.keeper.takes_s = 0.05
        sending = [asyncio.create_task(asyncio.to_thread(never_ends)) for _ in range(4)]
        await until(lambda: site.receiver.intake.acknowledged > 20)
        async with asyncio.timeout(15):
            await site.receiver.end()
            await asyncio.gather(*sending)

    run(story, slow=True)


def test_a_listener_that_breaks_holds_up_no_answer(run: Run) -> None:
    async def story(site: Site) -> None:
        asyncio.get_running_loop().set_exception_handler(lambda *_: None)
        site.breaks_at = "0002"
        wire = await site.connect()
        wire.send(b"".join(message(number) for number in range(1, 6)))
        assert [parse(await wire.answer()).head.sequence for _ in range(5)] == [f"{number:04d}" for number in range(1, 6)]

    run(story)


def test_where_everybody_is_proven_the_oldest_makes_room(run: Run) -> None:
    async def story(site: Site) -> None:
        wires = []
        for number in range(1, 5):
            wires.append(await site.connect())
            wires[-1].send(message(number))
            assert parse(await wires[-1].answer()).head.sequence == f"{number:04d}"
        assert await wires[0].closed()
        assert "3 are connected" in site.refused[0].reason
        for number, wire in enumerate(wires[1:], start=5):
            wire.send(message(number))
            assert parse(await wire.answer()).head.sequence == f"{number:04d}"

    run(story, connections=3)


def test_only_the_chosen_address_is_listened_at(run: Run) -> None:
    async def story(site: Site) -> None:
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.2", site.receiver.port), timeout=5)

    run(story)
    for host in ("0.0.0.0", "::", "224.0.0.1", "centre.example"):
        with pytest.raises(NotOpened):
            Place(host=host, port=0).checked()


def test_a_test_announces_itself_and_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async def story() -> None:
        async with site_at(tmp_path / "received.db", Place(host="127.0.0.1", port=0, test_h=0.5 / 3600)) as site:
            port = site.receiver.port
            assert site.notices[0].matter is Matter.ON_TEST and NOBODY_RESPONDS in site.notices[0].words
            with pytest.raises(NotOpened):
                site.receiver.extend(100)
            async with asyncio.timeout(30):
                await site.receiver.over()
        assert site.notices[-1].matter is Matter.TEST_OVER and "send a test event" in site.notices[-1].words
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection(("127.0.0.1", port), timeout=5)

    asyncio.run(story())


def test_a_planted_key_is_told_to_nobody(run: Run, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    answers: list[bytes] = []

    async def story(site: Site) -> None:
        wire = await site.connect()
        for octets in (
            message(1, account="AAA1", key=KEY),
            message(2, account="AAA1", key=MISREAD),
            message(3, account="AAA1"),
            message(4, account="AAA1", key=Key(bytes(16))),
            message(5, account="1234", key=KEY),
        ):
            wire.send(octets)
            answers.append(await wire.answer())
        assert [parse(each).head.token for each in answers] == ["ACK", "DUH", "DUH", "DUH", "DUH"]
        assert [each.why for each in site.refused] == [Why.MISREAD_KEY, Why.IN_PLAIN, Why.WRONG_KEY, Why.NO_KEY]
        seen = repr(site.told).encode() + repr(site.receiver.__dict__).encode() + b"".join(answers)
        assert not any(secret in seen.upper() for secret in (TYPED.encode(), bytes.fromhex(TYPED)))

    run(story, refusals=100)
    out, err = capfd.readouterr()
    kept = (out + err).encode() + b"".join(path.read_bytes() for path in tmp_path.iterdir())
    assert not any(secret in kept for secret in (TYPED.encode(), TYPED.lower().encode(), bytes.fromhex(TYPED)))


def test_in_a_thread_of_its_own(tmp_path: Path) -> None:
    from loopwright.receiver.intake import Bench
    from loopwright.signalling.received import Happening
    from loopwright.signalling.verdict import Desk
    from receiving import Keeper, now

    told: list[Happening] = []
    keeper = Keeper(tmp_path / "received.db")
    bench = Bench(desk=Desk(accounts={}, cipher=CIPHER, draw=bytes), keeper=keeper, tell=told.append, clock=now)
    running = Running(Place(host="127.0.0.1", port=0), bench)
    with pytest.raises(NotOpened, match="cannot be opened"):
        Running(Place(host="127.0.0.1", port=running.port), bench)
    with socket.create_connection(("127.0.0.1", running.port), timeout=30) as sender:
        sender.sendall(message(1, account="77FF"))
        assert b'"ACK"' in sender.recv(4096)
    assert running.extend(2) > running.until.replace(year=2000)
    running.stop()
    assert not running.open
    with pytest.raises(NotOpened, match="is over"):
        running.extend(1)
    running.stop()
    (event,) = keeper.since(0)
    assert (event.account, event.warnings) == ("77FF", ())
    keeper.close()


def test_messages_of_accounts_that_are_not_listed_are_bounded(run: Run) -> None:
    async def story(site: Site) -> None:
        wire: Wire = await site.connect()
        for number in range(1, 6):
            wire.send(message(number, account=f"BAD{number}"))
            assert parse(await wire.answer()).head.token == "ACK"
        wire.send(message(6, account="BAD6") + message(7))
        assert parse(await wire.answer()).head.sequence == "0007"
        assert "5 messages of accounts that are not listed" in site.refused[-1].reason
        assert sum(each.matter is Matter.UNLISTED for each in site.notices) == 5

    run(story, unlisted=5)
