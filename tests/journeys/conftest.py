"""One browser for all journeys of a worker, and workbenches that run for one journey each."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from socket import socket
from ssl import SSLContext
from typing import Any

import pytest
import uvicorn

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.serve import listen
from loopwright.web.session import Session
from often import DEEP

from .in_the_hand import PATIENCE_MS

Launch = Callable[..., Any]
Serve = Callable[..., AbstractContextManager[int]]
SWITCHES = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
WIDTHS = ("phone", "desk")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """By night a journey that is made in the hand and at a desk is made in both; by day in one of them, in turn from journey to journey.

    The first of a file is made in the hand, so that every room is used at that width too.
    """
    made: dict[tuple[Path, str], dict[str, pytest.Item]] = {}
    for item in items:
        if not DEEP and isinstance(item, pytest.Function) and hasattr(item, "callspec") and item.callspec.id in WIDTHS:
            made.setdefault((item.path, item.originalname), {})[item.callspec.id] = item
    turns: Counter[Path] = Counter()
    for_the_night = []
    for (path, _), both in made.items():
        if len(both) == len(WIDTHS):
            turns[path] += 1
            for_the_night.append(both[WIDTHS[turns[path] % 2]])
    config.hook.pytest_deselected(items=for_the_night)
    items[:] = [item for item in items if item not in for_the_night]


@pytest.fixture(scope="package")
def launch(chromium: str) -> Iterator[Launch]:
    """Return a function that starts a browser, with switches of its own where it has any."""
    playwright = pytest.importorskip("playwright.sync_api", reason="oracle missing: playwright")
    with playwright.sync_playwright() as started:
        yield lambda *more: patient(started.chromium.launch(executable_path=chromium, args=[*SWITCHES, *more]))


def patient(launched: Any) -> Any:
    """Return a browser all of whose contexts wait as long as a machine with much else to do may take."""
    own = launched.new_context

    def new_context(**more: Any) -> Any:
        made = own(**more)
        made.set_default_timeout(PATIENCE_MS)
        return made

    launched.new_context = new_context
    return launched


@pytest.fixture(scope="package")
def browser(launch: Launch) -> Iterator[Any]:
    """Return the browser; what one journey keeps in it is a context that no other sees."""
    launched = launch()
    yield launched
    launched.close()


@contextmanager
def serving(app: Any, *, on: socket | None = None, tls: SSLContext | None = None) -> Iterator[int]:
    """Serve an application on this machine, on a socket or a new one, over TLS where there is a way to speak it; give the port."""
    listening = on or listen("127.0.0.1", 0)
    config = uvicorn.Config(app, log_level="error", proxy_headers=False, timeout_graceful_shutdown=2)
    config.load()
    config.ssl = tls
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    try:
        yield listening.getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(60)
        listening.close()
    assert not thread.is_alive(), "the server has stopped"


@pytest.fixture(scope="session")
def serve() -> Serve:
    """Return a context that serves an application in a thread."""
    return serving


@pytest.fixture
def premises() -> str:
    """Return which example job is open."""
    return "business"


@pytest.fixture
def session(tmp_path: Path, premises: str) -> Session:
    """Return the example job, open."""
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text(premises), encoding="utf-8")
    return Session(JobFile(path))


@pytest.fixture
def bench(session: Session, serve: Serve) -> Iterator[tuple[str, Session]]:
    """Serve the example job to whoever sits at this machine; return where, and the job behind it."""
    with serve(create_app(session, token=None)) as port:
        yield f"http://127.0.0.1:{port}", session
