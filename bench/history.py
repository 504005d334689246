"""What the history costs to look at: its room with 10,000 revisions, and the difference of two jobs of 200 devices."""

from __future__ import annotations

import re
import statistics
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import loopwright.demo
from loopwright.appraisal.appraise import appraise
from loopwright.appraisal.difference import story
from loopwright.demo.synthetic import synthetic
from loopwright.job.difference import difference
from loopwright.job.edit import RenameItem, SetField, apply
from loopwright.job.read import read
from loopwright.job.sentence import sentences
from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob, history_path
from loopwright.store.sql import open_store
from loopwright.store.store import Change
from loopwright.web.app import create_app
from loopwright.web.session import Session

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from fastapi.testclient import TestClient

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
REVISIONS, DEVICES, TIMES = 10_000, 200, 15
BASE = "http://127.0.0.1:8417"
LENGTH = re.compile(r"(?<=length_m: )[0-9.]+")


def timed(act: Callable[[], object]) -> float:
    """Return the milliseconds of the processor something takes: what else runs here does not count."""
    at = time.process_time()
    act()
    return (time.process_time() - at) * 1000


def line(words: str, act: Callable[[], object]) -> None:
    """Print one row of the table."""
    ordered = sorted(timed(act) for _ in range(TIMES))
    print(f"{words:<62} {statistics.median(ordered):8.1f} {ordered[int(0.95 * (TIMES - 1))]:8.1f} {ordered[-1]:8.1f}")


def filled(path: Path) -> None:
    """Put a job file and a history of so many edits of it into a folder."""
    text = loopwright.demo.text("business")
    store = open_store(history_path(path))
    store.create(path.name, text, Change(by="Ada", at=NOW))
    for number in range(1, REVISIONS):
        places = list(LENGTH.finditer(text))
        place = places[number * 7 % len(places)]
        text = f"{text[: place.start()]}{10 + number % 83}{text[place.end() :]}"
        change = Change(by=("Ada", "Bo")[number // 30 % 2], at=NOW + timedelta(minutes=number), summary=f"cables/W22/length_m: {number}")
        store.append(path.name, text, change, expected=number)
    path.write_text(text, encoding="utf-8")
    store.close()


def rooms(folder: Path) -> None:
    """Print what the room costs."""
    path = folder / "job.yaml"
    filled(path)
    kept = KeptJob(JobFile(path), open_store(history_path(path)), by="Ada", clock=lambda: NOW)
    client = TestClient(create_app(Session(kept), token=None), base_url=BASE)
    line(f"first page of {REVISIONS} revisions", lambda: client.get("/history").raise_for_status())
    line("a page in the middle", lambda: client.get("/history?before=5000").raise_for_status())
    seen = iter(range(100, REVISIONS, 37))
    line("from an old revision to now, figures never computed before", lambda: client.get(f"/history?from={next(seen)}").raise_for_status())
    line("the same again", lambda: client.get("/history?from=100").raise_for_status())
    kept.close()


def differences() -> None:
    """Print what the difference costs beside the two appraisals."""
    text = synthetic(DEVICES, 1)
    before = appraise(read(text).job)
    first = next(iter(before.job.cables))
    later = {
        "one cable longer": apply(text, SetField(f"cables/{first}/length_m", "61")).text,
        "every cable longer": LENGTH.sub(lambda found: f"{float(found[0]) + 1:g}", text),
        "the control unit renamed": apply(text, RenameItem("equipment/control", "panel")).text,
        "another job altogether": synthetic(DEVICES, 2),
    }
    for words, changed in later.items():
        after = appraise(read(changed).job)
        line(f"{DEVICES} devices, {words}", lambda after=after: story(before, after))
        line("   of it the document alone", lambda after=after: sentences(difference(before.job, after.job)))


def main() -> int:
    """Print the table."""
    print(f"{'milliseconds of the processor':<62} {'p50':>8} {'p95':>8} {'most':>8}")
    differences()
    with tempfile.TemporaryDirectory() as folder:
        rooms(Path(folder))
    return 0


if __name__ == "__main__":
    sys.exit(main())
