"""An office at work: twenty people on one job in PostgreSQL, at two servers, each making an edit every five seconds.

Measured is the answer to each edit. At the end the text in the database must hold the last acknowledged edit of every cell, every
revision that was acknowledged must be in the history under its own name, and the chain of revisions must hold.
"""

from __future__ import annotations

import json
import os
import pwd
import secrets
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import loopwright.demo
from loopwright.appraisal.appraise import appraise
from loopwright.job.edit import SetField, apply
from loopwright.job.read import read
from loopwright.store.sql import open_store

PEOPLE = int(os.environ.get("PEOPLE", "20"))
SECONDS = int(os.environ.get("SECONDS", "75"))
EVERY_S = 5.0
SERVERS = int(os.environ.get("SERVERS", "2"))
AIM_MS = 300
JOB = "bindery"


@dataclass
class Person:
    """One person: a name, the cable whose length they work on, their token, the server they are at, and what came of their edits."""

    name: str
    cable: str
    token: str
    base: str
    waits_ms: list[float] = field(default_factory=list)
    made: list[tuple[int, float]] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)

    def work(self, begin_s: float, until_s: float) -> None:
        """Edit every so often, at a moment of one's own."""
        at_s, turn = begin_s, 0
        while at_s < until_s:
            time.sleep(max(0.0, at_s - time.perf_counter()))
            self.edit(5 + (turn % 40) / 2)
            turn, at_s = turn + 1, at_s + EVERY_S

    def edit(self, length_m: float) -> None:
        """Set the length, and note how long the answer took and whether it was acknowledged."""
        edits = [{"do": "set", "path": f"cables/{self.cable}/length_m", "value": length_m}]
        body = json.dumps({"edits": edits}).encode()
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        asked = urllib.request.Request(f"{self.base}/api/v1/edits", body, headers, method="POST")
        start = time.perf_counter()
        try:
            with urllib.request.urlopen(asked, timeout=60) as answer:
                told = json.load(answer)
            self.made.append((told["revision"], length_m))
        except urllib.error.HTTPError as error:
            self.refused.append(f"{error.code} {json.load(error)['detail']}")
        self.waits_ms.append((time.perf_counter() - start) * 1000)


class Database:
    """A PostgreSQL server of our own on loopback, as Debian installs it, with its own care for the disk."""

    def __init__(self, folder: Path) -> None:
        """Start it."""
        self.programs = max(Path("/usr/lib/postgresql").glob("*/bin"))
        names = {each.pw_name for each in pwd.getpwall()}
        self.user = None if os.geteuid() else "postgres" if "postgres" in names else "nobody"
        self.data, self.password = folder / "data", secrets.token_hex(12)
        (folder / "password").write_text(self.password, encoding="ascii")
        for path in (folder, folder / "password"):
            if self.user:
                shutil.chown(path, self.user)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        initial = ("--username=loopwright", "--auth=scram-sha-256", f"--pwfile={folder / 'password'}", "--encoding=UTF8", "--locale=C")
        self._run("initdb", "--pgdata", self.data, *initial)
        options = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories="
        self._run("pg_ctl", "--pgdata", self.data, "--wait", "--log", folder / "log", "-o", options, "start")

    def address(self) -> str:
        """Return the address of its one database, without the password."""
        return f"postgresql://loopwright@127.0.0.1:{self.port}/postgres"

    def stop(self) -> None:
        """Stop it."""
        self._run("pg_ctl", "--pgdata", self.data, "--mode=fast", "stop")

    def _run(self, program: str, *words: object) -> None:
        quiet: dict[str, Any] = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        subprocess.run([str(each) for each in (self.programs / program, *words)], user=self.user, cwd="/", check=True, timeout=120, **quiet)


def loopwright_does(*words: str) -> str:
    """Run the command and return what it printed."""
    return subprocess.run([sys.executable, "-m", "loopwright", *words], check=True, capture_output=True, text=True, timeout=120).stdout


def served(address: str) -> tuple[subprocess.Popen[str], str]:
    """Start a server of the job, and return it with its own address."""
    command = [sys.executable, "-m", "loopwright", "serve", address, "--job", JOB, "--port", "0", "--no-browser"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    for line in process.stdout:
        if "http://" in line:
            return process, line.strip().partition("/?")[0]
    raise RuntimeError("the server did not start")


def memory_mb(process: subprocess.Popen[str]) -> float:
    """Return the resident memory of a process [MB]."""
    lines = Path(f"/proc/{process.pid}/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmRSS"))


def percentile(values: list[float], share: float) -> float:
    """Return the value below which a share of the values lies."""
    return sorted(values)[min(int(share * len(values)), len(values) - 1)]


def lost(address: str, people: list[Person]) -> list[str]:
    """Return what was acknowledged and is not there, and what else is not as it should be."""
    store = open_store(address, read_only=True)
    try:
        found = [str(each) for each in store.verify(JOB)]
        head = store.head(JOB)
        job = read(head.text).job
        for person in people:
            if person.made and job.cables[person.cable].length_m != person.made[-1][1]:
                found.append(f"{person.name}: {person.cable} is {job.cables[person.cable].length_m}, not {person.made[-1][1]}")
            for number, length_m in person.made:
                revision = store.revision(JOB, number)
                if length_m != read(store.text_at(JOB, number)).job.cables[person.cable].length_m:
                    found.append(f"{person.name}: revision {number} by {revision.by} does not hold the edit")
        acknowledged = sum(len(person.made) for person in people)
        if head.number < acknowledged:
            found.append(f"{acknowledged} edits were acknowledged, and there are {head.number} revisions")
    finally:
        store.close()
    return found


def at_work(address: str, folder: Path) -> int:
    """Have the people work, and print what came of it."""
    document = folder / f"{JOB}.yaml"
    document.write_text(loopwright.demo.text("business"), encoding="utf-8")
    loopwright_does("put-in", str(document), address)
    cables = list(read(document.read_text(encoding="utf-8")).job.cables)
    servers = [served(address) for _ in range(SERVERS)]
    try:
        time.sleep(3)
        idle = [memory_mb(process) for process, _ in servers]
        people = [Person(f"person-{number}", cables[number % len(cables)], "", servers[number % SERVERS][1]) for number in range(PEOPLE)]
        for person in people:
            person.token = loopwright_does("token", address, "make", person.name, "--scope", "change", "--job", JOB).strip()
        start = time.perf_counter() + 1
        threads = [
            threading.Thread(target=person.work, args=(start + number * EVERY_S / PEOPLE, start + SECONDS))
            for number, person in enumerate(people)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        busy = [memory_mb(process) for process, _ in servers]
    finally:
        for process, _ in servers:
            process.terminate()
            process.wait(30)
    return told(address, people, idle, busy)


def by_itself_ms(text: str) -> float:
    """Return how long an edit takes here with nobody else at work [ms], store and network left out: the measure of this machine now."""
    taken = []
    for number in range(5):
        start = time.perf_counter()
        appraise(read(apply(text, SetField("cables/W22/length_m", str(30 + number))).text).job)
        taken.append((time.perf_counter() - start) * 1000)
    return statistics.median(taken)


def told(address: str, people: list[Person], idle: list[float], busy: list[float]) -> int:
    """Print the table; return 1 when something was lost or refused."""
    waits = [wait for person in people for wait in person.waits_ms]
    refused = [words for person in people for words in person.refused]
    wrong = lost(address, people)
    p95 = percentile(waits, 0.95)
    print(f"{PEOPLE} people, {SERVERS} servers, one edit each every {EVERY_S:g} s for {SECONDS} s")
    print(f"edits {len(waits)}, refused {len(refused)}, lost or wrong {len(wrong)}")
    print(f"an edit by itself, without store and network, right after: {by_itself_ms(loopwright.demo.text('business')):.0f} ms")
    print(f"answer [ms]   p50 {statistics.median(waits):.0f}   p95 {p95:.0f} (aim {AIM_MS})   most {max(waits):.0f}")
    print(f"memory [MB]   idle {max(idle):.0f} (aim 200)   after {max(busy):.0f}")
    for words in (refused + wrong)[:10]:
        print(f"  {words}")
    return 1 if refused or wrong else 0


def main() -> int:
    """Start a database, have the people work, and stop it."""
    folder = Path(tempfile.mkdtemp(prefix="loopwright-office-"))
    own = Path(tempfile.mkdtemp(prefix="loopwright-office-own-"))
    try:
        database = Database(folder)
        os.environ |= {"PGPASSWORD": database.password, "XDG_DATA_HOME": str(own), "OPENBLAS_NUM_THREADS": "1"}
        try:
            return at_work(database.address(), own)
        finally:
            database.stop()
    finally:
        for each in (folder, own):
            shutil.rmtree(each, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())
