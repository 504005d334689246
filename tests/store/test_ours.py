"""Files that count only when nobody else can have written them."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from loopwright.store.file import StoreError
from loopwright.store.ours import MOST_BYTES, read_own
from loopwright.store.people import People
from loopwright.store.person import Role
from loopwright.store.seal import Cost
from loopwright.store.secret import Secret

MODES = [(0o600, "", ""), (0o644, "", "read"), (0o640, "", "read"), (0o400, "", ""), (0o620, "write", "write"), (0o602, "write", "write")]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "people"
    made.write_bytes(b"{}")
    return made


@pytest.mark.parametrize(("mode", "open_", "secret"), MODES)
def test_what_others_may_write_or_read(path: Path, mode: int, open_: str, secret: str) -> None:
    path.chmod(mode)
    for kind, refused in ((False, open_), (True, secret)):
        if refused:
            with pytest.raises(StoreError, match=f"others may {refused} it"):
                read_own(path, secret=kind)
        else:
            assert read_own(path, secret=kind) == b"{}"


def test_what_is_somebody_elses_or_no_file(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "link").symlink_to(path)
    os.mkfifo(tmp_path / "pipe", 0o600)
    for name in ("link", "pipe", "."):
        with pytest.raises(StoreError):
            read_own(tmp_path / name)
    with pytest.raises(FileNotFoundError):
        read_own(tmp_path / "none")
    path.write_bytes(b" " * (MOST_BYTES + 1))
    path.chmod(0o600)
    with pytest.raises(StoreError, match="over 4 MB"):
        read_own(path)
    monkeypatch.setattr(os, "geteuid", lambda: path.stat().st_uid + 1)
    with pytest.raises(StoreError, match="somebody else's"):
        read_own(path)


def test_people_that_others_may_write_let_nobody_in(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    people = People(tmp_path / "people", note=lambda *_: None, cost=Cost(passes=1, memory_kib=8, lanes=1))
    password = Secret("correct horse battery")
    people.add("Ada", Role.OFFICE, password, owner=True)
    assert people.find("Ada") is not None
    (tmp_path / "people").chmod(0o660)
    with pytest.raises(StoreError, match="others may write it"):
        people.find("Ada")
    with pytest.raises(StoreError, match="others may write it"):
        people.add("Eve", Role.OFFICE, password, owner=True)
    (tmp_path / "people").chmod(0o600)
    with monkeypatch.context() as patched:
        patched.setattr(os, "geteuid", lambda: (tmp_path / "people").stat().st_uid + 1)
        with pytest.raises(StoreError, match="somebody else's"):
            people.find("Ada")
    assert people.find("Ada") is not None
