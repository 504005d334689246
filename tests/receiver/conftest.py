"""A story with a receiver that looks around often."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any

import pytest

from loopwright.receiver import server
from loopwright.receiver.limits import Limits
from loopwright.receiver.server import Place
from receiving import Run, Site, site_at


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a function that runs a story with a receiver that looks around twenty times a second."""
    monkeypatch.setattr(server, "TICK_S", 0.05)

    def told(story: Callable[[Site], Coroutine[Any, Any, None]], *, test_h: float = 1.0, slow: bool = False, **limits: Any) -> None:
        asyncio.run(_run(story, tmp_path / "shop.yaml.received.db", test_h, slow, Limits(**limits)))

    return told


async def _run(story: Callable[[Site], Coroutine[Any, Any, None]], path: Path, test_h: float, slow: bool, limits: Limits) -> None:
    async with site_at(path, Place(host="127.0.0.1", port=0, test_h=test_h, limits=limits), slow=slow) as site:
        around = asyncio.create_task(site.receiver.over())
        await story(site)
        site.receiver.stop()
        await around
