"""``loopwright papers``: files whole or not at all, in the folder asked for and nowhere else."""

from __future__ import annotations

import sys
import types
from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from loopwright.cli.papers import put_all
from loopwright.cli.refusal import Refusal

Run = Callable[..., Any]


@pytest.fixture
def printer(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """Put a printer in place of the typesetter, to look at what it is handed."""

    def record(appraisal: Any, *, revision: str, now: datetime) -> bytes:
        return f"%PDF {appraisal.job.title} {revision} {now.isoformat()}".encode()

    papers: dict[str, Any] = {"circuit-and-power-record": record}
    stand_in = types.ModuleType("loopwright.papers")
    stand_in.PAPERS = papers  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "loopwright.papers", stand_in)
    return papers


def test_papers_are_written_and_named(
    run: Run, printer: dict[str, Any], sample: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    folder = tmp_path / "made" / "here"
    done = run("papers", sample, "--out", str(folder))
    written = folder / "circuit-and-power-record.pdf"
    assert (done.status, done.out) == (0, f"{written}\n")
    revision = sha256(Path(sample).read_bytes()).hexdigest()[:12]
    assert written.read_text(encoding="utf-8") == f"%PDF Example cottage {revision} {datetime.fromtimestamp(1700000000, UTC).isoformat()}"
    written.write_text("old", encoding="utf-8")
    assert run("papers", sample, "--out", str(folder)).status == 0
    assert written.read_text(encoding="utf-8").startswith("%PDF")
    assert [each.name for each in folder.iterdir()] == [written.name]


def test_the_papers_there_are_come_out_the_same_twice(run: Run, sample: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from loopwright.papers import PAPERS

    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1700000000")
    for folder in ("one", "two"):
        assert run("papers", sample, "--out", str(tmp_path / folder)).status == 0
    assert {each.name for each in (tmp_path / "one").iterdir()} == {f"{name}.pdf" for name in PAPERS}
    for each in (tmp_path / "one").iterdir():
        assert each.read_bytes().startswith(b"%PDF-")
        assert each.read_bytes() == (tmp_path / "two" / each.name).read_bytes()


def test_a_folder_that_is_a_file(run: Run, printer: dict[str, Any], sample: str, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    done = run("papers", sample, "--out", str(tmp_path / "taken"))
    assert done.status == 2
    assert "cannot be made" in done.err
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "mine"


def test_a_paper_that_cannot_be_made_leaves_the_folder_alone(run: Run, printer: dict[str, Any], sample: str, tmp_path: Path) -> None:
    def fail(*_: object, **__: object) -> bytes:
        raise RuntimeError("out of ink")

    printer["later"] = fail
    assert run("papers", sample, "--out", str(tmp_path / "out")).status == 3
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("name", ["../escaped.pdf", "/tmp/escaped.pdf", "a/b.pdf", "..", ""])
def test_nothing_is_written_outside_the_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(Refusal, match="is not the name of a file"):
        put_all(tmp_path / "out", {"sound.pdf": b"", name: b""})
    assert not list(tmp_path.iterdir())


def test_a_link_in_the_folder_is_replaced_and_not_followed(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "precious").write_text("mine", encoding="utf-8")
    (tmp_path / "out" / "record.pdf").symlink_to(tmp_path / "precious")
    put_all(tmp_path / "out", {"record.pdf": b"%PDF"})
    assert (tmp_path / "precious").read_text(encoding="utf-8") == "mine"
    assert (tmp_path / "out" / "record.pdf").read_bytes() == b"%PDF"


def test_a_time_that_is_none(run: Run, printer: dict[str, Any], sample: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    done = run("papers", sample, "--out", str(tmp_path / "out"))
    assert done.status == 2
    assert "whole seconds" in done.err
