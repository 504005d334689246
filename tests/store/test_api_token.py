"""Tokens of the HTTP API: what counts, what never does, and what the file and its trail tell."""

from __future__ import annotations

import hashlib
import json
import os
import stat
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopwright.store.api_token import MOST_DAYS, SCOPE_RIGHTS, ApiTokens, Scope, tokens_path, tokens_trail_path
from loopwright.store.audit import Audit
from loopwright.store.file import StoreError
from loopwright.store.person import Right
from loopwright.store.secret import Secret

NOW = datetime(2026, 3, 2, 8, tzinfo=UTC)
READ, CHANGE = frozenset({Scope.READ}), frozenset({Scope.CHANGE})


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tokens_path(tmp_path / "shop.yaml")


@pytest.fixture
def tokens(path: Path) -> ApiTokens:
    return ApiTokens(path, note=Audit(tokens_trail_path(path), by="Ada", clock=lambda: NOW).note)


def test_a_token_counts_from_when_it_is_made_until_it_ends_or_is_removed(tokens: ApiTokens) -> None:
    made = tokens.make("stock", READ, by="Ada", now=NOW, days=7)
    other = tokens.make("survey", CHANGE, by="Ada", now=NOW)
    found = tokens.find(made, now=NOW + timedelta(days=7, seconds=-1))
    assert found is not None and (found.name, found.made_by, found.rights) == ("stock", "Ada", frozenset({Right.READ_JOB}))
    assert tokens.find(made, now=NOW + timedelta(days=7)) is None
    tokens.remove("stock")
    assert tokens.find(made, now=NOW) is None
    assert tokens.find(other, now=NOW) is not None


def test_no_scope_gives_secrets_or_people() -> None:
    given_away = {right for rights in SCOPE_RIGHTS.values() for right in rights}
    assert not given_away & {Right.READ_SECRETS, Right.CHANGE_SECRETS, Right.KEEP_PEOPLE, Right.WORK_ALARMS}
    assert Right.CHANGE_JOB not in SCOPE_RIGHTS[Scope.READ]
    assert set(SCOPE_RIGHTS) == set(Scope)


@given(st.text(max_size=60))
def test_nothing_else_is_a_token(tmp_path_factory: pytest.TempPathFactory, guess: str) -> None:
    path = tmp_path_factory.getbasetemp() / "guessed.tokens"
    tokens = ApiTokens(path, note=lambda act, subject: None)
    if not path.exists():
        tokens.make("stock", READ, by="Ada", now=NOW)
    if not any("\ud800" <= each <= "\udfff" for each in guess):
        assert tokens.find(Secret(guess), now=NOW) is None


def test_only_the_hash_is_kept_for_the_owner_alone(tokens: ApiTokens, path: Path) -> None:
    made = tokens.make("stock", READ, by="Ada", now=NOW).reveal()
    assert made.startswith("lw_") and len(made) == 3 + 43
    for file in (path, tokens_trail_path(path)):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        assert made not in file.read_text(encoding="ascii") and made[3:] not in file.read_text(encoding="ascii")
    kept = json.loads(path.read_bytes())["tokens"]["stock"]["sha256"]
    assert kept == hashlib.sha256(made.encode("ascii")).hexdigest()


def test_making_and_removing_is_noted_first(path: Path, tokens: ApiTokens) -> None:
    tokens.make("stock", READ | CHANGE, by="Ada", now=NOW, days=1)
    tokens.remove("stock")
    audit = Audit(tokens_trail_path(path), by="Ada", clock=lambda: NOW)
    assert [line.partition(" Ada: ")[2] for line in audit.told()] == [
        "token made stock to change and read, until 2026-03-03T08:00:00.000000+00:00",
        "token removed stock",
    ]
    assert audit.verify() == []

    def full(act: str, subject: str) -> None:
        raise StoreError("the disk is full.")

    with pytest.raises(StoreError, match="disk is full"):
        ApiTokens(path, note=full).make("more", READ, by="Ada", now=NOW)
    assert tokens.everyone() == {}


@pytest.mark.parametrize(
    ("name", "scopes", "days"),
    [
        ("", READ, 1),
        ("1st", READ, 1),
        ("a b", READ, 1),
        ("a" * 41, READ, 1),
        ("ok", frozenset(), 1),
        ("ok", READ, 0),
        ("ok", READ, MOST_DAYS + 1),
    ],
)
def test_what_is_no_token_is_not_made(tokens: ApiTokens, path: Path, name: str, scopes: frozenset[Scope], days: int) -> None:
    with pytest.raises(StoreError):
        tokens.make(name, scopes, by="Ada", now=NOW, days=days)
    assert not path.exists()


def test_a_name_is_given_once_and_what_is_not_there_is_not_removed(tokens: ApiTokens) -> None:
    made = tokens.make("stock", READ, by="Ada", now=NOW)
    with pytest.raises(StoreError, match="already"):
        tokens.make("stock", CHANGE, by="Ada", now=NOW)
    with pytest.raises(StoreError, match="no token called other"):
        tokens.remove("other")
    assert tokens.find(made, now=NOW) is not None


def test_a_file_that_others_may_write_opens_nothing(tokens: ApiTokens, path: Path) -> None:
    made = tokens.make("stock", READ, by="Ada", now=NOW)
    path.chmod(0o620)
    with pytest.raises(StoreError, match="others may write it"):
        tokens.find(made, now=NOW)


def test_a_folder_brings_no_tokens_with_it(tokens: ApiTokens, path: Path, tmp_path: Path) -> None:
    """Neither beside a job that was sent, nor from where its folder was copied from."""
    made = tokens.make("stock", READ, by="Ada", now=NOW)
    assert not path.is_relative_to(tmp_path) and list(tmp_path.iterdir()) == []
    sent = tmp_path / "sent"
    sent.mkdir()
    (sent / "shop.yaml.tokens").write_bytes(path.read_bytes())
    assert ApiTokens(tokens_path(sent / "shop.yaml"), note=lambda *_: None).find(made, now=NOW) is None
    (tmp_path / "shop.yaml").touch()
    (sent / "link.yaml").symlink_to(tmp_path / "shop.yaml")
    assert tokens_path(sent / "link.yaml") == path, "a link is the job it leads to"
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_a_name_as_long_as_a_name_may_be_has_tokens(tmp_path: Path) -> None:
    path = tokens_path(tmp_path / ("ü" * 122 + ".yaml"))
    ApiTokens(path, note=lambda *_: None).make("stock", READ, by="Ada", now=NOW)
    assert path.exists()


def test_where_the_user_has_no_folder_there_are_no_tokens(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", "not/absolute")
    monkeypatch.delenv("HOME")
    with pytest.raises(StoreError, match="no data folder"):
        tokens_path(tmp_path / "shop.yaml")


def test_a_file_of_somebody_else_opens_nothing(tokens: ApiTokens, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = tokens.make("stock", READ, by="Ada", now=NOW)
    monkeypatch.setattr(os, "geteuid", lambda: path.stat().st_uid + 1)
    with pytest.raises(StoreError, match="somebody else's file"):
        tokens.find(made, now=NOW)


@pytest.mark.parametrize("raw", [b"", b"{}", b"[]", b'{"format": 2, "tokens": {}}', b'{"format": 1, "tokens": {"a": {}}}', b"[" * 100_000])
def test_a_damaged_file_opens_nothing(tokens: ApiTokens, path: Path, raw: bytes) -> None:
    path.write_bytes(raw)
    path.chmod(0o600)
    with pytest.raises(StoreError, match="damaged"):
        tokens.find(Secret("lw_any"), now=NOW)
