"""``loopwright serve``: which file is opened, and where."""

from __future__ import annotations

import sys
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright import demo

Run = Callable[..., Any]


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Put a workbench in place of the real one that only notes how it was opened."""
    calls: list[dict[str, Any]] = []

    def serve(path: Path, **options: Any) -> int:
        calls.append({"path": path, **options})
        return 0

    stand_in = types.ModuleType("loopwright.web.serve")
    stand_in.serve = serve  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "loopwright.web.serve", stand_in)
    return calls


def test_a_file_is_opened_on_this_machine_alone(run: Run, opened: list[dict[str, Any]], sample: str) -> None:
    assert run("serve", sample, "--port", "9000", "--no-browser").status == 0
    assert opened == [
        {
            "path": Path(sample),
            "host": "127.0.0.1",
            "port": 9000,
            "open_browser": False,
            "history": True,
            "network": None,
            "copies": None,
            "first": "",
        }
    ]


def test_a_history_is_kept_unless_nobody_wants_it(run: Run, opened: list[dict[str, Any]], sample: str) -> None:
    run("serve", sample, "--no-history")
    assert opened[0]["history"] is False


def test_the_own_copy_is_made_once_and_kept(
    run: Run, opened: list[dict[str, Any]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    done = run("serve")
    copy = tmp_path / "data" / "loopwright" / "demo-business.yaml"
    assert str(copy) in done.out
    assert copy.read_text(encoding="utf-8") == demo.text("business")
    copy.write_text("changed", encoding="utf-8")
    run("serve")
    assert copy.read_text(encoding="utf-8") == "changed"
    assert [(call["path"].path, call["first"]) for call in opened] == [(copy.parent, copy.stem)] * 2
    assert opened[0]["open_browser"] is True


def test_without_the_variable_it_is_the_home_folder(
    run: Run, opened: list[dict[str, Any]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", "not/absolute")
    monkeypatch.setenv("HOME", str(tmp_path))
    run("serve")
    assert opened[0]["path"].path == tmp_path / ".local" / "share" / "loopwright"


def test_a_folder_is_opened_with_the_list_of_what_is_in_it(run: Run, opened: list[dict[str, Any]], tmp_path: Path) -> None:
    assert run("serve", str(tmp_path)).status == 0
    assert (opened[0]["path"].path, opened[0]["first"]) == (tmp_path, "")
    assert "chosen in the browser" in run("serve", str(tmp_path), "--job", "shop").err
    assert len(opened) == 1


@pytest.mark.parametrize("home", ["", "/dev/null", "/proc"])
def test_without_a_home_to_write_to_it_is_a_temporary_folder(
    run: Run, opened: list[dict[str, Any]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, home: str
) -> None:
    monkeypatch.delenv("XDG_DATA_HOME", raising=False)
    monkeypatch.setenv("HOME", home)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    done = run("serve")
    path = opened[0]["path"].path
    assert path.parent == tmp_path
    assert str(path) in done.out
    assert "may not be kept" in done.out


@pytest.mark.parametrize("name", ["-", "nothing.yaml", "/dev/null"])
def test_what_is_no_job_is_refused_before_the_browser_opens(run: Run, opened: list[dict[str, Any]], name: str) -> None:
    assert run("serve", name).status == 2
    assert opened == []


def test_copies_are_made_where_and_as_often_as_is_said(run: Run, opened: list[dict[str, Any]], sample: str, tmp_path: Path) -> None:
    assert run("serve", sample, "--backup", str(tmp_path), "--every", "0.5", "--keep", "7").status == 0
    assert opened[0]["copies"] == (tmp_path, 1800.0, 7)
    assert "--every 0: out of bounds" in run("serve", sample, "--backup", str(tmp_path), "--every", "0").err
    assert "--keep 0: out of bounds" in run("serve", sample, "--backup", str(tmp_path), "--keep", "0").err
    assert len(opened) == 1
