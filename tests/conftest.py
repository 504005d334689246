"""What every test may ask for: the programs we compare against, and how hypothesis behaves."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from opened import STANDS_FOR

# A slow shared machine is not a fault, so no deadline; in CI the examples are the same on every run.
settings.register_profile("here", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", parent=settings.get_profile("here"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")

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
    """Let a session take the reading and the figures of a text that was opened before: they are frozen, and the same."""
    with pytest.MonkeyPatch.context() as patched:
        for name, stand_in in STANDS_FOR.items():
            patched.setattr(f"loopwright.web.session.{name}", stand_in)
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
