"""Words nobody else is to see, asked for on the terminal or read from a file: never from the command line or the environment."""

from __future__ import annotations

import getpass
import os
import stat
import sys
import warnings

from loopwright.cli.refusal import Refusal, world_words
from loopwright.cli.terminal import plain, say, say_bytes
from loopwright.store.ours import not_ours
from loopwright.store.secret import Secret

MOST_BYTES = 65_536
ELSEWHERE = "--passphrase-file or --passphrase-fd"


class Words:
    """Where the passphrases of one command come from, and how a secret comes in and goes out."""

    def __init__(self, file: str | None, descriptor: int | None, *, piped: bool) -> None:
        """Take a file or a descriptor, or neither: then the terminal is asked. ``piped``: standard input may hold the secret."""
        if file is not None and descriptor is not None:
            raise Refusal("--passphrase-file and --passphrase-fd: only one of them can be read.")
        if piped and descriptor == 0:
            raise Refusal("--passphrase-fd 0: put reads the secret from there; take another descriptor.")
        self._lines = None if file is None and descriptor is None else _lines(file, descriptor)

    def passphrase(self) -> Secret:
        """Return the passphrase of the vault. Raises Refusal."""
        return _asked("Passphrase: ") if self._lines is None else self._line(0, "the passphrase")

    def first_passphrase(self) -> Secret:
        """Return the passphrase of a new vault, asked for twice. Raises Refusal."""
        return _twice("Passphrase of the new vault: ") if self._lines is None else self.passphrase()

    def new_passphrase(self) -> Secret:
        """Return the passphrase to change to, asked for twice. Raises Refusal."""
        return _twice("New passphrase: ") if self._lines is None else self._line(1, "the new passphrase")

    def new_password(self, name: str) -> Secret:
        """Return a new password of a person, asked for twice. Raises Refusal."""
        return _twice(f"New password of {name}: ") if self._lines is None else self._line(0, "the password")

    def secret(self, name: str) -> Secret:
        """Return the secret to put: the whole of standard input but its last line end, or what is typed twice. Raises Refusal."""
        if sys.stdin is None or sys.stdin.closed or sys.stdin.isatty():
            return _twice(f"Secret for {name}: ")
        buffer = getattr(sys.stdin, "buffer", None)
        if buffer is None:
            raise Refusal("standard input cannot be read as bytes.")
        return _secret(buffer.read(MOST_BYTES).removesuffix(b"\n").removesuffix(b"\r"))

    def show(self, secret: Secret) -> None:
        """Print a secret; on a terminal, it cannot steer it."""
        if sys.stdout.isatty():
            say(plain(secret.reveal()))
        else:
            say_bytes(secret.reveal() + "\n")

    def _line(self, number: int, what: str) -> Secret:
        if self._lines is None or number >= len(self._lines):
            raise Refusal(f"{ELSEWHERE}: line {number + 1}, {what}, is not there.")
        return self._lines[number]


def key_in(file: str | None) -> Secret:
    """Return the key on the first line of a file, or without one what is typed. Raises Refusal."""
    if file is None:
        return _asked("Key: ")
    lines = _lines(file, None)
    if not lines:
        raise Refusal(f"{file}: holds no key.")
    return lines[0]


def _lines(file: str | None, descriptor: int | None) -> list[Secret]:
    try:
        handle = os.open(file, os.O_RDONLY | os.O_CLOEXEC) if file is not None else os.dup(descriptor or 0)
        with os.fdopen(handle, "rb") as source:
            told = os.fstat(source.fileno())
            # What is no plain file, as what a shell hands over by <(...), stands in no folder for others to write.
            if file is not None and stat.S_ISREG(told.st_mode) and (why := not_ours(told, secret=True)):
                raise Refusal(f"{file}: {why}")
            raw = source.read(MOST_BYTES)
    except (OSError, ValueError, OverflowError) as error:
        words = world_words(error) if isinstance(error, OSError) else "cannot be a name or a number of a file"
        raise Refusal(f"the passphrase cannot be read: {words}.") from None
    return [_secret(line.removesuffix(b"\r")) for line in raw.split(b"\n")[:2] if line.strip()]


def _asked(prompt: str) -> Secret:
    try:
        with warnings.catch_warnings():
            # Without a terminal the library would go on, and show what is typed.
            warnings.simplefilter("error", getpass.GetPassWarning)
            typed = getpass.getpass(prompt)
    except (EOFError, OSError, getpass.GetPassWarning):
        typed = None
    if typed is None:
        raise Refusal(
            f"there is no terminal to ask on. A passphrase is also read with {ELSEWHERE}; the secret to put, from standard input."
        )
    return _secret(typed.encode("utf-8", "surrogateescape"))


def _twice(prompt: str) -> Secret:
    first = _asked(prompt)
    if first != _asked("The same once more: "):
        raise Refusal("what was typed was not the same twice; nothing was changed.")
    return first


def _secret(raw: bytes) -> Secret:
    try:
        return Secret.of_bytes(raw)
    except ValueError:
        raise Refusal("what was read is not UTF-8 text.") from None
