"""One open job with its history, and the API on it, as programs with tokens of either scope see it."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from loopwright.store.api_token import ApiTokens, Scope, tokens_path
from loopwright.store.kept import keep
from loopwright.web.app import create_app
from loopwright.web.session import Session

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

SAMPLE = Path(__file__).resolve().parents[2] / "job" / "sample.yaml"
BASE = "http://127.0.0.1:8417"
KEY = "the-key-of-this-start"


def now() -> datetime:
    """Return the time now."""
    return datetime.now(UTC)


@pytest.fixture
def text() -> str:
    """Return the small house."""
    return SAMPLE.read_text(encoding="utf-8")


@pytest.fixture
def session(tmp_path: Path, text: str) -> Any:
    """Return the open job."""
    path = tmp_path / "job.yaml"
    path.write_text(text, encoding="utf-8")
    return Session(keep(path, by="Ada", clock=now)[0])


@pytest.fixture
def tokens(tmp_path: Path) -> ApiTokens:
    """Return the tokens of the job."""
    return ApiTokens(tokens_path(tmp_path / "job.yaml"), note=lambda act, subject: None)


@pytest.fixture
def app(session: Any, tokens: ApiTokens) -> Any:
    """Return the whole application."""
    return create_app(session, token=KEY, tokens=tokens, hosts=frozenset({"127.0.0.1", "testserver"}), clock=now)


@pytest.fixture
def bearing(app: Any, tokens: ApiTokens) -> Callable[[str, Scope], Any]:
    """Return a function that returns a client with a new token."""

    def made(name: str, scope: Scope) -> Any:
        token = tokens.make(name, frozenset({scope}), by="Ada", now=now())
        client = TestClient(app, base_url=BASE, headers={"Authorization": f"Bearer {token.reveal()}"})
        client.bearer = token.reveal()  # type: ignore[attr-defined]
        return client

    return made


@pytest.fixture
def reader(bearing: Callable[[str, Scope], Any]) -> Any:
    """Return a client that may read."""
    return bearing("reader", Scope.READ)


@pytest.fixture
def writer(bearing: Callable[[str, Scope], Any]) -> Any:
    """Return a client that may change."""
    return bearing("writer", Scope.CHANGE)


@pytest.fixture
def nobody(app: Any) -> Any:
    """Return a client without a token."""
    return TestClient(app, base_url=BASE)
