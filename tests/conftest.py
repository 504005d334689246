"""What every test may ask for: the programs we compare against, and how hypothesis behaves."""

from __future__ import annotations

import gc
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

import opened

# A slow shared machine is not a fault, so no deadline; in CI the examples are the same on every run.
settings.register_profile("here", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("here"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")

# What is collected here, hundreds of modules and thousands of tests, stays to the end: looking through it again and again for
# what might go took a fifth of all the work.
gc.set_threshold(50_000, 20, 50)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Take the journeys first: they are the longest tests, and one of them begun last would keep a single worker busy."""
    items.sort(key=lambda item: "journeys" not in item.path.parts)


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Set everything there is by now aside from what is looked through for garbage."""
    gc.collect()
    gc.freeze()


# What a test writes is gone when it ends, so it need not reach a disk: hundreds of tests wait for one otherwise. What a program that
# is killed leaves behind is the same in memory.
MEMORY = "/dev/shm"
ROOM_BYTES = 4_000_000_000
if "TMPDIR" not in os.environ and os.access(MEMORY, os.W_OK) and shutil.disk_usage(MEMORY).free > ROOM_BYTES:
    os.environ["TMPDIR"] = tempfile.tempdir = MEMORY


@pytest.fixture(autouse=True, scope="session")
def own_things(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep the tests out of the data folder of whoever runs them."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield


def _oracle(command: str, package: str) -> str:
    path = shutil.which(command)
    if path is None:
        pytest.skip(f"oracle missing: {command} (Debian package {package})")
    return path


@pytest.fixture(autouse=True, scope="session")
def opened_once() -> Iterator[None]:
    """Let a session take the reading, the figures and the rehearsal of a text that was opened before: they are frozen, and the same."""
    with pytest.MonkeyPatch.context() as patched:
        for place, stand_in in opened.STANDS_FOR.items():
            patched.setattr(f"loopwright.web.{place}", stand_in)
        yield


@pytest.fixture(autouse=True, scope="session")
def routed_once() -> Iterator[None]:
    """Let an application take what was worked out of its addresses when another was built."""
    if "fastapi" not in sys.modules:  # whatever builds one in this process has been collected by now
        yield
        return
    import routed

    with pytest.MonkeyPatch.context() as patched:
        for name, stand_in in routed.STANDS_FOR.items():
            patched.setattr(f"fastapi.routing.{name}", stand_in)
        yield


@pytest.fixture(scope="session")
def ngspice() -> str:
    """Return the path of ngspice, the oracle of the electrical solver."""
    return _oracle("ngspice", "ngspice")


@pytest.fixture(scope="session")
def chromium() -> str:
    """Return the path of the browser the pages are looked at in: its shell without windows where there is one, at half the work."""
    return shutil.which("chromium-headless-shell") or _oracle("chromium", "chromium-headless-shell")


@pytest.fixture(scope="session")
def pdftotext() -> str:
    """Return the path of pdftotext, which reads the papers back."""
    return _oracle("pdftotext", "poppler-utils")


@pytest.fixture(scope="session")
def openssl() -> str:
    """Return the path of OpenSSL's command, which looks at certificates and talks TLS as we have not written it."""
    return _oracle("openssl", "openssl")
