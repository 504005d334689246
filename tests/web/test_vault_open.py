"""Vaults open in the server: for whoever gave the passphrase, for a bounded time, and not for whoever guesses."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from loopwright.store.file import StoreError
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.store.vault import NotOpened, NoVault, create_vault
from loopwright.web import vault_open
from loopwright.web.vault_open import IDLE_S, LIMITS, LONGEST_S, LOOKED_S, Holder, OpenVaults, Shut, Wait

PASSPHRASE = Secret("correct horse battery")
ADA, BEN = Holder("Ada"), Holder("Ben")


class Clock:
    """Seconds that pass when they are told to."""

    now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def rung(monkeypatch: pytest.MonkeyPatch) -> list[threading.Timer]:
    """Return the clocks that were set; none of them goes."""
    set_: list[threading.Timer] = []

    class Bell(threading.Timer):
        def start(self) -> None:
            set_.append(self)

    monkeypatch.setattr(vault_open.threading, "Timer", Bell)
    return set_


@pytest.fixture
def notes() -> list[tuple[str, str]]:
    return []


@pytest.fixture
def vaults(tmp_path: Path, clock: Clock, notes: list[tuple[str, str]]) -> OpenVaults:
    """Return the vault of a job with one code in it, open for nobody."""
    made = OpenVaults(tmp_path / "shop.yaml", clock)
    create_vault(made.path, PASSPHRASE, note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1)).put("user/1", Secret("4711"))
    return made


def test_it_is_open_for_who_opened_it_and_for_nobody_else(vaults: OpenVaults, notes: list[tuple[str, str]]) -> None:
    vaults.open(ADA, PASSPHRASE, note=lambda *line: notes.append(line))
    assert vaults.vault(ADA).get("user/1").reveal() == "4711"
    assert notes == [("opened", "shop.yaml.vault"), ("read", "user/1")]
    for ask in (vaults.vault, vaults.facts, vaults.names):
        with pytest.raises(Shut):
            ask(BEN)
    assert vaults.left_s(BEN) == 0
    vaults.close(ADA)
    with pytest.raises(Shut):
        vaults.vault(ADA)


def test_it_closes_without_use_and_use_keeps_it_open_but_not_for_ever(vaults: OpenVaults, clock: Clock) -> None:
    vaults.open(ADA, PASSPHRASE, note=lambda *_: None)
    clock.now_s += IDLE_S - 1
    vaults.names(ADA)
    vaults.facts(ADA)
    assert vaults.left_s(ADA) == 1, "looking at names and facts is no use"
    vaults.vault(ADA)
    start = clock.now_s - (IDLE_S - 1)
    while clock.now_s + IDLE_S - 1 < start + LONGEST_S:
        clock.now_s += IDLE_S - 1
        vaults.vault(ADA)
    clock.now_s = start + LONGEST_S
    with pytest.raises(Shut):
        vaults.vault(ADA)


def test_the_keys_are_forgotten_though_nobody_asks_any_more(vaults: OpenVaults, clock: Clock, rung: list[threading.Timer]) -> None:
    vaults.open(ADA, PASSPHRASE, note=lambda *_: None)
    (first,) = rung
    assert IDLE_S < first.interval < IDLE_S + 2 and first.daemon
    clock.now_s += 60
    vaults.vault(ADA)
    clock.now_s += IDLE_S - 59
    first.function()
    assert vaults._held and len(rung) == 2, "it was used meanwhile, so it is looked at again later"
    clock.now_s += 60
    rung[1].function()
    assert not vaults._held and len(rung) == 2


def test_facts_are_worked_out_and_noted_once_for_each_state_of_the_file(vaults: OpenVaults, notes: list[tuple[str, str]]) -> None:
    vaults.open(ADA, PASSPHRASE, note=lambda *line: notes.append(line))
    for _ in range(3):
        assert [code.name for code in vaults.facts(ADA)] == ["user/1"]
    vaults.vault(ADA).put("user/2", Secret("4712"))
    for _ in range(3):
        assert [code.one_away for code in vaults.facts(ADA)] == [("user/2",), ("user/1",)]
    assert [act for act, _ in notes].count("compared") == 2
    vaults.path.unlink()
    with pytest.raises(StoreError, match="not there any more"):
        vaults.facts(ADA)


def test_who_guesses_waits_and_nobody_else_does(vaults: OpenVaults) -> None:
    def wrong() -> None:
        vaults.open(ADA, Secret("wrong horse battery"), note=lambda *_: None)

    for _ in range(LIMITS.free):
        with pytest.raises(NotOpened):
            wrong()
    with pytest.raises(Wait, match="Too many passphrases") as waits:
        wrong()
    assert 1 <= waits.value.seconds <= LIMITS.first_wait_s
    with pytest.raises(Wait):
        vaults.open(ADA, PASSPHRASE, note=lambda *_: None)
    vaults.open(BEN, PASSPHRASE, note=lambda *_: None)


def test_where_there_is_no_vault_no_passphrase_is_tried(tmp_path: Path) -> None:
    vaults = OpenVaults(tmp_path / "none.yaml")
    for _ in range(LIMITS.free + 1):
        with pytest.raises(NoVault):
            vaults.open(ADA, PASSPHRASE, note=lambda *_: None)


def test_it_is_open_in_one_sitting_and_who_is_gone_is_forgotten_though_nobody_asks(
    tmp_path: Path, clock: Clock, rung: list[threading.Timer]
) -> None:
    here, there = Holder("Ada", "1"), Holder("Ada", "2")
    inside = {"1", "2"}
    vaults = OpenVaults(tmp_path / "shop.yaml", clock, sittings=lambda: frozenset(inside))
    create_vault(vaults.path, PASSPHRASE, note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1))
    vaults.open(here, PASSPHRASE, note=lambda *_: None)
    with pytest.raises(Shut):
        vaults.vault(there)
    vaults.open(there, PASSPHRASE, note=lambda *_: None)
    inside.remove("1")
    assert rung[-1].interval <= LOOKED_S + 1
    rung[-1].function()
    assert set(vaults._held) == {there}
    inside.clear()
    vaults.forget_gone()
    assert not vaults._held


def test_who_is_turned_out_while_the_passphrase_is_worked_on_has_no_open_vault(vaults: OpenVaults) -> None:
    vaults._sittings = frozenset
    vaults.open(Holder("Ada", "1"), PASSPHRASE, note=lambda *_: None)
    assert not vaults._held
