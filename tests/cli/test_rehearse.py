"""``loopwright rehearse``: exit status, words and JSON."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from loopwright import demo

Run = Callable[..., Any]


def test_a_promise_kept_and_one_broken(run: Run, tmp_path: Path) -> None:
    file = tmp_path / "job.yaml"
    text = demo.text("dwelling")
    file.write_text(text, encoding="utf-8")
    done = run("rehearse", str(file))
    assert done.status == 0 and "Not found broken" in done.out and "Not covered: How long a switched output" in done.out
    assert "A shared area is unset exactly when one of the areas that share it is. Not put to the test: no area is shared" in done.out
    file.write_text(text.replace("stay: ignored}, watched: full}", "stay: ignored}, watched: every-set}"), encoding="utf-8")
    done = run("rehearse", str(file), "--json")
    assert done.status == 1
    assert {each["subject"] for each in done.data()["broken"]} == {f"zones/z0{n}/response/stay" for n in (6, 7, 8)}
