"""The checker of the model written by hand, made once: compiling it takes longer than asking it."""

from __future__ import annotations

from pathlib import Path

import pytest

from oracles.by_hand import built


@pytest.fixture(scope="session")
def checker(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return built(tmp_path_factory.mktemp("by-hand"))
