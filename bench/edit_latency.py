"""How long an edit takes in a real browser: from the key press to the repainted page, on the bindery and on 200 generated devices."""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

import uvicorn

import loopwright.demo
from loopwright.appraisal.appraise import appraise
from loopwright.demo.synthetic import synthetic
from loopwright.job.edit import SetField, apply
from loopwright.job.read import read
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.serve import listen, settle_memory
from loopwright.web.session import Session

EDITS = 100
RUNS = ("W10", "W11", "W14", "W20", "W22", "W31", "W40", "W45", "W60", "W62")
# The clock starts at the key press and stops in the frame after the one in which the new revision was painted.
TIMED = """([path, text]) => new Promise((done) => {
  const page = document.getElementById("page"), cell = document.querySelector(`[data-path="${path}"]`), before = page.dataset.revision;
  cell.focus(); cell.value = text;
  const start = performance.now();
  const painted = () => done(performance.now() - start);
  const look = () => requestAnimationFrame(page.dataset.revision !== before ? painted : look);
  cell.dispatchEvent(new KeyboardEvent("keydown", {key: "Enter", bubbles: true}));
  requestAnimationFrame(look);
})"""


def percentile(values: list[float], share: float) -> float:
    """Return the value below which a share of the values lies."""
    return sorted(values)[min(int(share * len(values)), len(values) - 1)]


def line(words: str, values_ms: list[float]) -> None:
    """Print one row of the table."""
    print(f"{words:<34} {statistics.median(values_ms):8.1f} {percentile(values_ms, 0.95):8.1f} {max(values_ms):8.1f}")


def runs_of(text: str) -> list[str]:
    """Return the lengths that are edited in turn: of ten runs that feed a device, since these move the most figures."""
    return [f"cables/{name}/length_m" for name, run in read(text).job.cables.items() if run.feeds][:: max(1, len(RUNS) // 4)][: len(RUNS)]


def stages(text: str, path: str) -> None:
    """Print what each step costs by itself."""
    steps: dict[str, list[float]] = {"apply the edit": [], "read": [], "appraise": []}
    for number in range(20):
        at = time.perf_counter()
        edited = apply(text, SetField(path, str(30 + number)))
        text = edited.text
        steps["apply the edit"].append((time.perf_counter() - at) * 1000)
        at = time.perf_counter()
        job = read(text, tree=edited.tree).job
        steps["read"].append((time.perf_counter() - at) * 1000)
        at = time.perf_counter()
        appraise(job)
        steps["appraise"].append((time.perf_counter() - at) * 1000)
    for words, values in steps.items():
        line(f"  {words}", values)


def in_browser(address: str, room: str, chromium: str, paths: list[str]) -> tuple[list[float], int]:
    """Return the milliseconds of each edit made in a room, and how many bytes the last answer had."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        browser = started.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        )
        page = browser.new_page(viewport={"width": 1280, "height": 860})
        page.goto(address + room)
        sizes: list[int] = []
        page.on("requestfinished", lambda asked: sizes.append(asked.sizes()["responseBodySize"]) if asked.url.endswith("/edit") else None)
        found = [page.evaluate(TIMED, [paths[number % len(paths)], str(10 + number)]) for number in range(EDITS + 5)]
        browser.close()
    return found[5:], sizes[-1]


def main() -> int:
    """Print the table."""
    chromium = shutil.which("chromium") or shutil.which("chromium-headless-shell")
    if chromium is None:
        print("chromium is missing: nothing measured", file=sys.stderr)
        return 1
    print(f"{'milliseconds, ' + str(EDITS) + ' edits':<34} {'p50':>8} {'p95':>8} {'most':>8}")
    demo_paths = [f"cables/{name}/length_m" for name in RUNS]
    one_job("business example", loopwright.demo.text("business"), demo_paths, chromium)
    large = synthetic(200, 1)
    one_job("200 generated devices", large, runs_of(large), chromium)
    return 0


def one_job(words: str, text: str, paths: list[str], chromium: str) -> None:
    """Print the rows of one job."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.yaml"
        path.write_text(text, encoding="utf-8")
        session = Session(JobFile(path))
        listening = listen("127.0.0.1", 0)
        server = uvicorn.Server(uvicorn.Config(create_app(session, token=None), log_level="error"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        settle_memory()
        address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        print(words)
        found, size = in_browser(address, "/wiring", chromium, paths)
        line("key press to repainted, wiring", found)
        print(f"  the last answer was {size:,} bytes")
        server.should_exit = True
        thread.join(10)
        stages(session.state.text, paths[0])
        drawing(session)


def drawing(session: Session) -> None:
    """Print what drawing each room costs by itself."""
    from fastapi.testclient import TestClient

    client = TestClient(create_app(session, token=None), base_url="http://localhost")
    for room in ("/", "/kit", "/wiring", "/power"):
        taken = []
        for _ in range(20):
            at = time.perf_counter()
            client.get(room)
            taken.append((time.perf_counter() - at) * 1000)
        line(f"  draw {room}", taken)


if __name__ == "__main__":
    sys.exit(main())
