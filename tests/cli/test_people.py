"""``loopwright people`` and the ways of ``serve`` to others, as somebody types them."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopwright.cli import main

GOOD = "correct horse battery"


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    """Return what runs a command, with a password in a file, and gives its status and what it said."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    words = tmp_path / "words"

    def said(*arguments: str, password: str = "") -> tuple[int, str]:
        if password:
            words.write_text(password + "\n", encoding="utf-8")
            words.chmod(0o600)
            arguments = (*arguments, "--passphrase-file", str(words))
        status = main(arguments)
        told = capsys.readouterr()
        return status, told.out + told.err

    return said


def test_the_first_is_the_owner_and_others_change_what_they_are_given(say, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    assert say("people", "add", "Ben", password=GOOD) == (
        2, "Nobody is there yet, and the first person is the owner: loopwright people add Ben --owner\n",
    )  # fmt: skip
    assert say("people", "add", "Ada", "--owner", password=GOOD) == (0, "Ada may come in as owner.\n")
    assert say("people", "add", "Ben", "--role", "installer", password="staple under the stair")[0] == 0
    status, listed = say("people", "list")
    assert status == 0 and listed.startswith("Ada: owner\nBen: installer, has to change the password before ")
    assert say("people", "role", "Ben", "--role", "desk") == (0, "Ben is desk now.\n")
    assert say("people", "out", "Ben")[0] == 0 and "let in no more" in say("people", "list")[1]
    assert say("people", "out", "Ada") == (2, "The last owner stays: somebody must be able to let people in.\n")
    assert say("people", "password", "Ada", password="blue ladder, no rungs")[0] == 0
    status, trail = say("people", "trail")
    assert status == 0 and "at the machine: person added Ada as owner" in trail and GOOD not in trail
    assert (tmp_path / "data" / "loopwright" / "people").stat().st_mode & 0o777 == 0o600


def test_a_password_on_the_command_line_is_not_repeated(say) -> None:  # type: ignore[no-untyped-def]
    for arguments in (("add", "Ada", "planted-secret"), ("add", "Ada", "--password", "planted-secret")):
        status, told = say("people", *arguments)
        assert status == 2 and "planted" not in told and "not repeated" in told


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--name", "bench"), "are for others"), (("--people", "x"), "are for others"), (("--host", "bench"), "not an IP address"),
        (("--host", "127.0.0.1", "--name", "x"), "are for others"), (("--lan", "--host", "192.0.2.1"), "goes with neither"),
        (("--behind-proxy", "127.0.0.1"), "needs --name"), (("--behind-proxy", "proxy", "--name", "x"), "not an IP address"),
        (("--lan", "--no-browser"), "`loopwright people add NAME --owner`"),
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_said(say, tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:  # type: ignore[no-untyped-def]
    job = str(tmp_path / "job.yaml")
    assert say("new", job, "--demo", "dwelling")[0] == 0
    status, told = say("serve", job, "--port", "0", "--no-history", *arguments)
    assert status == 2 and words in told
