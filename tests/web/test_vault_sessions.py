"""An open vault belongs to one sign-in: whoever ends that, or makes its person somebody else, shuts it at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret
from loopwright.store.vault import create_vault
from loopwright.web.entrance import TURN_AFTER
from loopwright.web.vault_open import OpenVaults

PASSPHRASE = "a passphrase of the bench"
CODE = "4711"
NEW = "another pear in another drawer"


@pytest.fixture
def vaults(bench: Any) -> OpenVaults:
    """Return the open vaults of the bench's job, whose vault holds one code."""
    made: OpenVaults = bench.app.state.vaults
    create_vault(made.path, Secret(PASSPHRASE), note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1)).put(
        "user/1", Secret(CODE)
    )  # fmt: skip
    return made


def ask(browser: Any, what: str, **body: str) -> Any:
    return browser.post(f"/secrets/{what}", json=body, headers={"Origin": str(browser.base_url)})


def opened(bench: Any, name: str = "Ina") -> Any:
    browser = bench.come_in(name)
    assert ask(browser, "open", passphrase=PASSPHRASE).json()["problem"] == ""
    assert ask(browser, "show", name="user/1").json()["secret"] == CODE
    return browser


def shut(browser: Any) -> bool:
    answer = ask(browser, "show", name="user/1")
    return CODE not in answer.text and (answer.status_code in (401, 403) or "closed" in answer.json()["problem"])


def test_the_same_person_in_another_browser_has_to_open_it_there(bench: Any, vaults: OpenVaults) -> None:
    here, there = opened(bench), bench.come_in("Ina", "10.0.0.8")
    assert shut(there) and not shut(here)
    assert ask(there, "open", passphrase=PASSPHRASE).json()["problem"] == ""
    here.hand_in("/sign-out")
    assert not shut(there) and len(vaults._held) == 1


def test_another_token_of_the_same_sign_in_keeps_it_open(bench: Any, vaults: OpenVaults) -> None:
    ina = opened(bench)
    bench.later(seconds=TURN_AFTER.total_seconds())
    before = dict(ina.cookies)
    ina.visit("/secrets")
    assert dict(ina.cookies) != before and not shut(ina)


def _own_password(bench: Any, ina: Any) -> None:
    old = bench.passwords["Ina"]
    assert ina.hand_in("/you/password", old=old, new=NEW, again=NEW).status_code == 303


def _kept(address: str, **fields: str) -> Callable[[Any, Any], None]:
    def act(bench: Any, ina: Any) -> None:
        ada = bench.come_in("Ada")
        ada.hand_in("/people/prove", password=bench.passwords["Ada"])
        assert ada.hand_in(address, name="Ina", **fields).status_code in (200, 303)

    return act


@pytest.mark.parametrize(
    "act",
    [
        lambda bench, ina: ina.hand_in("/sign-out"),
        lambda bench, ina: ina.hand_in("/you/sessions"),
        lambda bench, ina: ina.hand_in("/sign-in", name="Ina", password=bench.passwords["Ina"]),
        _own_password, _kept("/people/role", role="desk"), _kept("/people/role", role="reader"), _kept("/people/out"),
        _kept("/people/sessions"), _kept("/people/password"),
    ],
    ids=("out", "out everywhere", "in again", "own password", "other role", "no right", "let in no more", "sessions ended", "password set"),
)  # fmt: skip
def test_what_ends_a_sign_in_shuts_the_vault_and_forgets_its_keys_at_once(
    bench: Any, vaults: OpenVaults, act: Callable[[Any, Any], object]
) -> None:
    ina = opened(bench)
    act(bench, ina)
    assert not vaults._held
    assert shut(ina)


def test_a_change_at_the_command_line_shuts_it_too(bench: Any, vaults: OpenVaults) -> None:
    ina = opened(bench)
    bench.people.set_role("Ina", Role.DESK)
    assert shut(ina), "the role still reads secrets, and is another one"
    vaults._rung()
    assert not vaults._held


def test_where_the_people_cannot_be_read_every_vault_is_shut(bench: Any, vaults: OpenVaults) -> None:
    opened(bench)
    bench.people._path.write_text("{", encoding="utf-8")
    vaults._rung()
    assert not vaults._held


def test_who_goes_takes_nobody_elses_vault_along(bench: Any, vaults: OpenVaults) -> None:
    dora, ina = opened(bench, "Dora"), opened(bench)
    ina.hand_in("/sign-out")
    assert not shut(dora)
