"""A run of the command in this process, and one as a person would start it."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from loopwright.cli import main

ROOT = Path(__file__).resolve().parent.parent.parent


class Outcome(NamedTuple):
    """What a run left behind."""

    status: int
    out: str
    err: str

    def data(self) -> Any:
        """Return standard output read as JSON, strictly: NaN and infinity are no JSON."""
        return json.loads(self.out, parse_constant=lambda word: pytest.fail(f"{word} is not JSON"))


Run = Callable[..., Outcome]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a function that runs the command here, with bytes on standard input when they are given."""

    def once(*arguments: str, stdin: bytes | None = None) -> Outcome:
        if stdin is not None:
            monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8"))
        capsys.readouterr()
        status = main(arguments)
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return Outcome(status, out, err)

    return once


@pytest.fixture
def cold() -> Run:
    """Return a function that runs the command in a new process."""

    def once(*arguments: str, stdin: bytes = b"", **environment: str) -> Outcome:
        kept = {key: value for key, value in os.environ.items() if key not in ("FORCE_COLOR", "NO_COLOR", "COV_CORE_SOURCE")}
        done = subprocess.run(
            [sys.executable, "-m", "loopwright", *arguments],
            input=stdin,
            capture_output=True,
            env=kept | {"PYTHONPATH": str(ROOT / "src")} | environment,
            timeout=120,
            check=False,
        )
        return Outcome(done.returncode, done.stdout.decode("utf-8", "replace"), done.stderr.decode("utf-8", "replace"))

    return once


@pytest.fixture
def sample() -> str:
    """Return the path of the small house the reader's tests use."""
    return str(ROOT / "tests" / "job" / "sample.yaml")
