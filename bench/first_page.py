"""The first page: what a server holds in memory while idle, what a browser fetches, and how long it takes with an empty cache."""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import loopwright.demo

TIMES = 5
AIM_KB, AIM_S, AIM_MB = 300, 1.0, 200


def memory_mb(pid: int) -> float:
    """Return the resident memory of a process [MB]."""
    lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


def visited(browser: Any, address: str) -> tuple[float, float]:  # noqa: ANN401 - the browser of the library
    """Open the address in a browser that knows nothing yet; return the kilobytes fetched and the seconds until all was there."""
    context = browser.new_context(viewport={"width": 1280, "height": 860})
    page = context.new_page()
    client = context.new_cdp_session(page)
    client.send("Network.enable")
    fetched: list[float] = []
    client.on("Network.loadingFinished", lambda event: fetched.append(event["encodedDataLength"]))
    start = time.perf_counter()
    page.goto(address, wait_until="load")
    page.wait_for_selector("#page")
    page.wait_for_load_state("load")
    taken = time.perf_counter() - start
    page.wait_for_timeout(500)
    context.close()
    return sum(fetched) / 1000, taken


def main() -> int:
    """Print the figures."""
    chromium = shutil.which("chromium")
    if chromium is None:
        print("chromium is missing: nothing measured", file=sys.stderr)
        return 1
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bindery.yaml"
        path.write_text(loopwright.demo.text("business"), encoding="utf-8")
        command = [sys.executable, "-m", "loopwright", "serve", str(path), "--port", "0", "--no-browser"]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            address = next(line.strip() for line in server.stdout if "http://" in line)
            time.sleep(2)
            idle = memory_mb(server.pid)
            with sync_playwright() as started:
                browser = started.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
                seen = [visited(browser, address) for _ in range(TIMES)]
                browser.close()
            print(f"idle memory {idle:.0f} MB (aim {AIM_MB}), after {TIMES} visits {memory_mb(server.pid):.0f} MB")
        finally:
            server.terminate()
            server.wait(30)
    print(f"first page, {TIMES} visits with an empty cache, the step through the door included:")
    print(f"  fetched {max(kb for kb, _ in seen):.0f} kB (aim {AIM_KB})")
    print(f"  until loaded: median {statistics.median(s for _, s in seen):.2f} s, most {max(s for _, s in seen):.2f} s (aim {AIM_S:g})")
    return 0


if __name__ == "__main__":
    sys.exit(main())
