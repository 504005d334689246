"""How long a whole command takes from nothing: a new process, every import, the work, the output."""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from loopwright import demo
from loopwright.demo.synthetic import synthetic

RUNS = 9
ALLOWED_S = {"--help": 0.15, "check business": 0.80}


def main() -> None:
    """Print the table."""
    print("| command | median s | best s | processor s | allowed s |")
    print("|---|---|---|---|---|")
    with tempfile.TemporaryDirectory() as folder:
        for name, text in {"business": demo.text("business"), "synthetic-200": synthetic(200, 1)}.items():
            (Path(folder) / name).write_text(text, encoding="utf-8")
        for command in (
            "--help", "check --help", "demo business", "schema", "check business", "check business --json",
            "forecast business", "forecast business --json", "check synthetic-200", "papers business --out out",
        ):  # fmt: skip
            wall, processor = zip(*(_seconds(command, folder) for _ in range(RUNS)), strict=True)
            print(f"| {command} | {median(wall):.2f} | {min(wall):.2f} | {min(processor):.2f} | {ALLOWED_S.get(command, '')} |")


def _seconds(command: str, folder: str) -> tuple[float, float]:
    """Return the time by the clock, and that of the processor, which a busy machine does not stretch as much."""
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run([sys.executable, "-m", "loopwright", *command.split()], cwd=folder, capture_output=True, check=False)
    wall, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 1):
        raise RuntimeError(f"{command}: {done.stderr.decode()}")
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


if __name__ == "__main__":
    main()
