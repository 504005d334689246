"""The page on security claims nothing that no test proves, and says the numbers the program uses."""

from __future__ import annotations

import ast
import inspect
import re
import secrets
from pathlib import Path

import pytest

from loopwright.store import attempt, door, login, people, person, seal, vault
from loopwright.store.person import RIGHTS, Right, Role
from loopwright.web.vault_asked import SHOWN_S
from loopwright.web.vault_open import IDLE_S, LONGEST_S

ROOT = Path(__file__).resolve().parents[2]
PAGE = (ROOT / "docs" / "security.md").read_text(encoding="utf-8")
TESTS = sorted(set(re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", PAGE)))


def test_every_item_names_a_test() -> None:
    rows = [line for line in PAGE.splitlines() if re.match(r"\| \d+\.\d+\.\d+", line)]
    assert len(rows) >= 20
    assert not [row for row in rows if "::test_" not in row]


@pytest.mark.parametrize(("file", "name"), TESTS)
def test_every_test_it_names_is_there(file: str, name: str) -> None:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    assert name in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_it_says_the_numbers_the_program_uses() -> None:
    page, limits = " ".join(PAGE.split()), attempt.Limits()
    for cost in (vault.USUAL_COST, people.USUAL_COST):
        assert f"{cost.passes} passes over {cost.memory_kib // 1024} MiB in {cost.lanes} lanes" in page
    assert f"A passphrase has at least {vault.SHORTEST_PASSPHRASE} characters" in page
    assert f"Passwords have {person.SHORTEST_PASSWORD} characters or more" in page
    assert f"blocks of {seal.BLOCK_BYTES} bytes" in page
    assert f"from {limits.first_wait_s} s to {limits.longest_wait_s // 60} minutes" in page
    assert (limits.free, limits.free_for_all_names, limits.forgotten_after_s, login.MOST_OF_ONE) == (5, 20, 3600, 10)
    assert f"after {login.IDLE.seconds // 60} minutes without use and after {login.LONGEST.seconds // 3600} hours" in page


def test_it_says_how_long_a_vault_is_open_and_a_secret_shown() -> None:
    page = " ".join(PAGE.split())
    assert f"after {IDLE_S // 60} minutes without use, and after {LONGEST_S // 3600} hours" in page
    assert f"for {SHOWN_S} seconds" in page


def test_a_room_lies_on_a_telephone_no_longer_than_anybody_is_let_in_without_a_password() -> None:
    worker = (ROOT / "src" / "loopwright" / "web" / "static" / "away.js").read_text(encoding="utf-8")
    hours = int(login.LONGEST.total_seconds() // 3600)
    assert f"LONGEST_MS = {hours} * 3600000" in worker
    assert f"shown for {hours} hours after they were last seen whole" in " ".join(PAGE.split())


def test_it_says_what_each_role_may() -> None:
    assert RIGHTS[Role.READER] == {Right.READ_JOB}
    assert RIGHTS[Role.MATE] == RIGHTS[Role.READER] | {Right.ENTER_READINGS}
    assert RIGHTS[Role.SURVEYOR] == RIGHTS[Role.MATE] | {Right.CHANGE_JOB}
    assert RIGHTS[Role.INSTALLER] == RIGHTS[Role.SURVEYOR] | {Right.READ_SECRETS, Right.CHANGE_SECRETS}
    assert RIGHTS[Role.DESK] == {Right.READ_JOB, Right.READ_SECRETS, Right.WORK_ALARMS}
    assert RIGHTS[Role.OFFICE] == {Right.READ_JOB, Right.CHANGE_JOB, Right.KEEP_PEOPLE}


def test_random_numbers_come_from_the_system() -> None:
    for made in (vault.create_vault, vault.open_vault, people.People, door.Door):
        assert inspect.signature(made).parameters["draw"].default is secrets.token_bytes
    assert (seal.SALT_BYTES, login.TOKEN_BYTES) == (16, 32)
