"""The vault and the door at their usual cost: what a passphrase and a password take, and what everything else takes.

Run from the project's root with ``PYTHONPATH=src``.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from loopwright.store.attempt import Source
from loopwright.store.audit import Audit
from loopwright.store.door import Door
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.secret import Secret
from loopwright.store.vault import USUAL_COST, create_vault, open_vault

ENTRIES = 200
PASSPHRASE = Secret("correct horse battery")
HERE = Source("127.0.0.1", loopback=True)


def median_ms(act: Callable[[], object], times: int) -> float:
    """Return the median of some runs [ms]."""
    runs = []
    for _ in range(times):
        start = time.perf_counter()
        act()
        runs.append(time.perf_counter() - start)
    return statistics.median(runs) * 1000


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.vault"
        audit = Audit(Path(folder) / "trail", by="bench", clock=lambda: datetime.now(UTC))
        vault = create_vault(path, PASSPHRASE, note=audit.note)
        for number in range(ENTRIES):
            vault.put(f"user/{number}", Secret(f"{number:06}"))
        people = People(Path(folder) / "people", note=audit.note)
        people.add("Ada", Role.OFFICE, PASSPHRASE, owner=True)
        door, now = Door(people, note=audit.note), datetime.now(UTC)
        rows = {
            f"open, {USUAL_COST.memory_kib // 1024} MiB, {USUAL_COST.passes} passes, {USUAL_COST.lanes} lanes": median_ms(
                lambda: open_vault(path, PASSPHRASE, note=audit.note), 9
            ),
            "get one, noted": median_ms(lambda: vault.get("user/7"), 50),
            "put one, noted": median_ms(lambda: vault.put("user/7", Secret("471147")), 50),
            f"facts of {ENTRIES} codes, noted": median_ms(lambda: vault.facts(), 20),
            "sign in, noted": median_ms(lambda: door.sign_in("Ada", PASSPHRASE, None, source=HERE, now=now), 9),
        }
        print(f"{ENTRIES} secrets, {path.stat().st_size / 1000:.0f} kB; median of several runs")
        for name, value in rows.items():
            print(f"{name:<44}{value:>9.1f} ms")


if __name__ == "__main__":
    main()
