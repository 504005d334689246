"""The secrets of a job on the command line: asked for on a terminal, or read from a file; never given as arguments, never repeated."""

from __future__ import annotations

import json
import os
import pty
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from loopwright.store.seal import Cost
from loopwright.store.vault import create_vault

Run = Callable[..., Any]
ROOT = Path(__file__).resolve().parents[2]
PASSPHRASE, NEW = "correct horse battery", "another horse battery"


@pytest.fixture
def job(tmp_path: Path, sample: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """Return a job file of its own, whose vault opens at once."""
    assert create_vault.__kwdefaults__ is not None
    monkeypatch.setitem(create_vault.__kwdefaults__, "cost", Cost(passes=1, memory_kib=8, lanes=1))
    shutil.copy(sample, tmp_path / "shop.yaml")
    return str(tmp_path / "shop.yaml")


@pytest.fixture
def words(tmp_path: Path) -> str:
    """Return a file with the passphrase and a new one."""
    path = tmp_path / "words"
    path.write_text(f"{PASSPHRASE}\n{NEW}\n", encoding="utf-8")
    path.chmod(0o600)
    return str(path)


@pytest.fixture
def filled(run: Run, job: str, words: str) -> str:
    """Return a job with one code in its vault."""
    assert run("vault", job, "put", "user/1", "--passphrase-file", words, stdin=b"4711\n").status == 0
    return job


def trail(job: str) -> list[tuple[str, str]]:
    lines = Path(f"{job}.vault.trail").read_text(encoding="utf-8").splitlines()
    return [(line["act"], line["subject"]) for line in map(json.loads, lines)]


def test_put_get_list_remove(run: Run, filled: str, words: str) -> None:
    done = run("vault", filled, "get", "user/1", "--passphrase-file", words)
    assert (done.status, done.out, done.err) == (0, "4711\n", "")
    assert run("vault", filled, "list").out == "user/1\n"
    assert run("vault", f"{filled}.vault", "list").out == "user/1\n"
    assert run("vault", filled, "remove", "user/1", "--passphrase-file", words).out == "user/1 is taken out of shop.yaml.vault.\n"
    assert run("vault", filled, "list").out == ""
    assert trail(filled) == [
        ("created", "shop.yaml.vault"), ("put", "user/1"), ("opened", "shop.yaml.vault"), ("read", "user/1"),
        ("opened", "shop.yaml.vault"), ("removed", "user/1"),
    ]  # fmt: skip


def test_the_trail_is_told_and_a_changed_line_is_named(run: Run, filled: str) -> None:
    done = run("vault", filled, "trail")
    assert done.status == 0
    assert [line.split(": ", 1)[1] for line in done.out.splitlines()] == ["created shop.yaml.vault", "put user/1"]
    path = Path(f"{filled}.vault.trail")
    path.write_bytes(path.read_bytes().replace(b'"put"', b'"red"'))
    done = run("vault", filled, "trail")
    assert (done.status, done.out.splitlines()[-1]) == (1, "Line 2 is not what was put there.")


def test_what_is_put_is_taken_as_it_is_but_for_the_last_line_end(run: Run, filled: str, words: str) -> None:
    for given, kept in ((b" a b \r\n", " a b "), ("zwölf\n\n".encode(), "zwölf\n"), (b"no end", "no end")):
        assert run("vault", filled, "put", "x", "--passphrase-file", words, stdin=given).status == 0
        assert run("vault", filled, "get", "x", "--passphrase-file", words).out == f"{kept}\n"


def test_a_new_passphrase(run: Run, filled: str, words: str, tmp_path: Path) -> None:
    assert run("vault", filled, "passwd", "--passphrase-file", words).status == 0
    refused = run("vault", filled, "get", "user/1", "--passphrase-file", words)
    assert (refused.status, refused.out) == (2, "")
    assert refused.err.startswith("shop.yaml.vault was not opened: the passphrase is not the one it was sealed with, or")
    (tmp_path / "new").write_text(NEW, encoding="utf-8")
    (tmp_path / "new").chmod(0o600)
    assert run("vault", filled, "get", "user/1", "--passphrase-file", str(tmp_path / "new")).out == "4711\n"
    assert run("vault", filled, "passwd", "--passphrase-file", str(tmp_path / "new")).err.endswith("the new passphrase, is not there.\n")


def test_a_descriptor(run: Run, filled: str) -> None:
    reading, writing = os.pipe()
    os.write(writing, PASSPHRASE.encode())
    os.close(writing)
    assert run("vault", filled, "get", "user/1", "--passphrase-fd", str(reading)).out == "4711\n"
    os.close(reading)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("get",), "get needs the NAME"),
        (("list", "user/1"), "list takes no NAME"),
        (("get", "user/9", "--passphrase-file", "WORDS"), "there is no secret of that name"),
        (("get", "user/1", "--passphrase-file", "none"), "the passphrase cannot be read: No such file"),
        (("get", "user/1", "--passphrase-file", ""), "the passphrase cannot be read"),
        (("get", "user/1", "--passphrase-fd", "9999"), "the passphrase cannot be read: Bad file descriptor"),
        (("get", "user/1", "--passphrase-fd", "-1"), "the passphrase cannot be read"),
        (("get", "user/1", "--passphrase-fd", "3", "--passphrase-file", "WORDS"), "only one of them"),
        (("put", "user/1", "--passphrase-fd", "0"), "put reads the secret from there"),
    ],
)
def test_refusals_in_words(run: Run, filled: str, words: str, arguments: tuple[str, ...], said: str) -> None:
    done = run("vault", filled, *(words if each == "WORDS" else each for each in arguments), stdin=b"")
    assert (done.status, done.out) == (2, "")
    assert said in done.err


def test_a_passphrase_file_others_may_read_is_refused(run: Run, filled: str, words: str) -> None:
    Path(words).chmod(0o640)
    done = run("vault", filled, "get", "user/1", "--passphrase-file", words)
    assert done.status == 2
    assert "others may read it" in done.err


def test_no_job_no_vault_and_a_broken_vault(run: Run, job: str, words: str, tmp_path: Path) -> None:
    assert "there is no job" in run("vault", str(tmp_path / "none.yaml"), "put", "a", "--passphrase-file", words, stdin=b"x").err
    assert "no such vault" in run("vault", job, "get", "a", "--passphrase-file", words).err
    Path(f"{job}.vault").write_bytes(b"{}")
    # The passphrase is not asked for in vain.
    assert run("vault", job, "get", "a").err == "shop.yaml.vault is not a vault, or is damaged.\n"


@pytest.mark.parametrize(
    "arguments",
    [
        ("put", "user/1", "planted7391"),
        ("put", "7391planted"),
        ("put", "user/1", "--code=planted7391"),
        ("put", "--passphrase=planted7391", "user/1"),
        ("planted7391", "user/1"),
        ("get", "planted7391"),
        ("remove", "planted7391"),
        ("put", "user/1", "--passphrase-fd", "planted7391"),
    ],
)
def test_a_secret_written_in_the_wrong_place_is_not_repeated(run: Run, filled: str, words: str, arguments: tuple[str, ...]) -> None:
    source = () if "--passphrase-fd" in arguments else ("--passphrase-file", words)
    done = run("vault", filled, *arguments, *source, stdin=b"x")
    assert done.status == 2
    assert "7391" not in done.out + done.err


def test_a_passphrase_in_the_environment_is_not_taken(run: Run, filled: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("PASSPHRASE", "LOOPWRIGHT_PASSPHRASE", "LOOPWRIGHT_VAULT_PASSPHRASE_FILE", "VAULT_PASSPHRASE"):
        monkeypatch.setenv(name, PASSPHRASE)
    monkeypatch.setattr("getpass.getpass", _no_terminal)
    done = run("vault", filled, "get", "user/1", stdin=b"")
    assert (done.status, done.out) == (2, "")
    assert "no terminal to ask on" in done.err


def _no_terminal(prompt: str) -> str:
    raise EOFError(prompt)


def test_the_environment_does_not_say_who_it_was(run: Run, filled: str, monkeypatch: pytest.MonkeyPatch, words: str) -> None:
    for name in ("USER", "LOGNAME", "LNAME", "USERNAME"):
        monkeypatch.setenv(name, "mallory")
    run("vault", filled, "get", "user/1", "--passphrase-file", words)
    assert "mallory" not in Path(f"{filled}.vault.trail").read_text(encoding="utf-8")


def test_the_job_and_its_papers_know_nothing_of_the_secret(run: Run, filled: str, words: str, tmp_path: Path) -> None:
    run("vault", filled, "put", "path/key", "--passphrase-file", words, stdin=b"planted-7391-secret")
    before = {each.name for each in tmp_path.iterdir()}
    assert run("check", filled).status in (0, 1)
    assert run("forecast", filled).status == 0
    assert before == {each.name for each in tmp_path.iterdir()} == {"shop.yaml", "shop.yaml.vault", "shop.yaml.vault.trail", "words"}
    assert not [each for each in tmp_path.iterdir() if b"planted" in each.read_bytes()]


def on_a_terminal(job: str, *arguments: str, typed: list[str]) -> tuple[int, str]:
    """Return exit status and what a terminal shows when words are typed at its prompts."""
    pid, leader = pty.fork()
    if pid == 0:
        os.execve(
            sys.executable,
            [sys.executable, "-m", "loopwright", "vault", job, *arguments],
            {**os.environ, "PYTHONPATH": str(ROOT / "src"), "TERM": "dumb"},
        )
    shown, left = b"", list(typed)
    try:
        while part := os.read(leader, 65536):
            shown += part
            if shown.endswith(b": ") and left:
                os.write(leader, left.pop(0).encode() + b"\n")
    except OSError:  # Linux says so when the last writer has gone
        pass
    status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
    os.close(leader)
    return status, shown.decode("utf-8").replace("\r\n", "\n")


def test_on_a_terminal_words_are_asked_for_and_not_shown(job: str) -> None:
    status, shown = on_a_terminal(job, "put", "user/1", typed=[PASSPHRASE, PASSPHRASE, "4711", "4711"])
    assert (status, shown.splitlines()[-1]) == (0, "user/1 is in shop.yaml.vault.")
    assert "horse" not in shown
    assert "4711" not in shown
    status, shown = on_a_terminal(job, "get", "user/1", typed=[PASSPHRASE])
    assert (status, shown) == (0, "Passphrase: \n4711\n")


def test_on_a_terminal_what_is_not_the_same_twice_is_refused(job: str) -> None:
    status, shown = on_a_terminal(job, "put", "user/1", typed=[PASSPHRASE, NEW])
    assert status == 2
    assert "not the same twice" in shown
    assert not Path(f"{job}.vault").exists()


# The codes, judged by facts alone.


def test_check_judges_the_codes_only_with_the_vault_and_never_shows_one(run: Run, filled: str, words: str) -> None:
    assert run("vault", filled, "put", "installer", "--passphrase-file", words, stdin=b"4712\n").status == 0
    plain, told = run("check", filled), run("check", filled, "--vault", "--passphrase-file", words)
    assert "codes-near" not in plain.out
    assert "[codes-near]" in told.out and "one slip of the finger" in told.out
    assert not {"4711", "4712"} & set(told.out.split())
    assert trail(filled)[-2:] == [("opened", "shop.yaml.vault"), ("compared", "shop.yaml.vault")]
    without, data = (run("check", filled, *more, "--json").data() for more in ((), ("--vault", "--passphrase-file", words)))
    assert [each["code"] for each in data["findings"][len(without["findings"]) :]] == ["codes-near"]
    assert sum(data["summary"].values()) == len(data["findings"])


@pytest.mark.parametrize("more", [("--vault", "planted"), ("--passphrase", "planted"), ("--vault", "--passphrase-fd", "planted")])
def test_a_passphrase_written_where_none_is_read_is_not_repeated(run: Run, filled: str, more: tuple[str, ...]) -> None:
    done = run("check", filled, *more)
    assert done.status == 2 and "planted" not in done.out + done.err and "is not repeated here" in done.err


def test_check_opens_no_vault_unasked_and_says_why_it_cannot(run: Run, job: str, filled: str, words: str, tmp_path: Path) -> None:
    assert "without --vault" in run("check", job, "--passphrase-file", words).err
    wrong = tmp_path / "wrong"
    wrong.write_text("not the passphrase\n", encoding="utf-8")
    wrong.chmod(0o600)
    done = run("check", filled, "--vault", "--passphrase-file", str(wrong))
    assert (done.status, done.out) == (2, "") and "the passphrase is not the one" in done.err
    assert "standard input has no vault" in run("check", "-", "--vault", stdin=Path(job).read_bytes()).err
    Path(f"{job}.vault").unlink()
    assert "there is no such vault" in run("check", job, "--vault", "--passphrase-file", words).err
