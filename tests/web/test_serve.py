"""Starting: a free port, a printed address with the key, a doorstep only this user can read, exit codes."""

from __future__ import annotations

import os
import re
import signal
import socket
import stat
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import pytest

import loopwright.demo
from loopwright.web.serve import UNUSABLE, doorstep, listen, serve

SRC = Path(__file__).resolve().parents[2] / "src"


def test_a_taken_port_gives_way_to_a_free_one() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with listen("127.0.0.1", port) as found:
            assert found.getsockname()[1] not in (0, port)


def test_the_doorstep_is_this_users_own() -> None:
    path = Path(urlsplit(doorstep("http://127.0.0.1:1/?key=abc&x")).path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert "key=abc&amp;x" in path.read_text(encoding="utf-8")
    path.unlink()


def test_what_is_no_job_is_said_and_not_served(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("format: 1\ntitle: x\n", encoding="utf-8")
    assert serve(bad, open_browser=False) == UNUSABLE
    assert "The key premises is missing" in capsys.readouterr().err


def test_it_starts_prints_its_address_and_stops_on_ctrl_c(tmp_path: Path) -> None:
    path = tmp_path / "job.yaml"
    path.write_text(loopwright.demo.text("business"), encoding="utf-8")
    code = f"import sys; from pathlib import Path; from loopwright.web.serve import serve; sys.exit(serve(Path({str(path)!r}), port=0))"
    quiet = {key: value for key, value in os.environ.items() if key not in ("DISPLAY", "WAYLAND_DISPLAY")}
    running = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, env={**quiet, "PYTHONPATH": str(SRC)})
    assert running.stdout is not None
    address = ""
    while not address:
        line = running.stdout.readline()
        assert line, "ended before it printed its address"
        address = "".join(re.findall(r"http://127\.0\.0\.1:\d+/\?key=\S{20,}", line))
    with urllib.request.urlopen(address, timeout=120) as answer:
        assert answer.status == 200
    time.sleep(0.2)
    running.send_signal(signal.SIGINT)
    out, _ = running.communicate(timeout=120)
    assert running.returncode == 0 and "Stopped" in out
