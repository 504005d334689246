"""What keeping every revision costs: a commit, opening with 10 and with 10,000 revisions, the size of the database, kills while writing."""

from __future__ import annotations

import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import loopwright.demo
from loopwright.store.file import JobFile
from loopwright.store.kept import KeptJob, history_path
from loopwright.store.sql import SqlStore, open_store
from loopwright.store.store import Change, Revision

LENGTH = re.compile(r"(?<=length_m: )[0-9.]+")
MANY, FEW = 10_000, 10
NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
ROOT = Path(__file__).resolve().parents[1]


def texts(number: int) -> list[str]:
    """Return the texts of so many edits of the bindery: the length of one cable after the other."""
    text = loopwright.demo.text("business")
    edited = [text]
    for each in range(1, number):
        places = list(LENGTH.finditer(text))
        place = places[each * 7 % len(places)]
        text = f"{text[: place.start()]}{10 + each % 83}{text[place.end() :]}"
        edited.append(text if text != edited[-1] else f"{text}# {each}\n")
        text = edited[-1]
    return edited


def timed(act: Callable[[], object]) -> float:
    """Return the milliseconds something takes."""
    at = time.perf_counter()
    act()
    return (time.perf_counter() - at) * 1000


def line(words: str, values_ms: list[float]) -> None:
    """Print one row of the table."""
    ordered = sorted(values_ms)
    print(f"{words:<58} {statistics.median(ordered):9.2f} {ordered[int(0.95 * (len(ordered) - 1))]:9.2f} {ordered[-1]:9.2f}")


def filled(path: Path, number: int) -> list[float]:
    """Make a database of so many revisions; return the milliseconds of each append."""
    store = open_store(path)
    edited = texts(number)
    store.create("bindery", edited[0], Change(by="Ada", at=NOW))
    taken = []
    for each, text in enumerate(edited[1:], start=1):
        change = Change(by="Ada", at=NOW, summary="cables/W22/length_m: 60")
        taken.append(timed(lambda text=text, change=change, each=each: store.append("bindery", text, change, expected=each)))
    store.close()
    return taken


def opened(path: Path) -> float:
    """Return the milliseconds from nothing to the last text, the check of the whole file included."""
    held: list[SqlStore] = []
    taken = timed(lambda: held.append(open_store(path)) or held[0].head("bindery").text)
    held[0].close()
    return taken


def with_file(folder: Path) -> list[float]:
    """Return the milliseconds of each save of a job file together with its history."""
    path = folder / "job.yaml"
    edited = texts(150)
    path.write_text(edited[0], encoding="utf-8")
    job = KeptJob(JobFile(path), open_store(history_path(path)), by="Ada", clock=lambda: NOW)
    job.start(job.load())
    taken = [timed(lambda text=text: job.add(text)) for text in edited[1:] if text != path.read_text(encoding="utf-8")]
    job.close()
    return taken


def main() -> int:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        many, few = folder / "many.db", folder / "few.db"
        print(f"{'milliseconds':<58} {'p50':>9} {'p95':>9} {'most':>9}")
        filled(few, FEW)
        line(f"append a revision, the first to the {MANY}th", filled(many, MANY))
        line("save the job file and append a revision", with_file(folder))
        line(f"open with {FEW} revisions", [opened(few) for _ in range(15)])
        line(f"open with {MANY} revisions", [opened(many) for _ in range(15)])
        store = open_store(many)
        line(f"one text of {MANY}", [timed(lambda each=each: store.text_at("bindery", each)) for each in range(1, MANY, 97)])
        line(f"a page of 100 revisions of {MANY}", [timed(lambda: store.revisions("bindery", before=5000)) for _ in range(15)])
        line(f"verify {MANY} revisions", [timed(lambda: store.verify())])
        assert isinstance(store.revision("bindery", MANY), Revision)
        store.close()
        whole = len(loopwright.demo.text("business").encode()) * MANY
        print(f"{MANY} revisions take {many.stat().st_size / 1e6:.1f} MB; as whole texts they would be {whole / 1e6:.0f} MB")
    kills = str(max(60, int(os.environ.get("LOOPWRIGHT_KILLS", "200"))))
    killing = [sys.executable, "-m", "pytest", "-q", "tests/store/test_killed.py"]
    done = subprocess.run(killing, cwd=ROOT, env=os.environ | {"LOOPWRIGHT_KILLS": kills}, stdout=subprocess.DEVNULL, check=False)
    print(f"killed {kills} times while writing: {'nothing lost' if done.returncode == 0 else 'FAILED'}")
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
