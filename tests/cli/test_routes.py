"""``loopwright routes``: exit status, words and JSON."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from loopwright import demo

Run = Callable[..., Any]


def test_routes_are_told_and_one_that_raises_an_alarm_ends_in_one(run: Run, tmp_path: Path) -> None:
    sound, faulty = tmp_path / "dwelling.yaml", tmp_path / "business.yaml"
    for file in (sound, faulty):
        file.write_text(demo.text(file.stem), encoding="utf-8")
    done = run("routes", str(sound))
    assert done.status == 0 and "Owner, sitter in, House, zone 1 (Front door): 22 s of 30 s" in done.out
    done = run("routes", str(faulty), "--json")
    told = done.data()
    assert done.status == 1
    assert {route["area"] for route in told["routes"]} == {"shop", "workshop", "offices"}
    locked = [each for each in told["unwatched"] if "locked out after 3" in each["why"]]
    assert {each["most_s"] for each in locked} >= {4 * 86400, 11 * 86400}
