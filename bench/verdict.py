"""One response changed in the Programme room of the examples, in a real browser: until the broken promise and its story are in sight.

Run from the project's root with ``PYTHONPATH=src``; ``bench/verdict.py business`` measures one example.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import uvicorn

import loopwright.demo
from loopwright.rehearse.part import reached
from loopwright.store.file import JobFile
from loopwright.web.app import create_app
from loopwright.web.serve import listen, settle_memory
from loopwright.web.session import Session

ROUNDS = 3
ROWS = (
    "until the verdict and its story, warm", "until the whole sheet", "processor of the program", "processor of the page",
    "until mended again",
)  # fmt: skip
# The clock starts at the key press and stops in the frame after the one in which what is looked for was painted.
TIMED = """([path, text, wanted]) => new Promise((done) => {
  const page = document.getElementById("page"), cell = document.querySelector(`[data-path="${path}"]`), before = page.dataset.revision;
  const found = {}, start = performance.now();
  const seen = () => {
    const verdict = document.getElementById("verdict");
    const line = verdict.querySelector("[role=status]"), story = verdict.querySelector(".story li");
    const inSight = (each) => {
      const box = each?.getBoundingClientRect();
      return box && each.checkVisibility() && box.top < innerHeight && box.bottom > 0;
    };
    return line.textContent.includes(wanted) && inSight(line) && (wanted !== "breaks a promise" || inSight(story));
  };
  const note = (name) => { const at = performance.now(); requestAnimationFrame(() => { found[name] ??= performance.now() - start; }); };
  const look = () => {
    if (!("verdict" in found) && seen()) note("verdict");
    if (!("page" in found) && page.dataset.revision !== before) note("page");
    if ("verdict" in found && "page" in found) done([found.verdict, found.page]); else requestAnimationFrame(look);
  };
  cell.focus(); cell.value = text;
  cell.dispatchEvent(new KeyboardEvent("keydown", {key: "Enter", bubbles: true}));
  requestAnimationFrame(look);
})"""


# Since the address was asked for: the first paint with words in it, and the verdict that was searched for.
OPENING = """() => new Promise((done) => {
  const look = () => {
    const painted = performance.getEntriesByName("first-contentful-paint")[0];
    const said = document.querySelector("#verdict:not([data-searching])");
    if (painted && said) requestAnimationFrame(() => done([painted.startTime, performance.now()])); else requestAnimationFrame(look);
  };
  look();
})"""


def cells_of(session: Session) -> list[tuple[str, str]]:
    """Return the cells that are changed, each with what stands there: all that are to raise an alarm at once, and do."""
    zones = session.state.job.zones.items()
    return [
        (f"zones/{name}/response/full", zone.response["full"])
        for name, zone in zones
        if zone.response.get("full") == "immediate" and zone.watched
    ]


def line(words: str, values_ms: list[float]) -> None:
    """Print one row of the table."""
    print(f"| {words} | {len(values_ms)} | {statistics.median(values_ms):.0f} | {max(values_ms):.0f} |")


def in_browser(page: Any, cells: list[tuple[str, str]]) -> None:
    """Change every cell to do nothing and back again, and print how long each took."""
    rows: dict[str, list[float]] = {words: [] for words in ROWS}
    browser = page.context.new_cdp_session(page)
    browser.send("Performance.enable", {"timeDomain": "threadTicks"})
    for path, stood in cells * ROUNDS:
        spent, in_page = time.process_time(), page_cpu_ms(browser)
        verdict_ms, page_ms = page.evaluate(TIMED, [path, "ignored", "breaks a promise"])
        found = [verdict_ms, page_ms, (time.process_time() - spent) * 1000, page_cpu_ms(browser) - in_page]
        found.append(page.evaluate(TIMED, [path, stood, "Mended"])[0])
        for words, value in zip(ROWS, found, strict=True):
            rows[words].append(value)
    for words, values in rows.items():
        line(words, values)


def page_cpu_ms(browser: Any) -> float:
    """Return the processor's milliseconds the page has taken in the browser."""
    return 1000 * next(each["value"] for each in browser.send("Performance.getMetrics")["metrics"] if each["name"] == "TaskDuration")


@contextmanager
def opened(words: str, browser: Any) -> Iterator[tuple[Any, list[tuple[str, str]]]]:
    """Serve an example by a program that knows nothing of it yet, and open its Programme; give the page and the cells."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.yaml"
        path.write_text(loopwright.demo.text(words), encoding="utf-8")
        session = Session(JobFile(path))
        reached.cache_clear()
        listening = listen("127.0.0.1", 0)
        server = uvicorn.Server(uvicorn.Config(create_app(session, token=None), log_level="error"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        thread.start()
        settle_memory()
        page = browser.new_page(viewport={"width": 1280, "height": 860})
        page.goto(f"http://127.0.0.1:{listening.getsockname()[1]}/programme")
        yield page, cells_of(session)
        page.close()
        server.should_exit = True
        thread.join(10)


def one_job(words: str, browser: Any) -> None:
    """Print the rows of one example."""
    cold, first, told = [], list[float](), list[float]()
    print(f"\n{words}, load {os.getloadavg()[0]:.1f}\n\n| milliseconds | changes | median | most |\n|---|---|---|---|")
    for number in range(ROUNDS):
        with opened(words, browser) as (page, cells):
            for kept, value in zip((first, told), page.evaluate(OPENING), strict=True):
                kept.append(value)
            cold.append(page.evaluate(TIMED, [cells[number][0], "ignored", "breaks a promise"])[0])
            page.evaluate(TIMED, [*cells[number], "Mended"])
            if number == ROUNDS - 1:
                line("until the sheet is seen, when it is opened first", first)
                line("until its verdict is seen", told)
                line("until the verdict and its story, first change after opening", cold)
                in_browser(page, cells)


def main() -> int:
    """Print the tables."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium")
    if chromium is None:
        print("chromium is missing: nothing measured", file=sys.stderr)
        return 1
    with sync_playwright() as started:
        browser = started.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        )
        for words in sys.argv[1:] or ["dwelling", "business"]:
            one_job(words, browser)
        browser.close()
    print(f"\nload {os.getloadavg()[0]:.1f} at the end")
    return 0


if __name__ == "__main__":
    sys.exit(main())
