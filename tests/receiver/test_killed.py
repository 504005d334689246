"""A receiver that is killed while messages come, and frames changed at random: the measurements of ``bench/``, a little of each.

``make deep`` kills as often as the bench does. A process that is killed leaves the same behind in memory as on a disk.
"""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from often import DEEP

ROOT = Path(__file__).resolve().parents[2]
KILLS = 20 if DEEP else 3
INPUTS = 200_000 if DEEP else 4_000


@pytest.fixture(scope="module")
def bench() -> ModuleType:
    """Return the bench as a module."""
    spec = importlib.util.spec_from_file_location("bench_receive", ROOT / "bench" / "receive.py")
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_everything_acknowledged_is_there_once(bench: ModuleType, tmp_path: Path) -> None:
    acknowledged, lost, doubled = bench.killed(KILLS, tmp_path)
    assert acknowledged > KILLS, "killed before there was anything to lose"
    assert (lost, doubled) == (0, 0)


def test_a_crowd_that_says_nothing_keeps_nobody_out(bench: ModuleType) -> None:
    told = bench.crowd(1000 if DEEP else 300, most=100)
    assert told.served == told.asked
    assert told.grown_mb < 20


def test_nothing_damaged_is_answered_however_frames_are_changed() -> None:
    done = subprocess.run(
        [sys.executable, str(ROOT / "bench" / "fuzz_signalling.py"), str(INPUTS), "3"], capture_output=True, text=True, timeout=600
    )
    assert done.returncode == 0, done.stderr
    assert f"{INPUTS} inputs, seed 3" in done.stdout
    # Inputs that are all refused at the first look would prove nothing.
    assert int(done.stdout.partition("ACK ")[2].split(",")[0]) > INPUTS // 100
