"""The job file: written whole or not at all, never over somebody else's work."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import pytest

from loopwright.store.file import MOST_BYTES, ChangedOnDisk, JobFile, StoreError


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "job.yaml"
    made.write_bytes("title: Häuschen\r\nnext: line\n".encode())
    return made


def test_what_is_loaded_and_saved_is_the_text_byte_for_byte(path: Path) -> None:
    job = JobFile(path)
    text = job.load()
    assert text == "title: Häuschen\r\nnext: line\n"
    job.save(text + "more: ½\n")
    assert path.read_bytes() == (text + "more: ½\n").encode()
    assert [item.name for item in path.parent.iterdir()] == ["job.yaml"]


def test_saving_again_and_again_is_no_change_by_another(path: Path) -> None:
    job = JobFile(path)
    job.load()
    for number in range(3):
        job.save(f"n: {number}\n")
    assert path.read_text() == "n: 2\n"


def test_a_file_changed_by_another_program_is_not_written_over(path: Path) -> None:
    job = JobFile(path)
    job.load()
    path.write_text("title: theirs\n")
    assert job.changed_on_disk()
    with pytest.raises(ChangedOnDisk, match="another program has changed the file"):
        job.save("title: ours\n")
    assert path.read_text() == "title: theirs\n"
    job.load()
    job.save("title: ours\n")
    assert path.read_text() == "title: ours\n"


def test_a_file_touched_but_not_changed_is_written(path: Path) -> None:
    job = JobFile(path)
    job.load()
    os.utime(path, (1, 1))
    job.save("title: ours\n")
    assert path.read_text() == "title: ours\n"


def test_a_removed_file_is_not_silently_made_again(path: Path) -> None:
    job = JobFile(path)
    job.load()
    path.unlink()
    with pytest.raises(ChangedOnDisk, match="moved or removed"):
        job.save("title: ours\n")
    assert not path.exists()


def test_a_file_that_was_never_read_is_not_written_over(path: Path) -> None:
    with pytest.raises(ChangedOnDisk):
        JobFile(path).save("title: ours\n")
    assert path.read_bytes().startswith(b"title: H")


def test_a_new_file_is_made(tmp_path: Path) -> None:
    JobFile(tmp_path / "new.yaml").save("title: new\n")
    assert (tmp_path / "new.yaml").read_text() == "title: new\n"


def test_the_mode_stays(path: Path) -> None:
    path.chmod(0o600)
    job = JobFile(path)
    job.load()
    job.save("a: 1\n")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_link_stays_a_link(path: Path) -> None:
    link = path.parent / "link.yaml"
    link.symlink_to(path)
    job = JobFile(link)
    job.load()
    job.save("a: 1\n")
    assert link.is_symlink() and path.read_text() == "a: 1\n"


def test_a_read_only_file_is_refused_in_one_plain_sentence(path: Path) -> None:
    job = JobFile(path)
    job.load()
    path.chmod(0o444)
    with pytest.raises(StoreError, match=r"^job\.yaml was not saved: the file is read-only\.$"):
        job.save("a: 1\n")


@pytest.mark.parametrize(
    ("code", "words"), [(errno.ENOSPC, "the disk is full"), (errno.EROFS, "the disk can only be read"), (errno.EACCES, "no permission")]
)
@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_when_the_disk_refuses_the_old_text_stays(path: Path, monkeypatch: pytest.MonkeyPatch, step: str, code: int, words: str) -> None:
    job = JobFile(path)
    text = job.load()

    def refuse(*_: object) -> None:
        raise OSError(code, "refused")

    with monkeypatch.context() as during:
        during.setattr(f"loopwright.store.file.os.{step}", refuse)
        with pytest.raises(StoreError, match=f"{words}. The file is as it was"):
            job.save("a: 1\n")
    assert path.read_bytes() == text.encode()
    assert [item.name for item in path.parent.iterdir()] == ["job.yaml"]
    job.save("a: 1\n")
    assert path.read_text() == "a: 1\n"


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="its folder is not there"):
        JobFile(tmp_path / "none" / "job.yaml").save("a: 1\n")


def test_what_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no such file"):
        JobFile(tmp_path / "none.yaml").load()
    with pytest.raises(StoreError, match="it is a folder"):
        JobFile(tmp_path).load()
    (tmp_path / "latin.yaml").write_bytes(b"title: H\xe4")
    with pytest.raises(StoreError, match="byte 9 is not UTF-8"):
        JobFile(tmp_path / "latin.yaml").load()
    (tmp_path / "big.yaml").write_bytes(b"#" * (MOST_BYTES + 1))
    with pytest.raises(StoreError, match="over 2 MB"):
        JobFile(tmp_path / "big.yaml").load()
