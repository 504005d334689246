"""``loopwright wont-set``: the causes as the library finds them, and names the job has not."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo

Run = Callable[..., Any]


@pytest.fixture
def business(tmp_path: Path) -> str:
    file = tmp_path / "business.yaml"
    file.write_text(demo.text("business"), encoding="utf-8")
    return str(file)


def test_what_applies_stands_first_with_who_may_do_something(run: Run, business: str) -> None:
    told = run("wont-set", business, "shop", "--by", "owner", "--open", "z06", "--shows", "battery low@equipment/control").out
    assert told.index("Identify the caller") < told.index("Keeps it from being set now") < told.index("To be asked")
    now = told[: told.index("To be asked")]
    assert "Zone 6 (Shop windows) is open." in now and "battery low" in now
    assert "May be overridden by user" in now and "from memory" in now


def test_machines_get_every_cause(run: Run, business: str) -> None:
    data = run("wont-set", business, "offices", "--by", "shop-staff", "--settled", "memory", "--json").data()
    applies = {cause["hindrance"]: cause["applies"] for cause in data["causes"]}
    assert applies["right"] == "yes" and applies["memory"] == "no" and applies["hold-up"] == "ask"


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["cellar"], "cellar"),
        (["shop", "--mode", "sideways"], "late"),
        (["shop", "--by", "nobody"], "shop-staff"),
        (["shop", "--open", "z99"], "z06"),
        (["shop", "--shows", "gremlins"], "battery low"),
        (["shop", "--settled", "luck"], "hold-up"),
    ],
)
def test_a_name_the_job_has_not_is_refused_with_those_it_has(run: Run, business: str, words: list[str], named: str) -> None:
    done = run("wont-set", business, *words)
    assert done.status == 2 and named in done.err and not done.out
