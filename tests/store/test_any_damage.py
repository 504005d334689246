"""Any damage to the file: no text is ever given out that was not put there, and every refusal is in words."""

from __future__ import annotations

import contextlib
import random
from collections.abc import Callable
from pathlib import Path

import pytest

from loopwright.store.file import StoreError
from loopwright.store.salvage import salvage
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, Damaged
from often import often

Made = Callable[..., Change]
REVISIONS = 80


@pytest.fixture(scope="module")
def texts() -> list[str]:
    """Return texts that differ in a piece each, and now and then as a whole."""
    chance = random.Random(1)
    made = ["first " * 200]
    for number in range(1, REVISIONS):
        at = chance.randrange(len(made[-1]))
        made.append(chance.randbytes(5000).hex() if number % 20 == 0 else f"{made[-1][:at]}<{number}>{made[-1][at + 3 :]}")
    return made


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory, texts: list[str], change: Made) -> bytes:
    path = tmp_path_factory.mktemp("sound") / "jobs.db"
    store = open_store(path)
    store.create("shop", texts[0], change())
    for number, text in enumerate(texts[1:], start=1):
        store.append("shop", text, change(number), expected=number)
    store.mark("shop", "installed", 3)
    store.put_file(b"plan" * 3000)
    store.close()
    return path.read_bytes()


def spoilt(raw: bytes, chance: random.Random) -> bytes:
    """Return the file with bits flipped, nonsense over a stretch of it, its end cut off, or two pages exchanged."""
    out = bytearray(raw)
    match chance.randrange(4):
        case 0:
            for _ in range(chance.randrange(1, 30)):
                out[chance.randrange(len(out))] ^= 1 << chance.randrange(8)
        case 1:
            at = chance.randrange(len(out))
            length = min(chance.randrange(1, 9000), len(out) - at)
            out[at : at + length] = chance.randbytes(length)
        case 2:
            del out[chance.randrange(len(out)) :]
        case _:
            one, other = (4096 * chance.randrange(len(out) // 4096) for _ in range(2))
            out[one : one + 4096], out[other : other + 4096] = out[other : other + 4096], out[one : one + 4096]
    return bytes(out)


def read_all(store: SqlStore, texts: list[str]) -> None:
    """Read everything: what comes is what was put there, or verify says that something is not."""
    for job in store.jobs():
        wrong = 0
        for number in range(1, REVISIONS + 1):
            try:
                wrong += store.text_at(job, number) != texts[number - 1]
            except StoreError:
                continue
        assert not wrong or store.verify(), "revisions that changed places are told"
        with contextlib.suppress(StoreError):
            store.revisions(job)
            store.marks(job)


@pytest.mark.parametrize("seed", range(often(12)))
def test_nothing_wrong_comes_out(tmp_path: Path, sound: bytes, texts: list[str], change: Made, seed: int) -> None:
    path = tmp_path / "jobs.db"
    path.write_bytes(spoilt(sound, random.Random(seed)))
    try:
        store = open_store(path)
    except Damaged:
        before = path.read_bytes()
        try:
            found = salvage(path)
        except StoreError as error:
            assert str(error) == "Nothing of jobs.db could be read."
            return
        read_all(found.store, texts)
        found.store.close()
        assert path.read_bytes() == before
        return
    except StoreError as error:
        assert str(error).startswith("jobs.db cannot be opened: ")
        return
    try:
        read_all(store, texts)
        job = store.jobs()[0]
        store.append(job, "next", change(REVISIONS), expected=store.head(job).number)
        assert store.head(job).text == "next"
    except (StoreError, IndexError) as error:
        assert str(error)
    finally:
        store.close()
